# SPDX-License-Identifier: MIT
"""What one table of a case says about another: names that must exist, sizes that must fit."""

import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from annelid.cases.schema.case import Case
from annelid.cases.schema.material import MooneyRivlin, Ogden, Yeoh
from annelid.cases.validate.crosscheck_lattice import lattice_problems, making_problems
from annelid.cases.validate.crosscheck_loads import (
    Problem,
    edge_problems,
    section_problems,
    stage_problems,
    surface_problems,
)
from annelid.cases.validate.extents import OPTIONAL, band_span, every_region, regions, wall_of
from annelid.cases.validate.messages import one_of, path_of
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.parts import Part

__all__ = ["problems"]

SHEET_TOLERANCE = 0.01  # a drawing's rounding; a wrong count is off by far more


def problems(case: Case, raw: dict[str, Any]) -> list[str]:
    """One sentence for each thing that does not fit.

    Args:
        case: A case whose values are each allowed by themselves.
        raw: The tables it was read from, to call list entries by their names.
    """
    checks: Sequence[Callable[[Case], Iterator[Problem]]] = (
        _shape,
        _mesh,
        _materials,
        _parts,
        _electrodes,
        lattice_problems,
        making_problems,
        surface_problems,
        section_problems,
        stage_problems,
        _names,
    )
    return [f"{path_of(raw, *keys)}: {text}" for check in checks for keys, text in check(case)]


def _shape(case: Case) -> Iterator[Problem]:
    shape, wall = case.shape, wall_of(case.shape)
    limit = {"tube": "inner_radius", "sleeve": "core_radius"}.get(shape.kind)
    if limit and wall > getattr(shape, limit):
        yield (
            ("shape", "layers"),
            f"the wall of {wall:g} mm is thicker than the {limit} of {getattr(shape, limit):g} mm; "
            f"allowed: up to {getattr(shape, limit):g} mm",
        )
    if isinstance(shape, Sleeve) and shape.core_inner_radius >= shape.core_radius:
        text = f"{shape.core_inner_radius:g} mm must be below the core_radius of {shape.core_radius:g} mm"
        yield ("shape", "core_inner_radius"), text
    if isinstance(shape, Dome) and shape.hole_radius >= shape.rim_radius:
        text = f"{shape.hole_radius:g} mm must be below the rim_radius of {shape.rim_radius:g} mm"
        yield ("shape", "hole_radius"), text
    if isinstance(shape, Tube) and shape.cap_thickness is not None and shape.ends == "open":
        yield ("shape", "cap_thickness"), 'an open tube has no caps; say ends = "capped" or leave it out'
    for index, layer in enumerate(shape.layers):
        if layer.name in ("core", "cap", *OPTIONAL):
            yield ("shape", "layers", index, "name"), f'"{layer.name}" is reserved; choose another name'


def _mesh(case: Case) -> Iterator[Problem]:
    low, high = band_span(case)
    if case.mesh.along > high - low:
        text = f"{case.mesh.along:g} mm is longer than the part; it must be at most {high - low:g} mm"
        yield ("mesh", "along"), text
    if case.mesh.model == "axisymmetric" and case.mesh.cells == "tetrahedra":
        yield ("mesh", "cells"), '"tetrahedra" needs the solid or the sector model; leave it out'


def _materials(case: Case) -> Iterator[Problem]:
    for name, material in case.materials.items():
        if material.breakdown_thickness_exponent and material.breakdown_reference_thickness is None:
            yield (
                ("materials", name, "breakdown_reference_thickness"),
                "is missing; breakdown_thickness_exponent needs it",
            )
        if isinstance(material, Ogden) and len(material.moduli) != len(material.exponents):
            text = (
                f"has {len(material.exponents)} entries, moduli has {len(material.moduli)}; give one a term"
            )
            yield ("materials", name, "exponents"), text
        elif (modulus := _shear_modulus(material)) <= 0:
            text = f"the shear modulus at rest would be {modulus:.4g} MPa; it must be above 0 MPa"
            yield ("materials", name), text


def _shear_modulus(material: Any) -> float:
    if isinstance(material, MooneyRivlin):
        return 2 * (material.c1 + material.c2)
    if isinstance(material, Yeoh):
        return 2 * material.c1
    if isinstance(material, Ogden):
        return sum(a * b for a, b in zip(material.moduli, material.exponents, strict=True)) / 2
    return math.inf  # the others have it as a parameter, positive by itself


