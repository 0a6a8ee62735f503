# SPDX-License-Identifier: MIT
"""Conversion of the tables of a resolved case into the model of the solver."""

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING

from annelid.cases.convert.flow import flow_of
from annelid.cases.convert.limits import has_tearing_limit
from annelid.cases.convert.shape import entries_of, mesh_size_of, shape_of
from annelid.cases.convert.twist import has_twist
from annelid.cases.convert.waves import duration_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.contact import ContactTable, position_of
from annelid.cases.schema.material import MaterialConstants, NaturalStretchTable, PartTable
from annelid.geometry.body import Body
from annelid.geometry.meshing.layout import lay_out
from annelid.geometry.shapes.shape import Shape
from annelid.solver.model.boundary import Electrode, Foundation, Section, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.material import Breakdown, Material, Tearing
from annelid.solver.model.natural_stretch import NaturalField, NaturalStretch
from annelid.solver.model.parts import ElectrodeFilm, Fibres, Part, Sheets
from annelid.solver.model.quantity import Scope, scope_of_flow
from annelid.solver.records import Equilibrium

if TYPE_CHECKING:
    from annelid.solver.model.model import Model

__all__ = [
    "contact_of",
    "material_of",
    "model_of",
    "natural_stretch_of",
    "part_of",
    "parts_of",
    "scope_of",
]

_THICK = 10  # radius over thickness below which no wrinkles are expected
_CONSTANTS = frozenset(MaterialConstants.model_fields)


def material_of(case: Case, name: str) -> Material:
    """Return a material of a case."""
    table = case.materials[name]
    breakdown = None
    if table.breakdown_field is not None:
        breakdown = Breakdown(
            table.breakdown_field,
            table.breakdown_stretch_exponent,
            table.breakdown_thickness_exponent,
            table.breakdown_reference_thickness,
        )
    limits = table.tearing_stretch, table.tensile_strength, table.tensile_strength_is
    return Material(
        name,
        table.law,
        {key: value for key, value in entries_of(table).items() if key not in _CONSTANTS},
        table.bulk_modulus,
        table.permittivity or 0.0,
        breakdown,
        table.density or 0.0,
        None if limits == (None, None, None) else Tearing(*limits),
    )


def part_of(case: Case, table: PartTable) -> Part:
    """Return the part of a region in its drawn shape."""
    sheets, film, fibres = table.sheets, table.electrode_film, table.fibres
    return Part(
        table.region,
        material_of(case, table.material),
        Sheets(sheets.count, sheets.thickness) if sheets and sheets.thickness is not None else None,
        natural_stretch_of(table.natural_stretch),
        ElectrodeFilm(**entries_of(film)) if film else None,
        Fibres(**entries_of(fibres)) if fibres else None,
        folds=table.compression == "none",
    )


def natural_stretch_of(table: NaturalStretchTable) -> NaturalStretch:
    """Return the natural stretch of a part in its drawn shape."""
    return NaturalStretch(**entries_of(table))


def parts_of(case: Case, body: Body) -> tuple[Part, ...]:
    """Return the parts of the regions of a body; parts of other regions are left out."""
    return tuple(
        _with_inflation(part_of(case, table), body) for table in case.parts if table.region in body.regions
    )


def _with_inflation(part: Part, body: Body) -> Part:
    """Add the natural stretch of the inflation to a part if its reference shape is inflated."""
    gradient, given = body.stress_free_gradient.get(part.region), part.natural_stretch
    if gradient is None or not isinstance(given, NaturalStretch):
        return part
    sheets = part.sheets
    if sheets is not None:
        sheets = replace(sheets, thickness=sheets.thickness * given.factors[0])
    natural = NaturalField.of_gradient(gradient, given, body.stress_free_points)
    return replace(part, natural_stretch=natural, sheets=sheets)


def contact_of(table: ContactTable) -> Contact:
    """Return a rigid obstacle."""
    optional = {key: getattr(table, key) for key in ("part_is", "height", "angle") if hasattr(table, key)}
    if table.kind == "plane":
        del optional["height"]  # the height of a plane is its position
    return Contact(
        table.name,
        table.surface,
        kind=table.kind,
        position=position_of(table),
        tolerance=table.tolerance,
        **optional,
    )


