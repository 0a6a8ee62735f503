# SPDX-License-Identifier: MIT
"""The masks of the sheets of a layer, and what to watch with them."""

import math
from collections.abc import Iterator
from itertools import pairwise

from annelid.cases.convert.model import natural_stretch_of
from annelid.cases.convert.shape import band_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.material import PartTable
from annelid.geometry.fabrication.cast_face import band_arcs, cast_face
from annelid.geometry.fabrication.development import Development
from annelid.geometry.fabrication.mask import Mask, mark_lines
from annelid.geometry.fabrication.settings import FabricationSettings
from annelid.geometry.shapes.shape import Shape

__all__ = ["masks_of", "not_drawn", "remarks_on_mask"]

_WIDE_TAB = 0.4  # of the width of an electrode: wider tabs of opposite polarity overlap
_SAME = 1e-9


def masks_of(case: Case, shape: Shape, part: PartTable, depth: float, thickness: float) -> list[Mask]:
    """Return a mask for each film of a layer with electrodes, or for each sheet of one without.

    With n sheets there are n + 1 films, which carry voltage and ground by turns. The outermost one is ground,
    unless the potential is solved with the voltage on the outer face.

    Args:
        case: The case.
        shape: Its shape.
        part: The part of the layer.
        depth: Distance of the layer from the inner face of the mounted wall, mm.
        thickness: Its mounted thickness, mm.

    Raises:
        InvalidValue: The layer as cast is no surface of revolution.
    """
    count = part.sheet_count
    natural, step = natural_stretch_of(part.natural_stretch), thickness / count
    tables = [table for table in case.electrodes if table.region == part.region]
    if tables:
        outer_is_hot = case.electrics.model == "solved" and tables[0].hot_face == "outer"
        places = [
            (depth + k * step, _film(k, count), ((count - k) % 2 == 0) == outer_is_hot)
            for k in range(count + 1)
        ]
    else:
        places = [(depth + (k + 0.5) * step, f"sheet {k + 1} of {count}", False) for k in range(count)]
    masks = []
    for place, title, hot in places:
        face = cast_face(shape, place, natural.hoop, natural.axial)
        bands = {}
        for table in tables:
            low, high = band_arcs(shape, band_of(table))
            bands[table.name] = face.arc_at(low), face.arc_at(high)
        masks.append(Mask(part.region, title, Development(face), bands, hot, natural.hoop, natural.axial))
    return masks


def not_drawn(case: Case, part: PartTable) -> list[str]:
    """Return the names of electrodes of a layer of which masks cannot be drawn: they do not go all around."""
    return [e.name for e in case.electrodes if e.region == part.region and not band_of(e).all_around]


def remarks_on_mask(mask: Mask, settings: FabricationSettings, count: int) -> Iterator[str]:
    """Yield what to watch with the masks of a layer of so many sheets, of which one is given."""
    development, layer = mask.development, mask.layer
    if development.kind == "gores":
        longer = f"{100 * development.mismatch:.2g} % longer"
        yield (
            f"{layer} is curved in two directions and drawn as {development.panels} gores of exact area; "
            f"their edges are {longer} than the seam along the part"
        )
    if mask.bands and count % 2:
        odd = "an odd number of sheets, so one of its two outer films carries the voltage"
        yield f"{layer} has {odd}: insulate it"
    width = settings.tab_width or 0.0
    sizes = {name: high - low for name, (low, high) in mask.bands.items()}
    narrow = [name for name, size in sizes.items() if width > _WIDE_TAB * size]
    if narrow:
        cut = ", ".join(f"{sizes[n]:.3g} mm for {n}" for n in narrow if width > sizes[n] * (1 + _SAME))
        drawn = f"; they are drawn only as wide as the electrode: {cut}" if cut else ""
        close = f"tabs of voltage and ground overlap or come close{drawn}"
        yield f"tabs of {width:g} mm are wide for {', '.join(narrow)}: {close}"
    panel = 2 * math.pi * float(development.face.radius.max()) / development.panels
    overlap = settings.seam_overlap or 0.0
    if overlap >= panel:
        yield (
            f"{layer}: seams overlap by fabrication.seam_overlap = {overlap:g} mm, but the blank is only "
            f"{panel:.4g} mm wide around"
        )
    if not mask.hoop == mask.axial == 1.0 and not mark_lines(mask, settings):
        yield f"{layer} has no marks: it is smaller than fabrication.marks = {settings.marks:g} mm"
    gap = _smallest_gap(mask)
    if settings.clearance is not None and gap < settings.clearance * (1 - _SAME):
        yield (
            f"{layer}: electrodes come as near as {gap:.3g} mm as cast to each other or to the end of their "
            f"sheet, nearer than fabrication.clearance = {settings.clearance:g} mm"
        )


def _smallest_gap(mask: Mask) -> float:
    """Smallest distance between electrodes, or from the open ends of the sheet, mm."""
    if not mask.bands:
        return float("inf")
    face = mask.development.face
    closed = face.radius[[0, -1]] < _SAME * face.radius.max()
    bands = sorted(mask.bands.values())
    gaps = [second[0] - first[1] for first, second in pairwise(bands)]
    gaps += [bands[0][0]] * (not closed[0]) + [float(face.arc[-1]) - bands[-1][1]] * (not closed[1])
    return min(gaps, default=float("inf"))


def _film(number: int, count: int) -> str:
    if number == 0:
        return "film 1, inside sheet 1"
    if number == count:
        return f"film {number + 1}, outside sheet {number}"
    return f"film {number + 1}, between sheets {number} and {number + 1}"
