# SPDX-License-Identifier: MIT
"""What is cast and cut for a resolved case: sheets, masks and moulds."""

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby
from typing import NamedTuple

from annelid.cases.convert.as_cast import cast_layer, thickness_words
from annelid.cases.convert.display import display_units_of
from annelid.cases.convert.masks import masks_of, not_drawn, remarks_on_mask
from annelid.cases.convert.model import natural_stretch_of
from annelid.cases.convert.shape import entries_of, shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.fabrication import FabricationTable
from annelid.cases.schema.material import PartTable
from annelid.geometry.errors import InvalidValue
from annelid.geometry.fabrication.cast_face import CastFace, cast_face
from annelid.geometry.fabrication.mask import Mask
from annelid.geometry.fabrication.mould import Mould
from annelid.geometry.fabrication.plan import CastSheet, FabricationPlan
from annelid.geometry.fabrication.settings import FabricationSettings
from annelid.geometry.shapes.shape import Shape
from annelid.solver.model.natural_stretch import NaturalStretch

__all__ = ["fabrication_plan", "settings_of"]

_NOT_GIVEN = {
    "pass_thickness": "the dry thickness of one pass: the number of passes cannot be given",
    "shrinkage": "the shrinkage of the rubber: moulds have the size of the part as cast",
    "tab_width": "the width and length of the electrode tabs: the masks have none",
    "seam_overlap": "the overlap of seams: the edges of a wrapped sheet meet edge to edge",
    "allowance": "the allowance for trimming: blanks have their net size",
    "clearance": "the distance to be kept around electrodes: it was not checked",
}
_SAME = 1e-6
_OF_ELECTRODES = ("tab_width", "clearance")
_MEASURED = (
    "the wall is a measured surface, not one of revolution: masks, blanks and moulds are not drawn; take the "
    "mould from the scan"
)


class _Layer(NamedTuple):
    """A layer of the wall: its thickness and the depth of its inner face in the mounted wall, mm."""

    name: str
    thickness: float
    depth: float
    part: PartTable

    @property
    def natural(self) -> NaturalStretch:
        return natural_stretch_of(self.part.natural_stretch)

    @property
    def sheets(self) -> int:
        return self.part.sheet_count


def settings_of(case: Case) -> FabricationSettings:
    """Return the settings of the workshop.

    Raises:
        InvalidValue: A value is out of its range.
    """
    return FabricationSettings(**entries_of(case.fabrication or FabricationTable()))


def fabrication_plan(case: Case) -> FabricationPlan:
    """Return what is cast and cut for a resolved case."""
    shape, settings = shape_of(case), settings_of(case)
    is_measured = case.lattice is not None and case.lattice.measured is not None and case.making is None
    remarks = [_MEASURED] if is_measured else []
    sheets, masks, cast = list[CastSheet](), list[Mask](), list[_Layer]()
    for layer in _layers(case, shape):
        films = list[Mask]()
        if not is_measured:
            try:
                films = masks_of(case, shape, layer.part, layer.depth, layer.thickness)
            except InvalidValue as error:
                remarks.append(f"{layer.name} has no masks and no mould: {error.problem}")
        sheets += _sheets(case, shape, layer, drawn=bool(films))
        remarks += [*_remarks_on_pass(sheets[-1], settings), *_remarks_on_unevenness(case, shape, layer)]
        undrawn = not_drawn(case, layer.part)
        if films and undrawn:
            names = ", ".join(undrawn)
            remarks.append(f"{layer.name} has no masks: {names} does not go all around, so draw it by hand")
        elif films:
            masks += films
            remarks += remarks_on_mask(films[0], settings, layer.sheets)
        if films:
            cast += [layer] * (layer.name not in case.cover)
    missing = [
        f"{text} (fabrication.{key})"
        for key, text in _NOT_GIVEN.items()
        if getattr(settings, key) is None and (case.electrodes or key not in _OF_ELECTRODES)
    ]
    moulds = tuple(_moulds(shape, cast, settings))
    return FabricationPlan(settings, tuple(sheets), tuple(masks), moulds, tuple(missing), tuple(remarks))


def _layers(case: Case, shape: Shape) -> Iterator[_Layer]:
    parts = {part.region: part for part in case.parts}
    depth = 0.0
    for layer in shape.layers:
        yield _Layer(layer.name, layer.thickness, depth, parts[layer.name])
        depth += layer.thickness


def _sheets(case: Case, shape: Shape, layer: _Layer, *, drawn: bool) -> Iterator[CastSheet]:
    """Yield the sheets of a layer; without sizes if it is not drawn."""
    mounted = layer.thickness / layer.sheets
    thickness = cast_layer(case, layer.part).thickness / layer.sheets
    for number in range(1, layer.sheets + 1):
        sheet = CastSheet(
            layer.name,
            layer.part.material,
            number,
            layer.sheets,
            mounted,
            thickness,
            layer.natural.hoop,
            layer.natural.axial,
            is_cover=layer.name in case.cover,
        )
        yield _with_sizes(sheet, _face(shape, layer, (number - 0.5) * mounted)) if drawn else sheet


def _remarks_on_pass(sheet: CastSheet, settings: FabricationSettings) -> Iterator[str]:
    one_pass = settings.pass_thickness
    if one_pass is not None and one_pass > sheet.thickness * (1 + _SAME):
        setting = f"one pass leaves fabrication.pass_thickness = {one_pass:g} mm"
        yield f"{sheet.layer}: {setting}, more than a sheet of {sheet.thickness:.4g} mm as cast"


def _remarks_on_unevenness(case: Case, shape: Shape, layer: _Layer) -> Iterator[str]:
    """State that sizes are those of the mean thickness."""
    uneven = next(each for each in shape.layers if each.name == layer.name)
    if uneven.uneven is not None:
        yield (
            f"{layer.name} is uneven ({thickness_words(uneven, display_units_of(case))}): sheets, masks and "
            "moulds are drawn for its mean thickness"
        )


def _with_sizes(sheet: CastSheet, middle: CastFace) -> CastSheet:
    return replace(
        sheet,
        diameter=2 * float(middle.offset(-sheet.thickness / 2)[:, 0].max()),
        around=2 * math.pi * float(middle.radius.max()),
        along=float(middle.arc[-1]),
        volume=middle.area() * sheet.thickness,
    )


def _face(shape: Shape, layer: _Layer, depth: float) -> CastFace:
    return cast_face(shape, layer.depth + depth, layer.natural.hoop, layer.natural.axial)


def _moulds(shape: Shape, layers: list[_Layer], settings: FabricationSettings) -> Iterator[Mould]:
    """Yield a mould for each group of neighbouring layers with the same pre-stretch, cast on each other."""
    for natural, members in groupby(layers, lambda layer: layer.natural):
        group = list(members)
        face = _face(shape, group[0], group[0].thickness / 2)
        thickness = group[0].thickness * natural.cast_over_mounted_thickness
        profile = settings.in_mould(1.0) * face.offset(-thickness / 2)
        if profile[:, 0].max() > 0:
            yield Mould(tuple(layer.name for layer in group), profile, face.joints)