def _parts(case: Case) -> Iterator[Problem]:
    known = every_region(case)
    for index, part in enumerate(case.parts):
        if part.region not in known:
            yield ("parts", index, "region"), one_of(part.region, list(known), what="a region of this shape")
        if part.material not in case.materials:
            yield ("parts", index, "material"), one_of(part.material, list(case.materials), what="a material")
        yield from _sheets(case, index, part, known.get(part.region))
    given = {part.region for part in case.parts}
    spared = OPTIONAL if case.mesh.model == "axisymmetric" else ("end ring",)
    missing = [region for region in known if region not in given and region not in spared]
    for region in missing:
        yield ("parts",), f'nothing says what region "{region}" is made of; add [[parts]] region = "{region}"'


def _sheets(case: Case, index: int, part: Part, thickness: float | None) -> Iterator[Problem]:
    if part.sheets is None or part.region not in every_region(case):
        return
    keys = ("parts", index, "sheets")
    if thickness is None:
        yield keys, f'"{part.region}" is not a layer and cannot be made of sheets; leave it out'
    elif part.sheets.thickness is not None:
        total = part.sheets.count * part.sheets.thickness
        if abs(total - thickness) > SHEET_TOLERANCE * thickness:
            yield (
                (*keys, "thickness"),
                f"{part.sheets.count} sheets of {part.sheets.thickness:g} mm make {total:g} mm, the layer is "
                f"{thickness:g} mm thick; it must be {thickness / part.sheets.count:g} mm, or leave it out",
            )


def _electrodes(case: Case) -> Iterator[Problem]:
    layers = [layer.name for layer in case.shape.layers]
    for index, electrode in enumerate(case.electrodes):
        keys = ("electrodes", index)
        if electrode.region not in layers:
            yield (*keys, "region"), one_of(electrode.region, layers, what="a layer of this shape")
            continue
        yield from edge_problems(band_span(case), keys, electrode.start, electrode.end)
        yield from _dielectric(case, electrode)
    ordered = sorted(enumerate(case.electrodes), key=lambda entry: _band(case, entry[1]))
    for (_, first), (index, second) in itertools.pairwise(ordered):
        if first.region == second.region and _band(case, second)[1] < _band(case, first)[2]:
            yield (
                ("electrodes", index, "from"),
                f'{_band(case, second)[1]:g} mm overlaps electrode "{first.name}", which lies from '
                f"{_band(case, first)[1]:g} mm to {_band(case, first)[2]:g} mm in the same layer",
            )


def _band(case: Case, electrode: Electrode) -> tuple[str, float, float]:
    low, high = band_span(case)
    return (
        electrode.region,
        low if electrode.start is None else electrode.start,
        high if electrode.end is None else electrode.end,
    )


def _dielectric(case: Case, electrode: Electrode) -> Iterator[Problem]:
    for index, part in enumerate(case.parts):
        if part.region != electrode.region or part.material not in case.materials:
            continue
        if case.materials[part.material].permittivity is None:
            text = f'is missing; electrode "{electrode.name}" lies in this material'
            yield ("materials", part.material, "permittivity"), text
        count = part.sheets.count if part.sheets else 1
        if case.electrics.model == "solved" and count != 1:
            yield (
                ("parts", index, "sheets", "count"),
                f'{count} must be 1: electrics.model = "solved" draws each sheet as a layer of its own',
            )


def _names(case: Case) -> Iterator[Problem]:
    tables: dict[tuple[str, ...], list[str]] = {
        ("shape", "layers"): [layer.name for layer in case.shape.layers],
        ("parts",): [part.region for part in case.parts],
        ("electrodes",): [electrode.name for electrode in case.electrodes],
        ("supports",): [support.region for support in case.supports],
        ("tissue_beds",): [bed.region for bed in case.tissue_beds],
        ("contacts",): [contact.name for contact in case.contacts],
        ("sections",): [section.name for section in case.sections],
        ("stages",): [stage.name for stage in case.stages if stage.name],
    }
    for keys, names in tables.items():
        for name, count in Counter(names).items():
            if count > 1:
                yield keys, f'"{name}" is there {count} times; each may be there once'
    for index, electrode in enumerate(case.electrodes):
        if electrode.name == "all" or electrode.name in regions(case.shape):
            text = f'"{electrode.name}" already means something else; choose another name'
            yield ("electrodes", index, "name"), text
