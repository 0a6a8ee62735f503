# SPDX-License-Identifier: MIT
"""From a resolved case to the model and the stages that the solver takes."""

from typing import TYPE_CHECKING, Any

from annelid.cases.schema.case import Case
from annelid.cases.schema.contact import position_of
from annelid.cases.schema.material import Dielectric, NaturalStretch
from annelid.cases.schema.stage import PointMotion
from annelid.geometry.body import Body, FloatArray

if TYPE_CHECKING:
    from annelid.solver.model.contact import Contact as SolverContact
    from annelid.solver.model.material import Material
    from annelid.solver.model.model import Model
    from annelid.solver.model.natural_stretch import NaturalField
    from annelid.solver.model.natural_stretch import NaturalStretch as SolverStretch
    from annelid.solver.model.parts import Part
    from annelid.solver.model.stages import PointMotion as SolverPointMotion
    from annelid.solver.model.stages import Stage

__all__ = ["material_of", "model_of", "parts_of", "stages_of"]

_COMMON = set(Dielectric.model_fields) | {"law"}


def material_of(case: Case, name: str) -> "Material":
    """One of the case's materials."""
    from annelid.solver.model.material import Breakdown, Material

    given = case.materials[name]
    breakdown = None
    if given.breakdown_field is not None:
        breakdown = Breakdown(
            given.breakdown_field,
            given.breakdown_stretch_exponent,
            given.breakdown_thickness_exponent,
            given.breakdown_reference_thickness,
        )
    parameters = {key: getattr(given, key) for key in type(given).model_fields if key not in _COMMON}
    return Material(name, given.law, parameters, given.bulk_modulus, given.permittivity or 0.0, breakdown)


def model_of(case: Case, body: Body) -> "Model":
    """What is solved: body, parts, supports, electrodes, beds and sections."""
    from annelid.cases.schema.stage import TissueBed
    from annelid.solver.model.boundary import Electrode, Section, Support
    from annelid.solver.model.model import Model

    return Model(
        body,
        parts=parts_of(case, body),
        supports=tuple(Support(s.region, s.hold) for s in case.supports),
        electrodes=tuple(Electrode(e.name, e.hot_face) for e in case.electrodes),
        beds=tuple(TissueBed(b.region, b.stiffness, b.direction) for b in case.tissue_beds),
        sections=tuple(Section(s.name, s.at) for s in case.sections),
        electrics=case.electrics.model,
        contacts=tuple(_contact_of(contact) for contact in case.contacts),
        drawn_pressure=body.drawn_pressure,
        deposited=body.deposited,
    )


def stages_of(case: Case) -> "tuple[Stage, ...]":
    """The stages."""
    from annelid.solver.model.stages import Stage

    return tuple(
        Stage(
            s.name,
            pressure=s.pressure,
            voltages=s.voltage,
            forces=s.force,
            displacements=s.move,
            obstacles=s.obstacle,
            volume=s.volume,
            charges=s.charge,
            point=_point_of(case, s.point) if s.point is not None else None,
            opening=next(iter(s.opening.items()), None),
            arc=s.arc,
            backward=s.backward,
            control=s.control,
            steps=s.steps,
        )
        for s in case.stages
    )


def _point_of(case: Case, given: PointMotion) -> "SolverPointMotion":
    from annelid.solver.model.stages import PointMotion as SolverPointMotion

    axisymmetric = case.mesh.model == "axisymmetric"
    components = {"radial": 0, "axial": 1} if axisymmetric else {"x": 0, "y": 1, "z": 2, "axial": 2}
    return SolverPointMotion(given.at, components[given.direction], given.motion)


def _contact_of(given: Any) -> "SolverContact":
    from annelid.solver.model.contact import Contact as SolverContact

    optional = {key: getattr(given, key) for key in ("part_is", "height", "angle") if hasattr(given, key)}
    if given.kind == "plane":
        del optional["height"]
    return SolverContact(
        given.name,
        given.surface,
        kind=given.kind,
        position=position_of(given),
        tolerance=given.tolerance,
        **optional,
    )


def _natural_of(
    given: NaturalStretch, drawn: FloatArray | None, places: FloatArray | None
) -> "SolverStretch | NaturalField":
    """Natural stretch of a part; where the body is drawn stretched, both together."""
    from annelid.solver.model.natural_stretch import NaturalField
    from annelid.solver.model.natural_stretch import NaturalStretch as SolverStretch

    before = SolverStretch(**dict(given))
    return before if drawn is None else NaturalField.of_gradient(drawn, before, places)


def _sheet_thickness(part: Any, body: Body) -> float:
    """Drawn thickness of the sheets of a part, mm; the stress-free one of a part drawn as inflated."""
    from annelid.solver.model.natural_stretch import NaturalStretch as SolverStretch

    drawn = part.sheets.thickness or 0.0
    stretched = part.region in body.stress_free_gradient
    return drawn * SolverStretch(**dict(part.natural_stretch)).factors[0] if stretched else drawn


def parts_of(case: Case, body: Body) -> "tuple[Part, ...]":
    """What the regions of a body are made of; regions that it does not have are left out."""
    from annelid.solver.model.parts import ElectrodeFilm, Fibres, Part, Sheets

    return tuple(
        Part(
            p.region,
            material_of(case, p.material),
            Sheets(p.sheets.count, _sheet_thickness(p, body)) if p.sheets else None,
            _natural_of(p.natural_stretch, body.stress_free_gradient.get(p.region), body.stress_free_points),
            ElectrodeFilm(**dict(p.electrode_film)) if p.electrode_film else None,
            Fibres(**dict(p.fibres)) if p.fibres else None,
        )
        for p in case.parts
        if p.region in body.regions
    )
