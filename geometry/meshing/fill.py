# SPDX-License-Identifier: MIT
"""Areas and volumes whose boundary is meshed already, filled with triangles and tetrahedra by gmsh."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.meshing.plane_mesh import gmsh_session

_TRIANGLE, _TETRAHEDRON = 2, 4  # gmsh's numbers
_NEAR = 0.5  # of an edge: distance from the boundary beyond which elements begin to grow
_GROWTH = 1.0  # by how much, per distance
_LOOKS = 501  # places along a line at which the wanted size is looked at


def fill_plane(loops: Sequence[FloatArray], coarse: float) -> tuple[FloatArray, IntArray]:
    """Fill a plane area with triangles, every edge of its boundary kept.

    Args:
        loops: Corners of the outer boundary and of the holes, each shape (k, 2), the last not repeated.
        coarse: Largest element size; near the boundary elements are like its edges.

    Returns:
        Points, shape (n, 2), the corners of the loops first and in order, and counter-clockwise triangles,
        shape (m, 3).
    """
    with gmsh_session() as gmsh:
        geo, corners, rings = gmsh.model.geo, [], []
        for loop in loops:
            tags = [geo.addPoint(float(x), float(y), 0.0) for x, y in loop]
            lines = [geo.addLine(a, b) for a, b in zip(tags, tags[1:] + tags[:1], strict=True)]
            for line in lines:
                geo.mesh.setTransfiniteCurve(line, 2)
            rings.append(geo.addCurveLoop(lines))
            corners += tags
        geo.addPlaneSurface(rings)
        geo.synchronize()
        ends = np.concatenate([np.stack([loop, np.roll(loop, -1, axis=0)], axis=1) for loop in loops])
        _grow(gmsh, ends.mean(axis=1), np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), coarse)
        gmsh.model.mesh.generate(2)
        first = np.array([gmsh.model.mesh.getNodes(0, tag)[0][0] for tag in corners], dtype=np.int64)
        points, triangles = _read(gmsh, first, _TRIANGLE)
    points = points[:, :2]
    a, b, c = (points[triangles[:, i]] for i in range(3))
    turned = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0
    triangles[turned] = triangles[turned][:, [0, 2, 1]]
    return points, triangles


def fill_volume(points: FloatArray, triangles: IntArray, coarse: float) -> tuple[FloatArray, IntArray]:
    """Fill a closed surface with tetrahedra, every triangle of it kept.

    Args:
        points: Corners of the surface, shape (n, 3).
        triangles: Closed and turned outwards, shape (m, 3).
        coarse: Largest element size; near the surface elements are like its triangles.

    Returns:
        Points, those of the surface first and in order, and tetrahedra, shape (k, 4).
    """
    with gmsh_session() as gmsh:
        surface = gmsh.model.addDiscreteEntity(2)
        tags = np.arange(1, len(points) + 1)
        gmsh.model.mesh.addNodes(2, surface, tags, points.ravel())
        gmsh.model.mesh.addElementsByType(surface, _TRIANGLE, [], (triangles + 1).ravel())
        gmsh.model.geo.addVolume([gmsh.model.geo.addSurfaceLoop([surface])])
        gmsh.model.geo.synchronize()
        edges = np.concatenate([points[triangles[:, i]] - points[triangles[:, i - 1]] for i in range(3)])
        size = np.linalg.norm(edges, axis=1).reshape(3, -1).mean(axis=0)
        _grow(gmsh, points[triangles].mean(axis=1), size, coarse)
        gmsh.model.mesh.generate(3)
        gmsh.model.mesh.optimize("Netgen")  # without it the flattest are a tenth as thick
        return _read(gmsh, tags, _TETRAHEDRON)


def graded(length: float, ends: tuple[float, float], coarse: float) -> FloatArray:
    """Divide a line: edges grow from their sizes at both ends.

    Returns:
        Distances of the corners from its beginning, both ends with them.
    """
    at = np.linspace(0.0, length, _LOOKS)
    size = np.minimum(np.minimum(ends[0] + _GROWTH * at, ends[1] + _GROWTH * (length - at)), coarse)
    passed = np.concatenate([[0.0], np.cumsum(np.diff(at) * (1 / size[1:] + 1 / size[:-1]) / 2)])
    count = max(1, round(float(passed[-1])))
    found = np.interp(np.linspace(0.0, passed[-1], count + 1), passed, at)
    found[-1] = length
    return found


def _grow(gmsh: Any, places: FloatArray, sizes: FloatArray, coarse: float) -> None:
    """Elements as large as the nearest of some places says, growing away from it."""
    from scipy.spatial import cKDTree

    for name in ("MeshSizeExtendFromBoundary", "MeshSizeFromPoints", "MeshSizeFromCurvature"):
        gmsh.option.setNumber(f"Mesh.{name}", 0)
    tree, dimension = cKDTree(places), places.shape[1]

    def size(_dim: int, _tag: int, x: float, y: float, z: float, _size: float) -> float:
        distance, nearest = tree.query((x, y, z)[:dimension])
        own = float(sizes[nearest])
        return max(own, min(coarse, own + _GROWTH * (float(distance) - _NEAR * own)))

    gmsh.model.mesh.setSizeCallback(size)


def _read(gmsh: Any, first: IntArray, kind: int) -> tuple[FloatArray, IntArray]:
    """All points, those numbered ``first`` by gmsh first, and the elements of a kind."""
    tags, coordinates, _ = gmsh.model.mesh.getNodes()
    tags, where = np.unique(tags.astype(np.int64), return_index=True)
    coordinates = coordinates.reshape(-1, 3)[where]
    order = np.concatenate([first, np.setdiff1d(tags, first)])
    number = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
    number[order] = np.arange(len(order))
    place = np.searchsorted(tags, order)
    corners = 3 if kind == _TRIANGLE else 4
    elements = number[gmsh.model.mesh.getElementsByType(kind)[1].astype(np.int64)].reshape(-1, corners)
    return coordinates[place], elements
