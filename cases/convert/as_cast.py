# SPDX-License-Identifier: MIT
"""What a part with a natural stretch is as cast and as mounted, in words."""

from collections.abc import Iterator
from typing import NamedTuple

from annelid.cases.convert.display import display_units_of
from annelid.cases.convert.model import natural_stretch_of
from annelid.cases.convert.shape import shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.material import PartTable
from annelid.geometry.fabrication.cast_face import cast_face
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube
from annelid.solver.display import DisplayUnits, digits

__all__ = ["CastLayer", "as_cast_lines", "as_cast_words", "cast_layer", "is_uneven", "thickness_words"]

_DIRECTIONS = (("hoop", "around", "wide"), ("axial", "along the axis", "long"))


class CastLayer(NamedTuple):
    """Sizes of a layer as cast.

    Attributes:
        thickness: Thickness of the layer, mm; the mean of an uneven one.
        inner_radius: Inner radius, mm; ``None`` for a shape without a constant one or with uneven layers.
        length: Length along the axis, mm; ``None`` for such a shape.
    """

    thickness: float
    inner_radius: float | None = None
    length: float | None = None


def cast_layer(case: Case, part: PartTable) -> CastLayer:
    """Return the sizes as cast of the layer of a part of a resolved case.

    The volume as cast is the mounted one. The middle surface becomes wider by the natural stretch, so the
    inner radius is that of the middle surface less half of the thickness.
    """
    shape, natural = shape_of(case), natural_stretch_of(part.natural_stretch)
    number = [layer.name for layer in shape.layers].index(part.region)
    mounted = shape.layers[number].thickness
    thickness = mounted * natural.cast_over_mounted_thickness
    if not isinstance(shape, Tube | Sleeve) or shape.uneven:
        return CastLayer(thickness)
    depth = sum(layer.thickness for layer in shape.layers[:number]) + mounted / 2
    face = cast_face(shape, depth, natural.hoop, natural.axial)
    return CastLayer(thickness, float(face.offset(-thickness / 2)[0, 0]), float(face.arc[-1]))


def thickness_words(layer: Layer, units: DisplayUnits) -> str:
    """Describe the mounted thickness of a layer: ``"180 µm"``, of an uneven one the range and the mean."""
    if layer.uneven is None:
        return units.show("thickness", layer.thickness)
    least, most, mean = (
        units.show("thickness", value) for value in (layer.thinnest, layer.thickest, layer.thickness)
    )
    around = "" if layer.uneven.all_around else " and around"
    return f"as measured along{around} the wall, {least} to {most}, {mean} on average"


def is_uneven(case: Case, region: str) -> bool:
    """Whether a region is a layer of uneven thickness."""
    return any(layer.name == region and layer.uneven is not None for layer in shape_of(case).layers)


def as_cast_lines(case: Case) -> list[str]:
    """Describe every part of a resolved case whose size as cast differs from the mounted one."""
    units = display_units_of(case)
    words = ((part.region, "; ".join(as_cast_words(case, part, units))) for part in case.parts)
    return [f"{region}: {text}" for region, text in words if text]


def as_cast_words(case: Case, part: PartTable, units: DisplayUnits) -> Iterator[str]:
    """Yield the pre-stretch of a part, and the sizes of its layer as cast and mounted.

    Nothing is yielded without a natural stretch along hoop or axis.
    """
    natural = natural_stretch_of(part.natural_stretch)
    if natural.hoop == natural.axial == 1:
        return
    yield f"pre-stretch: hoop {digits(1 / natural.hoop)}, axial {digits(1 / natural.axial)}"
    names = [layer.name for layer in case.shape.layers]
    if part.region in names:
        yield from _sizes(case, part, names.index(part.region), units)
    for key, where, adjective in _DIRECTIONS:
        value = getattr(natural, key)
        if value > 1:
            times = f"{digits(value)} times as {adjective} as mounted"
            yield f"pressed in {where}: as cast it is {times}, so it is mounted under compression"


def _sizes(case: Case, part: PartTable, number: int, units: DisplayUnits) -> Iterator[str]:
    shape, cast = shape_of(case), cast_layer(case, part)

    def both(before: float, after: float, kind: str = "length") -> str:
        return f"as cast {units.show(kind, before)}, mounted {units.show(kind, after)}"

    count = part.sheet_count
    what = "each sheet " if count > 1 else ""
    mean = " on average" if shape.layers[number].uneven else ""
    yield what + both(cast.thickness / count, shape.layers[number].thickness / count, "thickness") + mean
    if not isinstance(shape, Tube | Sleeve) or cast.inner_radius is None or cast.length is None:
        return
    if cast.inner_radius > 0:  # else no tube has the volume and the middle surface
        yield "inner radius " + both(cast.inner_radius, _inner_radius(shape, number))
    yield "length " + both(cast.length, shape.length)


def _inner_radius(shape: Tube | Sleeve, number: int) -> float:
    """Return the mounted inner radius of a layer, mm."""
    radius = shape.inner_radius if isinstance(shape, Tube) else shape.core_radius
    return radius + sum(layer.thickness for layer in shape.layers[:number])
