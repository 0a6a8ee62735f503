# SPDX-License-Identifier: MIT
"""Fill areas and volumes whose boundaries are already meshed with triangles and tetrahedra, using gmsh."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.meshing.mesh_size import check_count
from annelid.geometry.meshing.plane_mesh import gmsh_session

_PER_CUBE = 6 * 2**0.5  # regular tetrahedra with edges of 1 in a volume of 1
_TRIANGLE, _TETRAHEDRON = 2, 4  # element types of gmsh
_NEAR = 0.5  # distance from the boundary at which elements begin to grow, over the length of an edge
_GROWTH = 1.0  # increase of the element size per distance
_SAMPLES = 501  # points along a line at which the target size is evaluated


def fill_plane(loops: Sequence[FloatArray], coarse: float) -> tuple[FloatArray, IntArray]:
    """Fill a plane area with triangles and keep every edge of its boundary.

    Args:
        loops: Corners of the outer boundary and of the holes, each of shape (k, 2), the last not repeated.
        coarse: Largest element size; near the boundary elements are as large as its edges.

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
    return points, counter_clockwise(points, triangles)


def fill_volume(points: FloatArray, triangles: IntArray, coarse: float) -> tuple[FloatArray, IntArray]:
    """Fill a closed surface with tetrahedra and keep every triangle of it.

    Args:
        points: Corners of the surface, shape (n, 3).
        triangles: Closed surface oriented outwards, shape (m, 3).
        coarse: Largest element size; near the surface elements are as large as its triangles.

    Returns:
        Points, those of the surface first and in order, and tetrahedra, shape (k, 4).
    """
    corners = points[triangles]
    volume = abs(np.einsum("ti,ti->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))) / 6
    check_count(_PER_CUBE * volume / coarse**3, f"along = {coarse:g} mm", "make mesh.along larger")
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
        gmsh.model.mesh.optimize("Netgen")  # without it the flattest cells are a tenth as thick
        return _read(gmsh, tags, _TETRAHEDRON)


def counter_clockwise(points: FloatArray, triangles: IntArray) -> IntArray:
    """Return plane triangles (m, 3) with their corners in counter-clockwise order."""
    a, b, c = (points[triangles[:, i]] for i in range(3))
    clockwise = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0
    return np.where(clockwise[:, None], triangles[:, [0, 2, 1]], triangles)


def graded_divisions(length: float, ends: tuple[float, float], coarse: float) -> FloatArray:
    """Divide a line into edges that grow from given sizes at both ends.

    Returns:
        Distances of the corners from the start of the line, including both ends.
    """
    at = np.linspace(0.0, length, _SAMPLES)
    size = np.minimum(np.minimum(ends[0] + _GROWTH * at, ends[1] + _GROWTH * (length - at)), coarse)
    edges = np.concatenate([[0.0], np.cumsum(np.diff(at) * (1 / size[1:] + 1 / size[:-1]) / 2)])
    count = max(1, round(float(edges[-1])))
    corners = np.interp(np.linspace(0.0, edges[-1], count + 1), edges, at)
    corners[-1] = length
    return corners


def _grow(gmsh: Any, places: FloatArray, sizes: FloatArray, coarse: float) -> None:
    """Set element sizes: the size given at the nearest place, growing with the distance from it."""
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
    """All points, beginning with those whose gmsh tags are ``first``, and the elements of a kind."""
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
