# SPDX-License-Identifier: MIT
"""The surface of a part with a quarter removed, as triangles for pictures."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import Body, IntArray
from annelid.results.fields.facets import (
    TRIANGLES,
    boundary_faces,
    line_segments,
    revolved,
    triangulated,
    without_degenerate_triangles,
)
from annelid.results.fields.placement import Placement
from annelid.results.fields.state_fields import FieldGrid

# The quarter from 270 to 360 degrees is removed.
OPEN_FROM, OPEN_MIDDLE = 1.5 * np.pi, 1.75 * np.pi
_STATIONS = 91
_LATTICE = "lattice"  # region of printed struts


@dataclass(frozen=True)
class CutawaySurface:
    """Triangles of the surface of a part with a quarter removed.

    Attributes:
        placement: Its points.
        triangles: Shape (t, 3).
        lines: Edges that are drawn (outlines of the regions on the cut faces), shape (k, 2).
    """

    placement: Placement
    triangles: IntArray
    lines: IntArray


def cutaway_surface(grid: FieldGrid) -> CutawaySurface:
    """Return the surface of a part with a quarter removed, so that its inside is visible.

    A sector is completed by its mirror images. A whole part with a lattice is not cut: the lattice is on the
    outside, and the tetrahedra would form a ragged edge.
    """
    body = grid.body
    if body.model == "axisymmetric":
        return _revolved_surface(grid)
    if body.model == "sector":
        return _completed_sector(grid)
    kept = np.arange(len(grid.cells)) if _LATTICE in body.regions else _outside_the_opening(body)
    faces = boundary_faces(body.cells[kept], body.cell_type, members=grid.cells[kept])
    return _compacted(Placement(np.arange(len(grid.nodes))), triangulated(faces), np.empty((0, 2), int))


def _completed_sector(grid: FieldGrid) -> CutawaySurface:
    """A sector and its mirror images side by side, up to the opening."""
    body, count = grid.body, len(grid.nodes)
    images = max(1, int(OPEN_FROM / (2 * np.pi) * body.multiplicity + 1e-9))
    step = 2 * np.pi / body.multiplicity
    x, y = body.points[grid.nodes, :2].T
    near = 1e-9 * np.abs(body.points).max()
    on = {"low": np.abs(y) < near, "high": np.abs(np.sin(step) * x - np.cos(step) * y) < near}
    faces = boundary_faces(body.cells, body.cell_type, members=grid.cells)
    cut = {side: on[side][faces].all(axis=1) for side in on}
    number = np.arange(images * count).reshape(images, count)
    triangles = []
    for k in range(images):
        before, after = ("low", "high") if k % 2 == 0 else ("high", "low")
        shown = ~cut[before] & ~cut[after]  # a side face of the sector is visible only at the ends
        if k == 0:
            shown |= cut[before]
        else:
            number[k, on[before]] = number[k - 1, on[before]]
        if k == images - 1:
            shown |= cut[after]
        image_triangles = number[k][triangulated(faces[shown])]
        triangles.append(image_triangles if k % 2 == 0 else image_triangles[:, ::-1])
    image = np.repeat(np.arange(images), count)
    odd = image % 2 == 1
    placement = Placement(np.tile(np.arange(count), images), step * (image + odd), odd)
    return _compacted(placement, np.concatenate(triangles), np.empty((0, 2), int))


def _revolved_surface(grid: FieldGrid) -> CutawaySurface:
    body, count = grid.body, len(grid.nodes)
    outline = line_segments(boundary_faces(body.cells, body.cell_type, members=grid.cells))
    side = revolved(outline, count, _STATIONS, full=False)
    face = grid.cells[:, TRIANGLES[9]].reshape(-1, 3)
    last = (_STATIONS - 1) * count
    regions = [
        line_segments(boundary_faces(body.cells[cells], body.cell_type, members=grid.cells[cells]))
        for cells in body.regions.values()
    ]
    lines = np.concatenate(regions)
    angles = np.linspace(0.0, OPEN_FROM, _STATIONS)
    number = np.arange(_STATIONS * count).reshape(_STATIONS, count)
    on_axis = body.points[grid.nodes, 0] <= 1e-9 * np.ptp(body.points)
    number[:, on_axis] = number[0, on_axis]
    triangles = number.ravel()[np.concatenate([side, face, face + last])]
    placement = Placement(np.tile(np.arange(count), _STATIONS), np.repeat(angles, count))
    return _compacted(
        placement, without_degenerate_triangles(triangles), np.concatenate([lines, lines + last])
    )


def _outside_the_opening(body: Body) -> IntArray:
    centre = body.points[body.cells].mean(axis=1)
    angle = np.arctan2(centre[:, 1], centre[:, 0]) % (2.0 * np.pi)
    return np.flatnonzero(angle < OPEN_FROM)


def _compacted(placement: Placement, triangles: IntArray, lines: IntArray) -> CutawaySurface:
    split = triangles.size
    used, renumbered = placement.compacted(np.concatenate([triangles.ravel(), lines.ravel()]))
    return CutawaySurface(used, renumbered[:split].reshape(-1, 3), renumbered[split:].reshape(-1, 2))
