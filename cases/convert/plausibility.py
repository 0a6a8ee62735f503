# SPDX-License-Identifier: MIT
"""Remarks on values of a case that are allowed but unusual: typing errors, or a coarse mesh."""

from collections.abc import Iterator

import numpy as np

from annelid.cases.convert.display import display_units_of
from annelid.cases.convert.model import material_of, natural_stretch_of
from annelid.cases.convert.shape import shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.material import PartTable
from annelid.cases.schema.mesh import MeshTable
from annelid.cases.schema.stage import HelixTable
from annelid.geometry.meshing.quality import LOW_SCALED_JACOBIAN, Quality
from annelid.solver.display import DisplayUnits, digits

__all__ = ["remarks_on"]

# Common practice, no source: what rubbers, gels and tissues have, and what can be made.
_STRENGTH = 10.0, 500.0  # kV/mm
_MODULUS = 1e-3, 100.0  # MPa
_TEARING = 1.1, 15.0  # stretch
_TENSILE = 1e-2, 100.0  # MPa
_THINNEST = 1e-3  # mm
_MOST_SHEETS = 1000
# Elements in the length sqrt(R t): common practice, no source. A clamped tube under pressure widens by 0.1 %
# too little with three and by 0.6 % with one; with one, the stress at its ends is far too low.
_ELEMENTS = 3
_ACROSS_HELIX = 4  # elements


def remarks_on(case: Case, quality: Quality | None = None) -> list[str]:
    """Return one sentence for each unusual value of a resolved case.

    Args:
        case: The case.
        quality: Quality of its mesh, if it was meshed.
    """
    units = display_units_of(case)
    remarks = [*_materials(case, units)]
    for part in case.parts:
        remarks += _sheets(case, part, units)
    remarks += [*_fields(case, units), *_elements(case, units)]
    remarks += [*_films_on_parts(case)]
    if quality is not None and quality.minimum_scaled_jacobian < LOW_SCALED_JACOBIAN:
        remarks.append(
            f"mesh: the least scaled Jacobian is {digits(quality.minimum_scaled_jacobian, 2)} in region "
            f"{quality.worst_region}, below {LOW_SCALED_JACOBIAN:g}: values in such distorted cells are less "
            "accurate"
        )
    return remarks


def _materials(case: Case, units: DisplayUnits) -> Iterator[str]:
    for name in dict.fromkeys(part.material for part in case.parts):
        material, key = material_of(case, name), f"materials.{name}"
        modulus = material.initial_shear_modulus()
        yield from _outside(f"{key}: the initial shear modulus of", modulus, _MODULUS, "stress", units)
        if material.breakdown is not None:
            strength = material.breakdown.field
            yield from _outside(f"{key}.breakdown_field:", strength, _STRENGTH, "electric field", units)
        tearing = material.tearing
        if tearing is not None and tearing.stretch is not None:
            yield from _outside(f"{key}.tearing_stretch:", tearing.stretch, _TEARING, "ratio", units)
        if tearing is not None and tearing.strength is not None:
            yield from _outside(f"{key}.tensile_strength:", tearing.strength, _TENSILE, "stress", units)


def _outside(
    what: str, value: float, limits: tuple[float, float], kind: str, units: DisplayUnits
) -> Iterator[str]:
    if not limits[0] <= value <= limits[1]:
        low, high = (units.show(kind, limit) for limit in limits)
        yield f"{what} {units.show(kind, value)} is outside the usual {low} to {high}"


def _films_on_parts(case: Case) -> Iterator[str]:
    """Films that go slack although they are bonded to a softer part, which lets them carry compression.

    A stiff film on a deep soft body wrinkles at a strain of (3 μ_s/μ_f)^(2/3)/4, incompressible and in plane
    strain: Allen, Analysis and Design of Structural Sandwich Panels, 1969, chapter 8 (from memory).
    """
    carrying = [part for part in case.parts if part.compression == "carried"]
    if not carrying:
        return
    softest = min(carrying, key=lambda part: material_of(case, part.material).initial_shear_modulus())
    soft = material_of(case, softest.material).initial_shear_modulus()
    for part in case.parts:
        ratio = soft / material_of(case, part.material).initial_shear_modulus()
        if part.compression == "none":
            strain = digits(100 * min((3 * ratio) ** (2 / 3) / 4, 1.0), 2)
            yield (
                f"parts[{part.region}].compression: a film that is bonded to another part carries "
                f"compression until it wrinkles, on a deep part of the material of {softest.region} up to a "
                f"strain of about {strain} %; with 'none' it carries none, so it is too soft until then. Run "
                "the case with 'carried' too: the harmonics of that run find the load at which the film "
                "wrinkles, and the part lies between both"
            )


