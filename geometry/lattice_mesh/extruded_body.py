# SPDX-License-Identifier: MIT
"""Bodies from extruded triangles of a flat pattern, placed in space and with named surfaces."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import FACETS
from annelid.geometry.lattice_mesh.extrusion import ExtrudedMesh

STRUTS = "lattice"
"""Region of the struts of a lattice."""

_CLOSE = 1e-7  # of the extent of the flat pattern: distance within which a node is on an edge of it


class WallPoints(NamedTuple):
    """Points of the flat pattern in space, with the directions of the wall.

    Attributes:
        position: X, Y, Z, shape (k, 3), mm.
        normal: Unit wall normal, shape (k, 3).
        hoop: Unit circumferential direction, shape (k, 3).
    """

    position: FloatArray
    normal: FloatArray
    hoop: FloatArray


Placement = Callable[[FloatArray, FloatArray], WallPoints]
"""Maps flat positions (k, 2) and depths (k,) in mm into space."""


def extruded_body(
    extruded: ExtrudedMesh,
    placement: Placement,
    *,
    extent: tuple[float, float],
    wall: tuple[float, float],
    model: str = "solid",
    multiplicity: float = 1.0,
    ends: tuple[bool, bool] = (True, True),
) -> Body:
    """Place an extruded mesh in space and name its surfaces.

    The surfaces are ``lumen`` (free faces at or below the inner face of the wall), ``outer`` (all other free
    faces), ``end_low`` and ``end_high`` (the edges of the pattern in y), ``side_low`` and ``side_high`` (its
    edges in x, unless they are merged), and ``a|b`` between regions.

    Args:
        extruded: The tetrahedra.
        placement: Map into space.
        extent: Size of the flat pattern along x and y.
        wall: Depths of the inner and outer face of the continuous wall, mm.
        model: ``"solid"`` or ``"sector"``.
        multiplicity: Number of such pieces that make the whole part.
        ends: Whether the wall ends at the low and at the high edge in y; it continues over a closed pole.
    """
    placed = placement(extruded.flat, extruded.depth)
    facets, surfaces = _named_facets(extruded, extent, wall, ends)
    return Body(
        model=model,
        points=placed.position,
        cell_type="tetra10",
        cells=extruded.cells,
        regions=extruded.regions,
        bands={},
        facets=facets,
        surfaces=surfaces,
        normal=placed.normal,
        hoop=placed.hoop,
        multiplicity=multiplicity,
    )


def _named_facets(
    extruded: ExtrudedMesh, extent: tuple[float, float], wall: tuple[float, float], ends: tuple[bool, bool]
) -> tuple[IntArray, dict[str, IntArray]]:
    _, local = FACETS["tetra10"]
    facets = extruded.cells[:, local].reshape(-1, local.shape[1])
    owner = np.repeat(np.arange(len(extruded.cells)), len(local))
    key = np.sort(facets[:, :3], axis=1)
    code = (key[:, 0] * (key.max() + 1) + key[:, 1]) * (key.max() + 1) + key[:, 2]
    order = np.argsort(code, kind="stable")
    same = code[order][1:] == code[order][:-1]
    shared = np.concatenate([same, [False]]) | np.concatenate([[False], same])
    free = order[~shared]
    on_free = _free_names(extruded, facets[free], extent, wall, ends)
    named = {name: free[chosen] for name, chosen in on_free.items()}
    pairs = np.stack([order[:-1][same], order[1:][same]], axis=1)
    named |= _interfaces(extruded, owner, pairs)
    every, position = np.unique(np.concatenate(list(named.values())), return_inverse=True)
    bounds = np.cumsum([0] + [len(members) for members in named.values()])
    surfaces = {
        name: np.sort(position[low:high])
        for name, low, high in zip(named, bounds[:-1], bounds[1:], strict=True)
        if high > low
    }
    return facets[every], surfaces


def _free_names(
    extruded: ExtrudedMesh,
    facets: IntArray,
    extent: tuple[float, float],
    wall: tuple[float, float],
    ends: tuple[bool, bool],
) -> dict[str, IntArray]:
    """The numbers, among the free facets, of the facets of each named surface."""
    tolerance = _CLOSE * max(extent)
    depth_tolerance = 1e-9 + 1e-7 * (wall[1] - wall[0])
    flat, depth = extruded.flat[facets], extruded.depth[facets]
    at_low, at_high = (
        end & np.all(np.abs(flat[..., 1] - y) < tolerance, axis=1)
        for end, y in zip(ends, (0.0, extent[1]), strict=True)
    )
    at_pole = np.isinf(flat[..., 1])  # on both sides
    side_low, side_high = (
        np.all((np.abs(flat[..., 0] - x) < tolerance) | at_pole, axis=1) for x in (0.0, extent[0])
    )
    if extruded.merged:
        side_low[:] = side_high[:] = False
    rest = ~(at_low | at_high | side_low | side_high)
    inner = rest & np.all(depth < wall[0] + depth_tolerance, axis=1)
    masks = {
        "lumen": inner,
        "outer": rest & ~inner,
        "end_low": at_low,
        "end_high": at_high,
        "side_low": side_low,
        "side_high": side_high,
    }
    return {name: np.flatnonzero(mask) for name, mask in masks.items()}


def _interfaces(extruded: ExtrudedMesh, owner: IntArray, pairs: IntArray) -> dict[str, IntArray]:
    """Facets between two regions by the names of both; they belong to cells of the first region."""
    names = list(extruded.regions)
    region = np.empty(len(extruded.cells), dtype=np.int64)
    for i, members in enumerate(extruded.regions.values()):
        region[members] = i
    sides = region[owner[pairs]]
    first = np.argmin(sides, axis=1)
    sides.sort(axis=1)
    chosen = pairs[np.arange(len(pairs)), first]
    facets_between = {}
    for a in range(len(names)):
        for b in range(a + 1, len(names)):
            members = chosen[(sides[:, 0] == a) & (sides[:, 1] == b)]
            if len(members):
                facets_between[f"{names[a]}|{names[b]}"] = members
    return facets_between
