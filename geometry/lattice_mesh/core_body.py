# SPDX-License-Identifier: MIT
"""A core within a wall, with a mesh that conforms to the inner face of the wall."""

import math
from dataclasses import replace

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import FACETS
from annelid.geometry.errors import InvalidValue
from annelid.geometry.lattice_mesh.core_surface import Core, CoreSurface
from annelid.geometry.lattice_mesh.extrusion import EDGES
from annelid.geometry.lattice_mesh.surface_patches import Patch, PatchedSurface
from annelid.geometry.meshing.fill import fill_volume

CORE = "core"
"""Region of a core."""


def with_core(body: Body, core: Core) -> Body:
    """Fill the space within a wall of tetrahedra with a core.

    The inner face of the wall, its former ``lumen``, becomes the interface ``core|layer``. The core has the
    surfaces ``core_end_low``, ``core_end_high``, ``core_side`` beyond the ends of the wall, ``lumen`` if it
    is hollow, and its part of ``side_low`` and ``side_high``. All nodes on its cylinders, including mid-side
    nodes, lie exactly on them.

    Args:
        body: A wall whose inner face is a cylinder between two heights.
        core: The core.

    Raises:
        InputError: If the core cannot be meshed with the triangles of the wall on its surface.
    """
    face = body.facets[body.surfaces["lumen"]]
    nodes, corners = np.unique(face[:, :3], return_inverse=True)
    core_surface = CoreSurface(
        core,
        body.points[nodes],
        corners.reshape(-1, 3)[:, ::-1].astype(np.int64),
        2 * math.pi / body.multiplicity,
    )
    surface = core_surface.closed_surface()
    points, tetrahedra = fill_volume(surface.points, surface.triangles, core.along)
    number = np.concatenate([nodes, len(body.points) + np.arange(len(points) - len(nodes))])
    added, cells = _second_order(body, face, points[len(nodes) :], number[tetrahedra])
    added = _on_cylinders(added, cells, number, surface, core_surface.patches, len(body.points))
    return _merged(body, added, cells, _named(cells, number, surface, core_surface.patches))


def _second_order(
    body: Body, face: IntArray, points: FloatArray, tetrahedra: IntArray
) -> tuple[FloatArray, IntArray]:
    """New nodes after those of the wall, and the cells; edges on the wall use its mid-side nodes."""
    every = np.concatenate([body.points, points])
    ends = np.sort(tetrahedra[:, EDGES].reshape(-1, 2), axis=1)
    code, edge = np.unique(_code(ends, len(every)), return_inverse=True)
    known = _code(np.sort(face[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), len(every))
    known, first = np.unique(known, return_index=True)
    middle = face[:, 3:].ravel()[first]
    place = np.minimum(np.searchsorted(known, code), len(known) - 1)
    on_wall = known[place] == code
    node = np.where(on_wall, middle[place], len(every) + np.cumsum(~on_wall) - 1)
    pairs = np.stack([code // len(every), code % len(every)], axis=1)[~on_wall]
    cells = np.concatenate([tetrahedra, node[edge.ravel()].reshape(-1, len(EDGES))], axis=1)
    return np.concatenate([points, every[pairs].mean(axis=1)]), cells.astype(np.int64)


def _code(pairs: IntArray, count: int) -> IntArray:
    return pairs[:, 0] * count + pairs[:, 1]


def _facets(cells: IntArray) -> IntArray:
    _, local = FACETS["tetra10"]
    return cells[:, local].reshape(-1, local.shape[1])


def _patch_of(facets: IntArray, number: IntArray, surface: PatchedSurface) -> IntArray:
    """The patch on which each facet lies; -1 within the core."""
    on_surface = np.sort(number[surface.triangles], axis=1)
    every, which = np.unique(
        np.concatenate([on_surface, np.sort(facets[:, :3], axis=1)]), axis=0, return_inverse=True
    )
    patch = np.full(len(every), -1, dtype=np.int64)
    patch[which.ravel()[: len(on_surface)]] = surface.patch
    return patch[which.ravel()[len(on_surface) :]]


def _on_cylinders(
    added: FloatArray,
    cells: IntArray,
    number: IntArray,
    surface: PatchedSurface,
    patches: list[Patch],
    start: int,
) -> FloatArray:
    """New nodes, moved onto the cylinders to which they belong; nodes of the wall are already on them."""
    facets = _facets(cells)
    patch, moved = _patch_of(facets, number, surface), added.copy()
    for index, piece in enumerate(patches):
        if piece.radius is None:
            continue
        nodes = np.unique(facets[patch == index])
        nodes = nodes[nodes >= start] - start
        moved[nodes, :2] *= piece.radius / np.linalg.norm(moved[nodes, :2], axis=1)[:, None]
    return moved


def _named(
    cells: IntArray, number: IntArray, surface: PatchedSurface, patches: list[Patch]
) -> dict[str, IntArray]:
    """Facets of every surface of the core, oriented outwards, by name; ``""`` for those on the wall."""
    facets = _facets(cells)
    patch = _patch_of(facets, number, surface)
    if (patch >= 0).sum() != len(surface.triangles):
        raise InvalidValue(
            "the core cannot be meshed to match the mesh of the wall: make along or on_struts smaller",
            key="along",
            subject="mesh",
        )
    facets_of: dict[str, list[IntArray]] = {}
    for index, piece in enumerate(patches):
        facets_of.setdefault(piece.name, []).append(facets[patch == index])
    return {name: np.concatenate(parts) for name, parts in facets_of.items()}


def _merged(body: Body, added: FloatArray, cells: IntArray, named: dict[str, IntArray]) -> Body:
    """Return the body with the nodes, cells and facets of the core."""
    layer = next(name for name, members in body.regions.items() if _touches(body, members))
    kept = np.ones(len(body.facets), dtype=bool)
    kept[body.surfaces["lumen"]] = False
    place = np.cumsum(kept) - 1
    surfaces = {name: place[members] for name, members in body.surfaces.items() if name != "lumen"}
    count = int(kept.sum())
    for name, facets in named.items():
        members = count + np.arange(len(facets))
        count += len(facets)
        key = name or f"{CORE}|{layer}"
        surfaces[key] = np.concatenate([surfaces[key], members]) if key in surfaces else members
    outward = np.column_stack([added[:, :2], np.zeros(len(added))])
    radius = np.linalg.norm(outward, axis=1)
    on_axis = radius < 1e-12 * max(1.0, float(radius.max()))
    outward = np.where(on_axis[:, None], [1.0, 0.0, 0.0], outward / np.where(on_axis, 1.0, radius)[:, None])
    hoop = np.column_stack([-outward[:, 1], outward[:, 0], np.zeros(len(outward))])
    assert body.hoop is not None
    first = len(body.cells)
    return replace(
        body,
        points=np.concatenate([body.points, added]),
        cells=np.concatenate([body.cells, cells]),
        regions={CORE: first + np.arange(len(cells)), **body.regions},
        facets=np.concatenate([body.facets[kept], *named.values()]),
        surfaces=surfaces,
        normal=np.concatenate([body.normal, outward]),
        hoop=np.concatenate([body.hoop, hoop]),
    )


def _touches(body: Body, members: IntArray) -> bool:
    """Whether some of the cells have a facet on the inner face of the wall."""
    face = np.unique(body.facets[body.surfaces["lumen"]][:, :3])
    return bool((np.isin(body.cells[members, :4], face).sum(axis=1) == 3).any())
