# SPDX-License-Identifier: MIT
"""From a resolved case to the records of geometry and solver; units are those inside."""

from typing import TYPE_CHECKING, Any

from cases import schema_shape as drawn
from cases.schema import Case
from cases.schema_contact import position_of
from cases.schema_material import Dielectric, NaturalStretch
from cases.schema_stage import PointMotion
from geometry import meridian as curves
from geometry.body import Body, FloatArray
from geometry.build import build
from geometry.drawn import from_points
from geometry.profiles import ellipsoid, necked, sphere
from geometry.shapes import Balloon, Band, Dome, Layer, Shape, Sleeve, Tube
from geometry.sizes import MeshSize

if TYPE_CHECKING:
    from solver.contact import Contact as SolverContact
    from solver.material import Material
    from solver.model import Model
    from solver.natural_stretch import NaturalField
    from solver.natural_stretch import NaturalStretch as SolverStretch
    from solver.parts import Part
    from solver.stages import PointMotion as SolverPointMotion
    from solver.stages import Stage

__all__ = ["body_of", "material_of", "model_of", "parts_of", "shape_of", "stages_of"]

_COMMON = set(Dielectric.model_fields) | {"law"}


def shape_of(case: Case) -> Shape:
    """The drawing."""
    shape = case.shape
    layers = tuple(Layer(layer.name, layer.thickness) for layer in shape.layers)
    if isinstance(shape, drawn.Tube):
        return Tube(
            shape.inner_radius, shape.length, layers, ends=shape.ends, cap_thickness=shape.cap_thickness
        )
    if isinstance(shape, drawn.Sleeve):
        return Sleeve(
            shape.core_radius,
            shape.length,
            layers,
            core_inner_radius=shape.core_inner_radius,
            core_overhang=shape.core_overhang,
        )
    if isinstance(shape, drawn.Dome):
        return Dome(
            shape.rim_radius,
            shape.rise,
            layers,
            hole_radius=shape.hole_radius,
            profile=shape.profile,
            tip_radius=shape.tip_radius,
        )
    return Balloon(_meridian_of(shape.meridian), layers)


def body_of(case: Case) -> Body:
    """Mesh the drawing of a resolved case, with cell edges at electrode edges and sections.

    Raises:
        InputError: The drawing cannot be meshed, or not well enough.
    """
    if case.lattice is not None:
        from cases.laying import latticed_body_of

        return latticed_body_of(case)
    bands = [Band(e.name, e.region, e.start or 0.0, e.end or 0.0) for e in case.electrodes]
    mesh = case.mesh
    size = MeshSize(
        along=mesh.along,
        model=mesh.model,
        through=mesh.through,
        around=mesh.around,
        sector=mesh.sector,
        cells=mesh.cells,
    )
    return build(shape_of(case), size, bands, lines=[section.at for section in case.sections])


def material_of(case: Case, name: str) -> "Material":
    """One of the case's materials."""
    from solver.material import Breakdown, Material

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
    from solver.model import Model
    from solver.parts import Electrode, Section, Support, TissueBed

    return Model(
        body,
        parts=parts_of(case, body),
        supports=tuple(Support(s.region, s.hold) for s in case.supports),
        electrodes=tuple(Electrode(e.name, e.hot_face) for e in case.electrodes),
        beds=tuple(TissueBed(b.region, b.stiffness, b.direction) for b in case.tissue_beds),
        sections=tuple(Section(s.name, s.at) for s in case.sections),
        electrics=case.electrics.model,
        contacts=tuple(_contact_of(contact) for contact in case.contacts),
        drawn_pressure=body.pressure,
        laid=body.laid,
    )


def stages_of(case: Case) -> "tuple[Stage, ...]":
    """The stages."""
    from solver.stages import Stage

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
    from solver.stages import PointMotion as SolverPointMotion

    axisymmetric = case.mesh.model == "axisymmetric"
    components = {"radial": 0, "axial": 1} if axisymmetric else {"x": 0, "y": 1, "z": 2, "axial": 2}
    return SolverPointMotion(given.at, components[given.direction], given.motion)


def _contact_of(given: Any) -> "SolverContact":
    from solver.contact import Contact as SolverContact

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
    from solver.natural_stretch import NaturalField
    from solver.natural_stretch import NaturalStretch as SolverStretch

    before = SolverStretch(**dict(given))
    return before if drawn is None else NaturalField.of_gradient(drawn, before, places)


def _sheet_thickness(part: Any, body: Body) -> float:
    """Drawn thickness of the sheets of a part, mm; the stress-free one of a part drawn as inflated."""
    from solver.natural_stretch import NaturalStretch as SolverStretch

    drawn = part.sheets.thickness or 0.0
    stretched = part.region in body.natural
    return drawn * SolverStretch(**dict(part.natural_stretch)).factors[0] if stretched else drawn


def parts_of(case: Case, body: Body) -> "tuple[Part, ...]":
    """What the regions of a body are made of; regions that it does not have are left out."""
    from solver.parts import ElectrodeFilm, Fibres, Part, Sheets

    return tuple(
        Part(
            p.region,
            material_of(case, p.material),
            Sheets(p.sheets.count, _sheet_thickness(p, body)) if p.sheets else None,
            _natural_of(p.natural_stretch, body.natural.get(p.region), body.stress_free),
            ElectrodeFilm(**dict(p.electrode_film)) if p.electrode_film else None,
            Fibres(**dict(p.fibres)) if p.fibres else None,
        )
        for p in case.parts
        if p.region in body.regions
    )


def _meridian_of(given: drawn.Meridian) -> curves.Meridian:
    if isinstance(given, drawn.SphereMeridian):
        return sphere(given.radius, half=given.half)
    if isinstance(given, drawn.EllipsoidMeridian):
        return ellipsoid(given.radius, given.half_length, half=given.half)
    if isinstance(given, drawn.NeckedMeridian):
        return necked(
            given.radius, given.length, given.neck_radius, given.neck_length, shoulder=given.shoulder
        )
    assert isinstance(given, drawn.PointsMeridian)
    points = list(zip(given.radius, given.height, strict=True))
    return from_points(points, smoothing=given.smoothing)
