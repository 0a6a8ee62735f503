# SPDX-License-Identifier: MIT
"""Building: shape and mesh sizes in, body out."""

from collections.abc import Sequence

import numpy as np

from geometry.body import Body, FloatArray
from geometry.drawing import Drawing
from geometry.layout import lay_out
from geometry.naming import Grid, named_cells, named_facets
from geometry.plane import Plane, mesh_plane
from geometry.shapes import Band, Shape
from geometry.sizes import MeshSize


def build(shape: Shape, size: MeshSize, bands: Sequence[Band] = (), *, lines: Sequence[float] = ()) -> Body:
    """Mesh a shape.

    Args:
        shape: Tube, sleeve or balloon.
        size: Which model, and how fine.
        bands: Ring electrodes; the mesh has cell edges exactly at their edges.
        lines: Further heights Z at which cell edges shall lie, mm.

    Returns:
        The body; all its nodes, mid-side nodes too, lie on the true shape.

    Raises:
        InputError: If bands or lines do not fit the shape, or the mesh falls below the quality floor.
    """
    drawing = lay_out(shape, size, bands, lines)
    plane = mesh_plane(drawing)
    return _meridian_body(drawing, plane)


def _meridian_body(drawing: Drawing, plane: Plane) -> Body:
    mesh = Grid("quad9", plane.nodes.astype(np.float64), plane.cells, plane.patches)
    placed = drawing.place(*parameters(drawing, mesh.grid))
    regions, bands = named_cells(drawing, mesh)
    facets, surfaces = named_facets(drawing, mesh, {})
    return Body(
        model="axisymmetric",
        points=placed.position,
        cell_type="quad9",
        cells=mesh.cells,
        regions=regions,
        bands=bands,
        facets=facets,
        surfaces=surfaces,
        normal=placed.normal,
    )


def parameters(drawing: Drawing, grid: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the parameters x, y (mm) at grid positions (n, 2) in half elements."""
    across = 2.0 * np.concatenate([[0], np.cumsum(drawing.columns)])
    up = 2.0 * np.concatenate([[0], np.cumsum(drawing.rows)])
    return np.interp(grid[:, 0], across, drawing.x), np.interp(grid[:, 1], up, drawing.y)
