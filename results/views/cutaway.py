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
_PEELED = np.pi / 6  # by which layers that cover electrodes are cut back on both sides of the opening
_STATIONS = 91
_LATTICE = "lattice"  # region of printed struts
_NO_LAYERS = ("core", "cap", _LATTICE, "end ring")


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

    Layers that cover electrodes are cut back farther, so that the dielectric is visible. A sector is
    completed by its mirror images. A whole part with a lattice is not cut: the lattice is on the outside, and
    the tetrahedra would form a ragged edge.
    """
    body = grid.body
    if body.model == "axisymmetric":
        return _revolved_surface(grid)
    if body.model == "sector":
        return _completed_sector(grid)
    kept = np.arange(len(grid.cells)) if _LATTICE in body.regions else _outside_the_opening(body)
    faces = boundary_faces(body.cells[kept], body.cell_type, members=grid.cells[kept])
    return _compacted(Placement(np.arange(len(grid.nodes))), triangulated(faces), np.empty((0, 2), int))


def whole_surface(grid: FieldGrid, stations: int) -> CutawaySurface:
    """Return the surface of a meridian revolved all around, with the outlines of its regions nowhere.

    Args:
        grid: The grid of an axisymmetric body.
        stations: Number of meridians.
    """
    body, count = grid.body, len(grid.nodes)
    outline = line_segments(boundary_faces(body.cells, body.cell_type, members=grid.cells))
    number = np.arange(stations * count).reshape(stations, count)
    on_axis = body.points[grid.nodes, 0] <= 1e-9 * np.ptp(body.points)
    number[:, on_axis] = number[0, on_axis]
    triangles = number.ravel()[revolved(outline, count, stations, full=True)]
    angles = 2 * np.pi / stations * np.arange(stations)
    placement = Placement(np.tile(np.arange(count), stations), np.repeat(angles, count))
    return _compacted(placement, without_degenerate_triangles(triangles), np.empty((0, 2), int))


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
    covering = covering_cells(grid.body)
    rest = np.setdiff1d(np.arange(len(grid.cells)), covering)
    pieces = [_revolved_piece(grid, rest, 0.0, OPEN_FROM)]
    if covering.size:
        pieces.append(_revolved_piece(grid, covering, _PEELED, OPEN_FROM - _PEELED))
    starts = np.cumsum([0, *(len(piece.placement.source) for piece in pieces)])[:-1]
    placement = Placement(
        np.concatenate([piece.placement.source for piece in pieces]),
        np.concatenate([piece.placement.angle for piece in pieces if piece.placement.angle is not None]),
    )
    shifted = list(zip(pieces, starts, strict=True))
    return _compacted(
        placement,
        np.concatenate([piece.triangles + start for piece, start in shifted]),
        np.concatenate([piece.lines + start for piece, start in shifted]),
    )


def _revolved_piece(grid: FieldGrid, cells: IntArray, start: float, stop: float) -> CutawaySurface:
    """Some cells of a meridian section, revolved between two angles."""
    body, count = grid.body, len(grid.nodes)
    outline = line_segments(boundary_faces(body.cells[cells], body.cell_type, members=grid.cells[cells]))
    side = revolved(outline, count, _STATIONS, full=False)
    face = grid.cells[cells][:, TRIANGLES[9]].reshape(-1, 3)
    last = (_STATIONS - 1) * count
    members = [np.intersect1d(of_region, cells) for of_region in body.regions.values()]
    lines = np.concatenate(
        [
            line_segments(boundary_faces(body.cells[some], body.cell_type, members=grid.cells[some]))
            for some in members
            if some.size
        ]
    )
    angles = np.linspace(start, stop, _STATIONS)
    number = np.arange(_STATIONS * count).reshape(_STATIONS, count)
    on_axis = body.points[grid.nodes, 0] <= 1e-9 * np.ptp(body.points)
    number[:, on_axis] = number[0, on_axis]
    triangles = number.ravel()[np.concatenate([side, face, face + last])]
    return CutawaySurface(
        Placement(np.tile(np.arange(count), _STATIONS), np.repeat(angles, count)),
        without_degenerate_triangles(triangles),
        np.concatenate([lines, lines + last]),
    )


def covering_cells(body: Body) -> IntArray:
    """Return the cells of the layers outside the outermost layer with electrodes, in ascending order.

    The layers of a body are in the order from the inside; caps and cores are no layers.
    """
    electrodes = np.concatenate([*body.bands.values(), np.empty(0, int)]).astype(int)
    layers = [cells for name, cells in body.regions.items() if name not in _NO_LAYERS]
    with_electrodes = [i for i, cells in enumerate(layers) if np.isin(cells, electrodes).any()]
    outside = layers[max(with_electrodes) + 1 :] if with_electrodes else []
    return np.sort(np.concatenate([*outside, np.empty(0, int)]).astype(int))


def _outside_the_opening(body: Body) -> IntArray:
    centre = body.points[body.cells].mean(axis=1)
    angle = np.arctan2(centre[:, 1], centre[:, 0]) % (2.0 * np.pi)
    peeled = np.zeros(len(angle))
    peeled[covering_cells(body)] = _PEELED
    return np.flatnonzero((angle >= peeled) & (angle < OPEN_FROM - peeled))


def _compacted(placement: Placement, triangles: IntArray, lines: IntArray) -> CutawaySurface:
    split = triangles.size
    used, renumbered = placement.compacted(np.concatenate([triangles.ravel(), lines.ravel()]))
    return CutawaySurface(used, renumbered[:split].reshape(-1, 3), renumbered[split:].reshape(-1, 2))
