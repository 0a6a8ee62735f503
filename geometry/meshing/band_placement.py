# SPDX-License-Identifier: MIT
"""Which electrodes that do not go all around a model can describe."""

from collections.abc import Iterator, Sequence

from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Shape

__all__ = ["placement_findings"]

_SAME = 1e-9  # degrees


def placement_findings(bands: Sequence[Band], shape: Shape, size: MeshSize) -> Iterator[Finding]:
    """Errors of electrodes that contradict the symmetry of the model, or cannot be placed on the shape."""
    for index, band in enumerate(bands):
        text = "" if band.all_around else _conflict(band, shape, size)
        if text:
            error = InvalidValue(text, key=band.key, subject=f"electrode '{band.name}'")
            yield Finding(("electrodes", index), error)


def _conflict(band: Band, shape: Shape, size: MeshSize) -> str:
    remedy = f"choose mesh.model = 'solid', or leave out {band.key}"
    if size.model == "axisymmetric":
        return f"an axisymmetric model is the same all around, but this electrode is not: {remedy}"
    if band.helix is not None and shape.bands_by_radius:
        return (
            f"a helix winds along the axis, but edges of electrodes on a {shape.kind} are radii: leave it out"
        )
    if band.helix is not None and size.model == "sector":
        return f"the symmetry planes of a sector would mirror the helix: {remedy}"
    if band.angles is not None and size.model == "sector" and not _mirrored(*band.angles, size.sector):
        return (
            f"{band.angles[0]:g} to {band.angles[1]:g} degrees contradicts the symmetry planes of a sector "
            f"of {size.sector:g} degrees, which would repeat the electrode elsewhere: choose mesh.model = "
            "'solid', or mesh.sector = '180 deg' and angles with 0 or 180 degrees in their middle"
        )
    return ""


def _mirrored(first: float, last: float, sector: float) -> bool:
    """Whether a single electrode is symmetric about the planes of a sector."""
    off = (first + last) / 2 % 180.0
    return abs(sector - 180.0) < _SAME and min(off, 180.0 - off) < _SAME
