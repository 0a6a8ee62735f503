# SPDX-License-Identifier: MIT
"""What an animation draws of a part: a section through the axis, or the surface of the cut-open part."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.results.fields.facets import TRIANGLES, line_segments
from annelid.results.fields.placement import Placement
from annelid.results.fields.plane_cut import outline, plane_cut
from annelid.results.fields.state_fields import FieldGrid, in_meridian, in_space
from annelid.results.show.whole_part import whole_part
from annelid.results.views.cutaway import cutaway_surface

type OfGrid = Callable[[FloatArray], FloatArray]


class DrawnPart(NamedTuple):
    """Triangles and lines between points that follow those of the grid.

    Attributes:
        place: Returns the positions of the drawn points, given those of the grid in space, shape (n, 3).
        take: Returns the values at the drawn points, given those at the points of the grid.
        triangles: Shape (t, 3).
        lines: Shape (k, 2).
        lumen: Quadrilaterals that fill the lumen of an axisymmetric part, shape (q, 4).
    """

    place: OfGrid
    take: OfGrid
    triangles: IntArray
    lines: IntArray
    lumen: IntArray = np.empty((0, 4), int)


def section_through_axis(grid: FieldGrid, *, symmetry_plane: str = "", angle: float = 0.0) -> DrawnPart:
    """Return the section of the whole part by a plane through its axis; coordinates along and across it.

    Of a 3-D model it is a section of the drawn part, which moves with the material.

    Args:
        grid: The grid of the body.
        symmetry_plane: Surface at the end of the body about which it is mirrored; "" for none.
        angle: Angle of the plane around the axis, from X to Y, of a 3-D model, degrees.
    """
    if grid.body.model == "axisymmetric":
        return _mirrored_meridian(grid, symmetry_plane)
    whole = whole_part(grid, symmetry_plane=symmetry_plane)
    placement, c, s = whole.placement, np.cos(np.radians(angle)), np.sin(np.radians(angle))
    turned = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])  # of rows, by -angle
    cut = plane_cut(placement.place(grid.body.points[grid.nodes]) @ turned, whole.cells)
    return DrawnPart(
        place=lambda points: (cut.at(placement.place(points)) @ turned)[:, [2, 0]],
        take=lambda values: cut.at(values[placement.source]),
        triangles=cut.triangles,
        lines=outline(cut.triangles),
    )


def _mirrored_meridian(grid: FieldGrid, symmetry_plane: str) -> DrawnPart:
    count, halves = len(grid.nodes), 2 if symmetry_plane else 1
    image = np.repeat(np.arange(2 * halves), count)
    placement = Placement(
        np.tile(np.arange(count), 2 * halves),
        angle=np.pi * (image % 2).astype(np.float64),
        reflected=image >= 2,
        plane=np.flatnonzero(np.isin(grid.nodes, grid.body.surface_nodes(symmetry_plane)))
        if symmetry_plane
        else np.arange(1),
    )
    one = grid.cells[:, TRIANGLES[9]].reshape(-1, 3)
    triangles = np.concatenate([one + k * count for k in range(2 * halves)])
    lumen = _lumen_of(grid)
    return DrawnPart(
        place=lambda points: placement.place(in_space(in_meridian(points)))[:, [2, 0]],
        take=lambda values: values[placement.source],
        triangles=triangles,
        lines=outline(triangles),
        lumen=np.concatenate([lumen + 2 * k * count for k in range(halves)]),
    )


def _lumen_of(grid: FieldGrid) -> IntArray:
    """Corners of the lumen between a meridian and its mirror image, whose points follow."""
    body = grid.body
    if "lumen" not in body.surfaces:
        return np.empty((0, 4), int)
    point = np.empty(len(body.points), int)
    point[grid.nodes] = np.arange(len(grid.nodes))
    start, end = point[line_segments(body.facets[body.surfaces["lumen"]])].T
    return np.column_stack([start, end, end + len(grid.nodes), start + len(grid.nodes)])


def cut_open_part(grid: FieldGrid) -> DrawnPart:
    """Return the surface of the part with a quarter removed; coordinates X, Y, Z."""
    surface = cutaway_surface(grid)
    return DrawnPart(
        place=surface.placement.place,
        take=lambda values: values[surface.placement.source],
        triangles=surface.triangles,
        lines=surface.lines,
    )