def model_of(case: Case, body: Body, inflation: Sequence[Equilibrium] = ()) -> "Model":
    """Return the model of a case on its meshed body, drawn under the last pressure of an inflation."""
    from annelid.solver.model.model import QUADRATURE_DEGREE, Model

    return Model(
        body,
        parts=parts_of(case, body),
        supports=tuple(Support(s.region, s.hold) for s in case.supports),
        electrodes=tuple(Electrode(e.name, e.hot_face) for e in case.electrodes),
        foundations=tuple(Foundation(f.region, f.stiffness, f.direction) for f in case.foundations),
        sections=tuple(Section(s.name, s.at) for s in case.sections),
        electrics=case.electrics.model,
        contacts=tuple(contact_of(contact) for contact in case.contacts),
        drawn_pressure=inflation[-1].loads["pressure"].value if inflation else None,
        deposited=body.deposited,
        smooth_compression=_smooth_compression(shape_of(case)),
        fluid_density=case.surroundings.fluid_density or 0.0,
        pressed=_pressed(case),
        twist=has_twist(case),
        timed=_has_time(case),
        flow=flow_of(case),
        quadrature_degree=case.mesh.quadrature_degree or QUADRATURE_DEGREE,
    )


def _pressed(case: Case) -> tuple[str, ...]:
    """Return the surfaces other than the lumen whose pressure some stage sets."""
    waved = [w.on for stage in case.stages for w in stage.waves if w.load == "surface_pressure"]
    return tuple(dict.fromkeys(chain(*(stage.surface_pressure for stage in case.stages), *waved)))


def _smooth_compression(shape: Shape) -> float:
    """Return the compression, over the shear modulus, that a wall carries without folds.

    A cylinder of thickness t wrinkles at 2 γ μ t/R. For imperfect ones γ = 1 - 0.901 (1 - exp(-√(R/t)/16))
    (NASA SP-8007, 1968, from memory). Walls above t/R = 1/10 do not wrinkle, and arches are meant to be
    compressed.
    """
    R_over_t = shape.slenderness
    if shape.is_arch or R_over_t < _THICK:
        return math.inf
    return 2 / R_over_t * (1 - 0.901 * (1 - math.exp(-math.sqrt(R_over_t) / 16)))


def scope_of(case: Case) -> Scope:
    """Return the features that determine which quantities a run of a resolved case reports."""
    shape, twists = shape_of(case), has_twist(case)
    structured = case.lattice is None and case.mesh.cells != "tetrahedra"
    strong = {name for name, material in case.materials.items() if material.breakdown_field is not None}
    return Scope(
        sections=tuple(s.name for s in case.sections),
        supports=tuple(s.region for s in case.supports),
        electrodes=tuple(e.name for e in case.electrodes),
        contacts=tuple(c.name for c in case.contacts),
        parts=tuple(p.region for p in case.parts),
        walls=shape.walls if structured else (),
        surfaces=_pressed(case),
        has_lumen=shape.has_lumen,
        has_open_ends=shape.has_open_ends,
        has_seal=shape.has_open_ends and any(c.surface == "lumen" for c in case.contacts),
        has_strength=any(p.material in strong and p.sheets is not None for p in case.parts),
        has_tearing_limit=any(has_tearing_limit(case, p.material) for p in case.parts),
        has_folds=any(p.compression == "none" for p in case.parts),
        has_bare_stroke=case.making is not None and case.making.compare,
        ends=_ends(case, shape) if twists else (),
        has_twist=twists,
        has_time=_has_time(case),
        **scope_of_flow(flow_of(case)),
    )


def _has_time(case: Case) -> bool:
    return any(duration_of(stage) for stage in case.stages)


def _ends(case: Case, shape: Shape) -> tuple[str, ...]:
    """Return the end surfaces of the wall."""
    size = mesh_size_of(case)
    return lay_out(shape, size, (), ()).inventory(size.model).ends
