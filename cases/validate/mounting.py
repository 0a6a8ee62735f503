# SPDX-License-Identifier: MIT
"""Pre-stretch and thicknesses as cast, turned into natural stretches and mounted thicknesses.

A case has one internal notation: the natural stretch of a part, and thicknesses as mounted.
"""

from collections.abc import Iterable, Mapping

from annelid.cases.convert.model import natural_stretch_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.material import NaturalStretchTable, PartTable
from annelid.cases.schema.shape import LayerTable
from annelid.cases.schema.units import as_read
from annelid.cases.validate.findings import Findings
from annelid.geometry.checks import within
from annelid.geometry.errors import InvalidValue
from annelid.geometry.shapes.shape import Layer
from annelid.solver.model.natural_stretch import LEAST, MOST

__all__ = ["check_stack", "mounted"]

_SHEET_TOLERANCE = 0.01  # allows for rounded thicknesses; a wrong count differs by far more


def mounted(case: Case, findings: Findings) -> Case:
    """Return a case with natural stretches instead of pre-stretches, and with mounted thicknesses.

    A layer without a thickness is as thick as the sheets of its part. What contradicts itself is added to the
    findings and stays as it is.
    """
    parts = list(case.parts)
    for index, part in enumerate(case.parts):
        with findings.catching("parts", index):
            parts[index] = _mounted_part(part)
    update: dict[str, object] = {"parts": tuple(parts)}
    if case.shape is not None:
        layers = tuple(_with_thickness(layer, parts) for layer in case.shape.layers)
        update["shape"] = case.shape.model_copy(update={"layers": layers})
        if any(layer.thickness is layer.thickness_map is None for layer in layers) and not findings.complete(
            "parts"
        ):
            findings.incomplete.add("shape")  # the thickness may follow from an invalid part
    return case.model_copy(update=update)


def _mounted_part(part: PartTable) -> PartTable:
    natural, sheets = part.natural_stretch, part.sheets
    if part.prestretch is not None:
        if "natural_stretch" in part.model_fields_set:
            raise InvalidValue(
                "contradicts natural_stretch, its inverse: give prestretch (mounted over cast size) or "
                "natural_stretch (stress-free over mounted size)",
                key="prestretch",
            )
        stretch = part.prestretch
        for key, value in (("hoop", stretch.hoop), ("axial", stretch.axial)):
            within(f"prestretch.{key}", value, least=1 / MOST, most=1 / LEAST)
        natural = NaturalStretchTable(hoop=1 / stretch.hoop, axial=1 / stretch.axial)
    if sheets is not None and sheets.cast_thickness is not None:
        if sheets.thickness is not None:
            raise InvalidValue(
                "contradicts thickness, which is that of the mounted sheet: give one of them",
                key="sheets.cast_thickness",
            )
        within("sheets.cast_thickness", sheets.cast_thickness, above=0.0, unit="mm")
        thickness = sheets.cast_thickness / natural_stretch_of(natural).cast_over_mounted_thickness
        sheets = sheets.model_copy(update={"thickness": as_read(thickness)})
    return part.model_copy(update={"natural_stretch": natural, "prestretch": None, "sheets": sheets})


def _with_thickness(layer: LayerTable, parts: Iterable[PartTable]) -> LayerTable:
    """Return a layer with the thickness of its sheets if it has none of its own."""
    sheets = next((part.sheets for part in parts if part.region == layer.name), None)
    given = layer.thickness is not None or layer.thickness_map is not None
    if given or sheets is None or sheets.thickness is None or sheets.count < 1:
        return layer
    return layer.model_copy(update={"thickness": as_read(sheets.count * sheets.thickness)})


def check_stack(part: PartTable, layers: Mapping[str, Layer]) -> None:
    """Raise InvalidValue unless the sheets of a part are together as thick as its layer.

    Args:
        part: A part with sheets, whose thickness is the mounted one.
        layers: The layers by name.
    """
    assert part.sheets is not None
    if part.region not in layers:
        raise InvalidValue(f"'{part.region}' is not a layer and cannot have sheets: remove sheets")
    count, thickness, cast = part.sheets.count, part.sheets.thickness, part.sheets.cast_thickness
    if thickness is None or count < 1:
        return
    total, whole = count * thickness, layers[part.region].thickness
    if abs(total - whole) <= _SHEET_TOLERANCE * whole:
        return
    each, right, other = f"{thickness:g} mm", whole / count, ""
    if cast is not None:
        each, right, other = f"{each} ({cast:g} mm as cast)", right * cast / thickness, " of the layer"
    raise InvalidValue(
        f"{count} sheets of {each} add up to {total:g} mm, but the layer is {whole:g} mm thick: give "
        f"{right:g} mm, or remove thickness{other}",
        key="thickness" if cast is None else "cast_thickness",
    )
