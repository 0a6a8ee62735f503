# SPDX-License-Identifier: MIT
"""The skin of a part for pictures: revolved or cut open, as triangles that carry the fields along."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.body import Body
from results.facets import TRIANGLES, boundary_faces, cut_lines, revolved, triangulated, without_slivers
from results.fields import FieldGrid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# The quarter from 270 to 360 degrees is taken away.
OPEN_FROM, OPEN_MIDDLE = 1.5 * np.pi, 1.75 * np.pi
_STATIONS = 91


@dataclass(frozen=True)
class Skin:
    """Triangles of a part's surface, cut open.

    Attributes:
        source: Grid point from which each point takes its fields, shape (n,).
        angle: Angle to which an axisymmetric point is turned; ``None`` for a 3-D part.
        triangles: Shape (t, 3).
        lines: Edges worth drawing (outlines of the regions on the cut faces), shape (k, 2).
    """

    source: IntArray
    angle: FloatArray | None
    triangles: IntArray
    lines: IntArray

    def place(self, points: FloatArray) -> FloatArray:
        """Return where the points of the skin stand, from grid points in X, Y, Z, shape (n, 3)."""
        taken = points[self.source]
        if self.angle is None:
            return taken
        c, s = np.cos(self.angle), np.sin(self.angle)
        return np.column_stack([c * taken[:, 0], s * taken[:, 0], taken[:, 2]])


def open_skin(grid: FieldGrid) -> Skin:
    """Return the skin of a part with a quarter taken away, so that its inside shows.

    A sector, already open, is shown as it is.
    """
    if grid.body.model == "axisymmetric":
        return _revolved_skin(grid)
    kept = _outside_the_opening(grid.body) if grid.body.model == "solid" else np.arange(len(grid.cells))
    body = grid.body
    faces = boundary_faces(body.cells[kept], body.cell_type, members=grid.cells[kept])
    return _compacted(Skin(np.arange(len(grid.nodes)), None, triangulated(faces), np.empty((0, 2), int)))


def _revolved_skin(grid: FieldGrid) -> Skin:
    body, count = grid.body, len(grid.nodes)
    outline = cut_lines(boundary_faces(body.cells, body.cell_type, members=grid.cells))
    side = revolved(outline, count, _STATIONS, full=False)
    face = grid.cells[:, TRIANGLES[9]].reshape(-1, 3)
    last = (_STATIONS - 1) * count
    regions = [
        cut_lines(boundary_faces(body.cells[cells], body.cell_type, members=grid.cells[cells]))
        for cells in body.regions.values()
    ]
    lines = np.concatenate(regions)
    angles = np.linspace(0.0, OPEN_FROM, _STATIONS)
    number = np.arange(_STATIONS * count).reshape(_STATIONS, count)
    on_axis = body.points[grid.nodes, 0] <= 1e-9 * np.ptp(body.points)
    number[:, on_axis] = number[0, on_axis]
    triangles = number.ravel()[np.concatenate([side, face, face + last])]
    return _compacted(
        Skin(
            source=np.tile(np.arange(count), _STATIONS),
            angle=np.repeat(angles, count),
            triangles=without_slivers(triangles),
            lines=np.concatenate([lines, lines + last]),
        )
    )


def _outside_the_opening(body: Body) -> IntArray:
    centre = body.points[body.cells].mean(axis=1)
    angle = np.arctan2(centre[:, 1], centre[:, 0]) % (2.0 * np.pi)
    return np.flatnonzero(angle < OPEN_FROM)


def _compacted(skin: Skin) -> Skin:
    members = np.concatenate([skin.triangles.ravel(), skin.lines.ravel()])
    used, renumbered = np.unique(members, return_inverse=True)
    split = skin.triangles.size
    return Skin(
        source=skin.source[used],
        angle=None if skin.angle is None else skin.angle[used],
        triangles=renumbered[:split].reshape(-1, 3),
        lines=renumbered[split:].reshape(-1, 2),
    )
