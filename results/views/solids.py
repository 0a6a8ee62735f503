# SPDX-License-Identifier: MIT
"""The skin of a part for pictures: revolved or cut open, as triangles that carry the fields along."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import Body
from annelid.results.fields.facets import (
    TRIANGLES,
    boundary_faces,
    cut_lines,
    revolved,
    triangulated,
    without_slivers,
)
from annelid.results.fields.state_fields import FieldGrid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# The quarter from 270 to 360 degrees is taken away.
OPEN_FROM, OPEN_MIDDLE = 1.5 * np.pi, 1.75 * np.pi
_STATIONS = 91
_LATTICE = "lattice"  # region of printed struts


@dataclass(frozen=True)
class Skin:
    """Triangles of a part's surface, cut open.

    Attributes:
        source: Grid point from which each point takes its fields, shape (n,).
        angle: Angle by which each point is turned about the axis; ``None`` where none is.
        mirrored: Whether each point is mirrored about the plane Y = 0 before; ``None`` where none is.
        triangles: Shape (t, 3).
        lines: Edges worth drawing (outlines of the regions on the cut faces), shape (k, 2).
    """

    source: IntArray
    angle: FloatArray | None
    triangles: IntArray
    lines: IntArray
    mirrored: NDArray[np.bool_] | None = None

    def place(self, points: FloatArray) -> FloatArray:
        """Return where the points of the skin stand, from grid points in X, Y, Z, shape (n, 3)."""
        taken = points[self.source]
        if self.angle is None:
            return taken
        c, s = np.cos(self.angle), np.sin(self.angle)
        x, y, z = taken.T
        if self.mirrored is not None:
            y = np.where(self.mirrored, -y, y)
        return np.column_stack([c * x - s * y, s * x + c * y, z])


def open_skin(grid: FieldGrid) -> Skin:
    """Return the skin of a part with a quarter taken away, so that its inside shows.

    A sector is completed by its mirror images. A whole part with a lattice stays closed: what it is stands
    outside, and its tetrahedra would end in a ragged edge.
    """
    body = grid.body
    if body.model == "axisymmetric":
        return _revolved_skin(grid)
    if body.model == "sector":
        return _completed_skin(grid)
    kept = np.arange(len(grid.cells)) if _LATTICE in body.regions else _outside_the_opening(body)
    faces = boundary_faces(body.cells[kept], body.cell_type, members=grid.cells[kept])
    return _compacted(Skin(np.arange(len(grid.nodes)), None, triangulated(faces), np.empty((0, 2), int)))


def _completed_skin(grid: FieldGrid) -> Skin:
    """Mirror images of a sector side by side, up to where the part is cut open."""
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
        shown = ~cut[before] & ~cut[after]  # a cut face shows at either end only
        if k == 0:
            shown |= cut[before]
        else:
            number[k, on[before]] = number[k - 1, on[before]]
        if k == images - 1:
            shown |= cut[after]
        mine = number[k][triangulated(faces[shown])]
        triangles.append(mine if k % 2 == 0 else mine[:, ::-1])
    image = np.repeat(np.arange(images), count)
    odd = image % 2 == 1
    return _compacted(
        Skin(
            source=np.tile(np.arange(count), images),
            angle=step * (image + odd),
            triangles=np.concatenate(triangles),
            lines=np.empty((0, 2), int),
            mirrored=odd,
        )
    )


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
        mirrored=None if skin.mirrored is None else skin.mirrored[used],
        triangles=renumbered[:split].reshape(-1, 3),
        lines=renumbered[split:].reshape(-1, 2),
    )
