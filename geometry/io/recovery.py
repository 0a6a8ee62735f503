# SPDX-License-Identifier: MIT
"""The content of a mesh file, and the body recovered from it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import FACETS
from annelid.geometry.errors import InputError
from annelid.geometry.meshing.orientation import FLIPPED, facet_normals, neighbours
from annelid.geometry.meshing.quality import check_quality

CELL_TYPES = ("quad9", "hexahedron27", "tetra10")
_TINY = 1e-9  # of the size of the part


@dataclass(frozen=True)
class FileMesh:
    """The content of a mesh file, in the node order of VTK, lengths in mm.

    Attributes:
        points: Node positions, shape (n, 3); in a plane mesh R, Z and 0.
        cell_type: One of ``CELL_TYPES``.
        cells: Nodes of the cells.
        regions: Cell numbers by region.
        bands: Cell numbers by band.
        facets: Nodes of the named facets.
        surfaces: Facet numbers by surface.
        normal: Wall normal at the nodes, shape (n, 3); ``None`` if the file does not contain it.
    """

    points: FloatArray
    cell_type: str
    cells: IntArray
    regions: Mapping[str, IntArray]
    bands: Mapping[str, IntArray]
    facets: IntArray
    surfaces: Mapping[str, IntArray]
    normal: FloatArray | None


def recover_body(mesh: FileMesh, path: str) -> Body:
    """Check the mesh of a file and convert it to a body.

    Facets are oriented as in a built body and unused nodes are removed. If the file does not contain the
    wall normal, it is taken from the nearest node of the surface ``lumen`` (or ``outer``).

    Raises:
        InputError: If a cell has no region or two, a facet bounds no cell, a radius is negative, the normal
            cannot be determined or the mesh quality is below the floor.
    """
    _check_regions(mesh, path)
    points, cells, facets, normal = _used_nodes(mesh, path)
    flat = mesh.cell_type == "quad9"
    if flat:
        points, cells = _meridian(points, cells, path)
        normal = None if normal is None else normal[:, :2]
    facets = _oriented_facets(points, mesh, cells, facets, path)
    if normal is None:
        normal = _normal_from_surface(points, FACETS[mesh.cell_type][0], facets, mesh.surfaces, path)
    model, multiplicity = "axisymmetric", 1.0
    if not flat:
        model, multiplicity = _model(points, facets, mesh.surfaces)
    body = Body(
        model=model,
        points=points,
        cell_type=mesh.cell_type,
        cells=cells,
        regions=mesh.regions,
        bands=mesh.bands,
        facets=facets,
        surfaces=mesh.surfaces,
        normal=normal,
        hoop=None if flat else _hoop(points),
        multiplicity=multiplicity,
    )
    check_quality(body)
    return body


def _check_regions(mesh: FileMesh, path: str) -> None:
    times = np.zeros(len(mesh.cells), dtype=np.int64)
    for members in mesh.regions.values():
        times[members] += 1
    if np.any(times == 0):
        raise InputError(
            f"mesh file {path}: {int(np.sum(times == 0))} cells have no region; put every cell in a "
            "physical group",
            path=path,
        )
    if np.any(times > 1):
        raise InputError(
            f"mesh file {path}: {int(np.sum(times > 1))} cells are in two regions of "
            f"{', '.join(mesh.regions)}; write electrode bands as groups named 'band <name>'",
            path=path,
        )
    taken = np.zeros(len(mesh.cells), dtype=bool)
    for name, members in mesh.bands.items():
        if taken[members].any():
            raise InputError(
                f"mesh file {path}: band {name!r} overlaps another band; bands may not share cells"
            )
        taken[members] = True


def _used_nodes(mesh: FileMesh, path: str) -> tuple[FloatArray, IntArray, IntArray, FloatArray | None]:
    used, numbers = np.unique(mesh.cells, return_inverse=True)
    number = np.full(len(mesh.points), -1, dtype=np.int64)
    number[used] = np.arange(len(used))
    facets = number[mesh.facets]
    if facets.size and facets.min() < 0:
        raise InputError(f"mesh file {path}: a surface has nodes that belong to no cell", path=path)
    normal = None if mesh.normal is None else mesh.normal[used]
    return mesh.points[used], numbers.reshape(mesh.cells.shape).astype(np.int64), facets, normal


def _meridian(points: FloatArray, cells: IntArray, path: str) -> tuple[FloatArray, IntArray]:
    """Return R, Z and the cells in counter-clockwise order."""
    size = float(np.ptp(points, axis=0).max())
    if np.abs(points[:, 2]).max() > _TINY * size:
        raise InputError(
            f"mesh file {path}: an axisymmetric mesh must lie in the plane z = 0 with x = R and y = Z",
            path=path,
        )
    flat = points[:, :2].copy()
    if flat[:, 0].min() < -_TINY * size:
        raise InputError(
            f"mesh file {path}: the least radius is {flat[:, 0].min():g} mm; all radii (x = R) must be at "
            "least 0 mm",
            path=path,
        )
    flat[np.abs(flat[:, 0]) < _TINY * size, 0] = 0.0
    corner = flat[cells[:, :4]]
    across, along = corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1]
    clockwise = across[:, 0] * along[:, 1] - across[:, 1] * along[:, 0] < 0.0
    return flat, np.where(clockwise[:, None], cells[:, FLIPPED["quad9"]], cells)


def _oriented_facets(
    points: FloatArray, mesh: FileMesh, cells: IntArray, facets: IntArray, path: str
) -> IntArray:
    """Return the facets, with free ones oriented out of the material."""
    if not len(facets):
        return facets
    facet_type, local = FACETS[mesh.cell_type]
    near = neighbours(mesh.cell_type, cells, facets)
    if np.any(near.sharing == 0):
        lost = [name for name, members in mesh.surfaces.items() if np.any(near.sharing[members] == 0)]
        raise InputError(f"mesh file {path}: surface {lost[0]!r} has facets that bound no cell", path=path)
    seen = cells[near.cell_facet // len(local)][
        np.arange(len(facets))[:, None], local[near.cell_facet % len(local)]
    ]
    ours = facet_normals(points, facet_type, facets)[:, -1]
    theirs = facet_normals(points, facet_type, seen)
    aligned = np.einsum("fi,fi->f", ours, theirs.mean(axis=1)) > 0.0
    wrong = ~aligned & (near.sharing == 1)
    return np.where(wrong[:, None], facets[:, FLIPPED[facet_type]], facets)


def _normal_from_surface(
    points: FloatArray, facet_type: str, facets: IntArray, surfaces: Mapping[str, IntArray], path: str
) -> FloatArray:
    from scipy.spatial import cKDTree

    name = next((name for name in ("lumen", "outer") if name in surfaces), None)
    if name is None:
        raise InputError(
            f"mesh file {path}: the wall normal cannot be determined; name a surface 'lumen' or 'outer'",
            path=path,
        )
    chosen = facets[surfaces[name]]
    outward = facet_normals(points, facet_type, chosen) * (-1.0 if name == "lumen" else 1.0)
    total = np.zeros_like(points)
    np.add.at(total, chosen, outward)
    nodes = np.unique(chosen)
    _, nearest = cKDTree(points[nodes]).query(points)
    normal = total[nodes][nearest]
    return np.asarray(normal / np.linalg.norm(normal, axis=1, keepdims=True))


def _hoop(points: FloatArray) -> FloatArray:
    radius = np.hypot(points[:, 0], points[:, 1])
    off_axis = radius > _TINY * float(np.ptp(points, axis=0).max())
    safe = np.where(off_axis, radius, 1.0)
    cosine = np.where(off_axis, points[:, 0] / safe, 1.0)
    sine = np.where(off_axis, points[:, 1] / safe, 0.0)
    return np.column_stack([-sine, cosine, np.zeros(len(points))])


def _model(points: FloatArray, facets: IntArray, surfaces: Mapping[str, IntArray]) -> tuple[str, float]:
    """Return the model and its multiplicity; the planes of a sector give the latter."""
    if not {"side_low", "side_high"} <= set(surfaces):
        return "solid", 1.0
    far = []
    for name in ("side_low", "side_high"):
        nodes = points[np.unique(facets[surfaces[name]])]
        far.append(nodes[np.argmax(np.hypot(nodes[:, 0], nodes[:, 1]))])
    low, high = (math.atan2(spot[1], spot[0]) for spot in far)
    return "sector", 2 * math.pi / ((high - low) % (2 * math.pi))
