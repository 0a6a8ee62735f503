# SPDX-License-Identifier: MIT
"""The whole part as straight-sided cells: a meridian revolved, a sector completed, a half mirrored."""

from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import IntArray
from annelid.results.fields.placement import Placement
from annelid.results.fields.state_fields import FieldGrid

_HEXAHEDRON, _TETRAHEDRON = 12, 10  # numbers in VTK
_STATIONS, _STATIONS_PER_WAVE = 60, 8  # around the axis; of a mode with waves around it
_FINEST = 50_000  # points; larger parts are shown by the corners of their cells alone

# Second-order cells split into straight ones, in the node order of VTK.
_SQUARES = np.array([[0, 4, 8, 7], [4, 1, 5, 8], [8, 5, 2, 6], [7, 8, 6, 3]])
_CUBE = np.array(  # nodes of hexahedron27 in planes, rows and columns
    [
        [[0, 8, 1], [11, 24, 9], [3, 10, 2]],
        [[16, 22, 17], [20, 26, 21], [19, 23, 18]],
        [[4, 12, 5], [15, 25, 13], [7, 14, 6]],
    ]
)
_BASE = [[0, 0], [0, 1], [1, 1], [1, 0]]  # row and column of the corners of a face
_CUBES = np.array(
    [
        [_CUBE[k + top, j + row, i + column] for top in (0, 1) for row, column in _BASE]
        for k in (0, 1)
        for j in (0, 1)
        for i in (0, 1)
    ]
)
_TETRAHEDRA = np.array(
    [
        *([0, 4, 6, 7], [4, 1, 5, 8], [6, 5, 2, 9], [7, 8, 9, 3]),
        *([4, 9, 5, 6], [4, 9, 6, 7], [4, 9, 7, 8], [4, 9, 8, 5]),
    ]
)
_SPLIT = {"quad9": _SQUARES, "hexahedron27": _CUBES, "tetra10": _TETRAHEDRA}
_CORNERS = {"quad9": 4, "hexahedron27": 8, "tetra10": 4}
_MIRRORED = {8: [4, 5, 6, 7, 0, 1, 2, 3], 4: [0, 2, 1, 3]}  # the same cell seen in a mirror, by its corners


@dataclass(frozen=True)
class WholePart:
    """The whole part as solid cells.

    Attributes:
        placement: Its points, as images of those of the grid.
        vtk_cell_type: Number of the cell type in VTK.
        cells: Point numbers in the node order of VTK, shape (m, corners).
        origin: Cell of the body of each cell, shape (m,).
        images: Number of images of the body around the axis.
        is_fine: Whether the cells of the body are split at their middle nodes.
    """

    placement: Placement
    vtk_cell_type: int
    cells: IntArray
    origin: IntArray
    images: int
    is_fine: bool


def whole_part(grid: FieldGrid, *, symmetry_plane: str = "", waves: int = 0) -> WholePart:
    """Return the whole part of a body.

    A sector between mirror planes is completed by mirror images if an even number of copies fills the
    circumference, by rotated copies if an odd number does, and stays a sector otherwise.

    Args:
        grid: The grid of the body.
        symmetry_plane: Surface at the end of the body about which it is mirrored; "" for none.
        waves: Largest number of waves around the axis that a revolved meridian shows.
    """
    body = grid.body
    revolved = max(_STATIONS, _STATIONS_PER_WAVE * waves)
    images = revolved if body.model == "axisymmetric" else _copies(body.multiplicity)
    halves = 2 if symmetry_plane else 1
    fine = len(grid.nodes) * images * halves <= _FINEST
    split = _SPLIT[body.cell_type] if fine else np.arange(_CORNERS[body.cell_type])[None]
    pieces = grid.cells[:, split].reshape(-1, split.shape[1])
    complete = _revolved if body.model == "axisymmetric" else _completed
    placement, cells = complete(grid, pieces, images)
    placement, cells = placement.compacted(cells)
    if symmetry_plane:
        placement, cells = _doubled(grid, placement, cells, symmetry_plane)
    return WholePart(
        placement,
        vtk_cell_type=_TETRAHEDRON if cells.shape[1] == 4 else _HEXAHEDRON,
        cells=cells,
        origin=np.tile(np.repeat(np.arange(len(grid.cells)), len(split)), images * halves),
        images=images,
        is_fine=fine,
    )


def _copies(multiplicity: float) -> int:
    count = round(multiplicity)
    return count if count > 1 and abs(multiplicity - count) < 1e-9 else 1


def _revolved(grid: FieldGrid, squares: IntArray, images: int) -> tuple[Placement, IntArray]:
    """Placement of all points, and the cells image after image."""
    # A point and its images follow one another, so that equal values do, which compress well.
    number = np.arange(len(grid.nodes) * images).reshape(-1, images)
    points = grid.body.points
    axis = points[grid.nodes, 0] <= 1e-9 * np.ptp(points)
    number[axis] = number[axis, :1]
    # Corners from R to Z run clockwise for a viewer who looks along the angle. Cells at the axis stay
    # hexahedra with equal corners: programs do not agree on the order of the corners of a wedge.
    faces = number.T[:, squares[:, ::-1]]
    cells = np.concatenate([faces, np.roll(faces, -1, axis=0)], axis=2).reshape(-1, 8)
    angles = 2.0 * np.pi / images * np.arange(images)
    return Placement(np.repeat(np.arange(len(grid.nodes)), images), np.tile(angles, len(grid.nodes))), cells


def _completed(grid: FieldGrid, pieces: IntArray, images: int) -> tuple[Placement, IntArray]:
    """Placement of all points, and the cells image after image."""
    count, corners = len(grid.nodes), pieces.shape[1]
    source, image = np.tile(np.arange(count), images), np.repeat(np.arange(images, dtype=float), count)
    number = np.arange(images * count).reshape(images, count)
    step = 2.0 * np.pi / images
    if images == 1:
        return Placement(source), pieces
    if images % 2:
        return Placement(source, step * image), number[:, pieces].reshape(-1, corners)
    _share_mirror_planes(grid, number, step)
    odd = image % 2 == 1
    cells = number[:, pieces]
    cells[1::2] = cells[1::2][..., _MIRRORED[corners]]
    return Placement(source, step * (image + odd), odd), cells.reshape(-1, corners)


def _share_mirror_planes(grid: FieldGrid, number: IntArray, step: float) -> None:
    """Give points on the plane between two images the number they have in the first of them."""
    points = grid.body.points[grid.nodes]
    near = 1e-9 * np.abs(points).max()
    x, y, _ = points.T
    low, high = np.abs(y) < near, np.abs(np.sin(step) * x - np.cos(step) * y) < near
    for k in range(1, len(number)):
        shared = high if k % 2 else low
        number[k, shared] = number[k - 1, shared]
    number[-1, low] = number[0, low]


def _doubled(
    grid: FieldGrid, placement: Placement, cells: IntArray, surface: str
) -> tuple[Placement, IntArray]:
    """Add the mirror image about the plane of a surface; the points on it are shared."""
    plane = np.flatnonzero(np.isin(grid.nodes, grid.body.surface_nodes(surface)))
    count = len(placement.source)
    image = np.arange(count, 2 * count)
    shared = np.isin(placement.source, plane)
    image[shared] -= count
    both = placement.taken(np.tile(np.arange(count), 2))
    reflected = np.arange(2 * count) >= count
    mirrored_cells = image[cells][:, _MIRRORED[cells.shape[1]]]
    return replace(both, reflected=reflected, plane=plane).compacted(np.concatenate([cells, mirrored_cells]))
