# SPDX-License-Identifier: MIT
"""Thickened triangles of a flat pattern placed on a true surface, with their surfaces named."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import FACETS
from annelid.geometry.lattice_mesh.extrusion import Thickened

_CLOSE = 1e-7  # share of the extent of the flat pattern within which a node lies on a seam


class Laid(NamedTuple):
    """Where points of the flat pattern lie in space.

    Attributes:
        position: X, Y, Z, shape (k, 3), mm.
        normal: Unit wall normal, shape (k, 3).
        hoop: Unit circumferential direction, shape (k, 3).
    """

    position: FloatArray
    normal: FloatArray
    hoop: FloatArray


Lay = Callable[[FloatArray, FloatArray], Laid]
"""Maps flat positions (k, 2) and depths (k,) into space."""


def body_of(
    thick: Thickened,
    lay: Lay,
    *,
    extent: tuple[float, float],
    wall: tuple[float, float],
    model: str = "solid",
    multiplicity: float = 1.0,
    ends: tuple[bool, bool] = (True, True),
) -> Body:
    """Place thickened triangles in space and name their surfaces.

    Surfaces: ``lumen`` (faces at or below the inner face of the wall), ``outer`` (all other free faces),
    ``end_low`` and ``end_high`` (y = 0 and its end), ``side_low`` and ``side_high`` (x = 0 and its end, where
    the seam is open), and ``a|b`` between regions.

    Args:
        thick: The tetrahedra.
        lay: Map into space.
        extent: Size of the flat pattern along x and y.
        wall: Depths of the inner and outer face of the continuous wall, mm.
        model: ``"solid"`` or ``"sector"``.
        multiplicity: How many such pieces make the whole part.
        ends: Whether the wall ends at y = 0 and at the far end; it goes on over a closed pole.
    """
    laid = lay(thick.flat, thick.depth)
    facets, surfaces = _named_facets(thick, extent, wall, ends)
    return Body(
        model=model,
        points=laid.position,
        cell_type="tetra10",
        cells=thick.cells,
        regions=thick.regions,
        bands={},
        facets=facets,
        surfaces=surfaces,
        normal=laid.normal,
        hoop=laid.hoop,
        multiplicity=multiplicity,
    )


def _named_facets(
    thick: Thickened, extent: tuple[float, float], wall: tuple[float, float], ends: tuple[bool, bool]
) -> tuple[IntArray, dict[str, IntArray]]:
    _, local = FACETS["tetra10"]
    facets = thick.cells[:, local].reshape(-1, local.shape[1])
    owner = np.repeat(np.arange(len(thick.cells)), len(local))
    key = np.sort(facets[:, :3], axis=1)
    code = (key[:, 0] * (key.max() + 1) + key[:, 1]) * (key.max() + 1) + key[:, 2]
    order = np.argsort(code, kind="stable")
    same = code[order][1:] == code[order][:-1]
    twin = np.concatenate([same, [False]]) | np.concatenate([[False], same])
    free = order[~twin]
    found = _free_names(thick, facets[free], extent, wall, ends)
    named = {name: free[chosen] for name, chosen in found.items()}
    pairs = np.stack([order[:-1][same], order[1:][same]], axis=1)
    named |= _interfaces(thick, owner, pairs)
    every, position = np.unique(np.concatenate(list(named.values())), return_inverse=True)
    bounds = np.cumsum([0] + [len(members) for members in named.values()])
    surfaces = {
        name: np.sort(position[low:high])
        for name, low, high in zip(named, bounds[:-1], bounds[1:], strict=True)
        if high > low
    }
    return facets[every], surfaces


def _free_names(
    thick: Thickened,
    facets: IntArray,
    extent: tuple[float, float],
    wall: tuple[float, float],
    ends: tuple[bool, bool],
) -> dict[str, IntArray]:
    """Positions among the free facets of each named surface."""
    slip = _CLOSE * max(extent)
    deep = 1e-9 + 1e-7 * (wall[1] - wall[0])
    flat, depth = thick.flat[facets], thick.depth[facets]
    at_low, at_high = (
        end & np.all(np.abs(flat[..., 1] - y) < slip, axis=1)
        for end, y in zip(ends, (0.0, extent[1]), strict=True)
    )
    at_pole = np.isinf(flat[..., 1])  # on both sides
    side_low, side_high = (
        np.all((np.abs(flat[..., 0] - x) < slip) | at_pole, axis=1) for x in (0.0, extent[0])
    )
    if thick.merged:
        side_low[:] = side_high[:] = False
    rest = ~(at_low | at_high | side_low | side_high)
    inner = rest & np.all(depth < wall[0] + deep, axis=1)
    masks = {
        "lumen": inner,
        "outer": rest & ~inner,
        "end_low": at_low,
        "end_high": at_high,
        "side_low": side_low,
        "side_high": side_high,
    }
    return {name: np.flatnonzero(mask) for name, mask in masks.items()}


def _interfaces(thick: Thickened, owner: IntArray, pairs: IntArray) -> dict[str, IntArray]:
    """Facets between regions, by the names of both; the facet of the region listed first is taken."""
    names = list(thick.regions)
    region = np.empty(len(thick.cells), dtype=np.int64)
    for i, members in enumerate(thick.regions.values()):
        region[members] = i
    sides = region[owner[pairs]]
    first = np.argmin(sides, axis=1)
    sides.sort(axis=1)
    chosen = pairs[np.arange(len(pairs)), first]
    found = {}
    for a in range(len(names)):
        for b in range(a + 1, len(names)):
            members = chosen[(sides[:, 0] == a) & (sides[:, 1] == b)]
            if len(members):
                found[f"{names[a]}|{names[b]}"] = members
    return found
