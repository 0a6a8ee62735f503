# SPDX-License-Identifier: MIT
"""A mesh found in a file, and the body recovered from it."""

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
class FoundMesh:
    """What a mesh file says, in VTK node order, lengths in mm.

    Attributes:
        points: Node positions, shape (n, 3); in a plane mesh R, Z and 0.
        cell_type: One of ``CELL_TYPES``.
        cells: Nodes of the cells.
        regions: Cell numbers by region.
        bands: Cell numbers by band.
        facets: Nodes of the named facets.
        surfaces: Facet numbers by surface.
        normal: Wall normal at the nodes, shape (n, 3), if the file holds it.
    """

    points: FloatArray
    cell_type: str
    cells: IntArray
    regions: Mapping[str, IntArray]
    bands: Mapping[str, IntArray]
    facets: IntArray
    surfaces: Mapping[str, IntArray]
    normal: FloatArray | None


def recover_body(found: FoundMesh, path: str) -> Body:
    """Check a mesh from a file and make it a body.

    Surfaces are turned as those of a built body, unused nodes dropped, and the wall normal, if the file
    lacks it, taken from the nearest node of surface ``lumen`` (or else ``outer``).

    Raises:
        InputError: If cells lack a region or have two, surfaces lie on no cell, radii are negative, there is
            no normal to be had, or the mesh is below the quality floor.
    """
    _check_regions(found, path)
    points, cells, facets, normal = _used_nodes(found, path)
    flat = found.cell_type == "quad9"
    if flat:
        points, cells = _meridian(points, cells, path)
        normal = None if normal is None else normal[:, :2]
    facets = _turned(points, found, cells, facets, path)
    if normal is None:
        normal = _normal_from_surface(points, FACETS[found.cell_type][0], facets, found.surfaces, path)
    model, multiplicity = "axisymmetric", 1.0
    if not flat:
        model, multiplicity = _model(points, facets, found.surfaces)
    body = Body(
        model=model,
        points=points,
        cell_type=found.cell_type,
        cells=cells,
        regions=found.regions,
        bands=found.bands,
        facets=facets,
        surfaces=found.surfaces,
        normal=normal,
        hoop=None if flat else _hoop(points),
        multiplicity=multiplicity,
    )
    check_quality(body)
    return body


def _check_regions(found: FoundMesh, path: str) -> None:
    times = np.zeros(len(found.cells), dtype=np.int64)
    for members in found.regions.values():
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
            f"{', '.join(found.regions)}; write electrode bands as groups named 'band <name>'",
            path=path,
        )
    taken = np.zeros(len(found.cells), dtype=bool)
    for name, members in found.bands.items():
        if taken[members].any():
            raise InputError(
                f"mesh file {path}: band {name!r} overlaps another band; bands may not share cells"
            )
        taken[members] = True


def _used_nodes(found: FoundMesh, path: str) -> tuple[FloatArray, IntArray, IntArray, FloatArray | None]:
    used, numbers = np.unique(found.cells, return_inverse=True)
    number = np.full(len(found.points), -1, dtype=np.int64)
    number[used] = np.arange(len(used))
    facets = number[found.facets]
    if facets.size and facets.min() < 0:
        raise InputError(f"mesh file {path}: a surface has nodes that belong to no cell", path=path)
    normal = None if found.normal is None else found.normal[used]
    return found.points[used], numbers.reshape(found.cells.shape).astype(np.int64), facets, normal


def _meridian(points: FloatArray, cells: IntArray, path: str) -> tuple[FloatArray, IntArray]:
    """Return R, Z and the cells turned counter-clockwise."""
    size = float(np.ptp(points, axis=0).max())
    if np.abs(points[:, 2]).max() > _TINY * size:
        raise InputError(
            f"mesh file {path}: an axisymmetric mesh lies in the plane z = 0 with x = R and y = Z; this "
            "one does not",
            path=path,
        )
    flat = points[:, :2].copy()
    if flat[:, 0].min() < -_TINY * size:
        raise InputError(
            f"mesh file {path}: radius {flat[:, 0].min():g} mm; the meridian (x = R) must lie at R >= 0 mm",
            path=path,
        )
    flat[np.abs(flat[:, 0]) < _TINY * size, 0] = 0.0
    corner = flat[cells[:, :4]]
    across, along = corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1]
    clockwise = across[:, 0] * along[:, 1] - across[:, 1] * along[:, 0] < 0.0
    return flat, np.where(clockwise[:, None], cells[:, FLIPPED["quad9"]], cells)


def _turned(points: FloatArray, found: FoundMesh, cells: IntArray, facets: IntArray, path: str) -> IntArray:
    """Return the facets, free ones turned out of the material."""
    if not len(facets):
        return facets
    facet_type, local = FACETS[found.cell_type]
    near = neighbours(found.cell_type, cells, facets)
    if np.any(near.sharing == 0):
        lost = [name for name, members in found.surfaces.items() if np.any(near.sharing[members] == 0)]
        raise InputError(f"mesh file {path}: surface {lost[0]!r} has facets that bound no cell", path=path)
    seen = cells[near.cell_facet // len(local)][
        np.arange(len(facets))[:, None], local[near.cell_facet % len(local)]
    ]
    ours = facet_normals(points, facet_type, facets)[:, -1]
    theirs = facet_normals(points, facet_type, seen)
    same = np.einsum("fi,fi->f", ours, theirs.mean(axis=1)) > 0.0
    wrong = ~same & (near.sharing == 1)
    return np.where(wrong[:, None], facets[:, FLIPPED[facet_type]], facets)


def _normal_from_surface(
    points: FloatArray, facet_type: str, facets: IntArray, surfaces: Mapping[str, IntArray], path: str
) -> FloatArray:
    from scipy.spatial import cKDTree

    name = next((name for name in ("lumen", "outer") if name in surfaces), None)
    if name is None:
        raise InputError(
            f"mesh file {path}: neither a surface 'lumen' nor 'outer' to tell the wall normal from; name one",
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
    """Return the model and its multiplicity, from the planes of a sector if there are any."""
    if not {"side_low", "side_high"} <= set(surfaces):
        return "solid", 1.0
    far = []
    for name in ("side_low", "side_high"):
        nodes = points[np.unique(facets[surfaces[name]])]
        far.append(nodes[np.argmax(np.hypot(nodes[:, 0], nodes[:, 1]))])
    low, high = (math.atan2(spot[1], spot[0]) for spot in far)
    return "sector", 2 * math.pi / ((high - low) % (2 * math.pi))