def _thinnest_sheet(case: Case, part: PartTable) -> float:
    """Thickness of a sheet of a layer where it is thinnest, mm."""
    layer = next((layer for layer in shape_of(case).layers if layer.name == part.region), None)
    if layer is None or layer.uneven is None:
        return (part.sheets.thickness if part.sheets else None) or np.inf
    return layer.thinnest / part.sheet_count


def _sheets(case: Case, part: PartTable, units: DisplayUnits) -> Iterator[str]:
    sheets, key = part.sheets, f"parts[{part.region}].sheets"
    if sheets is None or sheets.thickness is None:
        return
    thinnest = _thinnest_sheet(case, part)
    if thinnest < _THINNEST:
        thickness, least = (units.show("thickness", value) for value in (thinnest, _THINNEST))
        yield f"{key}.thickness: {thickness} is thinner than {least}, which can hardly be made"
    if sheets.count > _MOST_SHEETS:
        yield f"{key}.count: {sheets.count} sheets are more than {_MOST_SHEETS}, which can hardly be made"


def _fields(case: Case, units: DisplayUnits) -> Iterator[str]:
    """Compare the field of the highest voltage at the drawn thickness with the strength.

    A stage with ``until`` may end before its voltage is reached.
    """
    parts = {part.region: part for part in case.parts}
    for electrode in case.electrodes:
        part = parts[electrode.region]
        breakdown = material_of(case, part.material).breakdown
        voltages = [s.voltage.get(electrode.name, 0.0) for s in case.stages if not s.until]
        voltage = max(map(abs, voltages), default=0.0)
        if breakdown is None or part.sheets is None or part.sheets.thickness is None:
            continue
        thickness = _thinnest_sheet(case, part)
        through, _, _ = natural_stretch_of(part.natural_stretch).factors
        strength = float(breakdown.strength(np.sqrt(through), thickness))
        if voltage / thickness > strength:
            field, limit = (units.show("electric field", value) for value in (voltage / thickness, strength))
            yield (
                f"electrodes[{electrode.name}]: {units.show('voltage', voltage)} across a drawn sheet of "
                f"{units.show('thickness', thickness)} is {field}, above its strength of {limit}: it breaks "
                "down before it moves"
            )


def _elements(case: Case, units: DisplayUnits) -> Iterator[str]:
    """Compare the elements along a wall with its details; with a lattice they follow the struts."""
    if case.lattice is not None or case.mesh.along is None:
        return

    def longer_than(length: float) -> str:
        along, least = (units.show("length", value) for value in (case.mesh.size, length))
        return f"mesh.along: elements of {along} are longer than {least}"

    for electrode in case.electrodes:
        width = (electrode.end or 0.0) - (electrode.start or 0.0)
        if case.mesh.size > width:
            yield f"{longer_than(width)}, the width of electrode {electrode.name}"
        if electrode.helix is not None:
            yield from _across_helix(electrode.name, electrode.helix, case.mesh)
    bending = shape_of(case).bending_length
    if case.mesh.size > bending / _ELEMENTS:
        yield (
            f"{longer_than(bending / _ELEMENTS)}, a third of sqrt(R t), over which the bending at ends and "
            "at edges of electrodes decays: stresses there are less accurate"
        )


def _across_helix(name: str, helix: HelixTable, mesh: MeshTable) -> Iterator[str]:
    """Count the elements across a helix, of which each height has the nearest whole number below or above."""
    along, around = helix.width / mesh.size, mesh.around * helix.width / helix.pitch
    if min(along, around) < _ACROSS_HELIX:
        across = f"{digits(along, 2)} elements along the axis and {digits(around, 2)} around lie across helix"
        yield (
            f"mesh: {across} {name}, fewer than {_ACROSS_HELIX}: it consists of whole elements, so its area "
            f"at a height may be wrong by up to {digits(100 / around, 2)} %"
        )
