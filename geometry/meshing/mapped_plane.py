# SPDX-License-Identifier: MIT
"""Every shape as rectangular patches of a parameter plane (x through the wall, y along it) and a map."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.inventory import SIDE_PLANES, Inventory, is_free
from annelid.geometry.meshing.uneven_wall import UnevenWall

SIDES = ("x low", "x high", "y low", "y high")
"""The four sides of a patch; the number of a side is its position here."""

_STEP = ((-1, 0), (1, 0), (0, -1), (0, 1))
_CORNERS = (((0, 0), (0, 1)), ((1, 0), (1, 1)), ((0, 0), (1, 0)), ((0, 1), (1, 1)))


class Placed(NamedTuple):
    """Points of the parameter plane mapped to R and Z, and the unit wall normals there, each (k, 2)."""

    position: FloatArray
    normal: FloatArray


Place = Callable[[FloatArray, FloatArray], Placed]


@dataclass(frozen=True)
class MappedPlane:
    """A shape on a grid of rectangular patches in a parameter plane, before it is meshed.

    Attributes:
        x: GridMesh lines through the wall, ascending, mm.
        y: GridMesh lines along the part, ascending, mm.
        columns: Elements between successive x lines.
        rows: Elements between successive y lines.
        regions: Region name of each patch (i, j); missing patches are void.
        outside: Surface name of each free side of a patch, by (i, j, side number).
        axis: Sides of the whole plane on the axis of the part, as numbers into ``SIDES``.
        rank: Position of each region in the order from inside to outside.
        bands: Patches of each electrode band.
        place: The map to R, Z.
        uneven: The wall if it has uneven layers, else ``None``.
        edges: Element edges through the wall and along it if they are not even between lines, mm.
    """

    x: FloatArray
    y: FloatArray
    columns: IntArray
    rows: IntArray
    regions: Mapping[tuple[int, int], str]
    outside: Mapping[tuple[int, int, int], str]
    axis: tuple[int, ...]
    rank: Mapping[str, int]
    bands: Mapping[str, tuple[tuple[int, int], ...]]
    place: Place
    uneven: UnevenWall | None = None
    edges: tuple[FloatArray, FloatArray] | None = None

    def placed(self, grid: FloatArray, angle: FloatArray) -> Placed:
        """Map grid positions in half elements, shape (n, 2), at angles in rad, shape (n,)."""
        x, y = self.parameters(grid)
        return self.place(x if self.uneven is None else self.uneven.through(x, y, angle), y)

    def layer_thickness(self, grid: FloatArray, angle: FloatArray) -> dict[str, FloatArray]:
        """Local thickness of the uneven layers at grid positions and angles, mm, shape (n,) by layer."""
        return {} if self.uneven is None else self.uneven.thickness(self.parameters(grid)[1], angle)

    def parameters(self, grid: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the parameters x, y (mm) at grid positions (n, 2) in half elements."""
        if self.edges is not None:
            x, y = (np.interp(g, 2.0 * np.arange(len(e)), e) for g, e in zip(grid.T, self.edges, strict=True))
            return x, y
        across = 2.0 * np.concatenate([[0], np.cumsum(self.columns)])
        up = 2.0 * np.concatenate([[0], np.cumsum(self.rows)])
        return np.interp(grid[:, 0], across, self.x), np.interp(grid[:, 1], up, self.y)

    def on_axis(self, patch: tuple[int, int]) -> int | None:
        """Return the number of the side of a patch on the axis, or None."""
        edge = {0: patch[0] == 0, 2: patch[1] == 0, 3: patch[1] == len(self.rows) - 1}
        return next((side for side in self.axis if edge[side]), None)

    def names(self) -> dict[tuple[int, int, int], tuple[str, ...]]:
        """Return the surface names of each patch side.

        An interface is named once, on the side of the inner region.
        """
        found: dict[tuple[int, int, int], list[str]] = {}
        for (i, j), region in self.regions.items():
            for side, (di, dj) in enumerate(_STEP):
                other = self.regions.get((i + di, j + dj))
                if other is None and (i, j, side) in self.outside:
                    found.setdefault((i, j, side), []).append(self.outside[i, j, side])
                elif other is not None and self.rank[other] > self.rank[region]:
                    found.setdefault((i, j, side), []).append(f"{region}|{other}")
        for band, patches in self.bands.items():
            for i, j in patches:
                found.setdefault((i, j, 0), []).append(f"{band}.inner")
                found.setdefault((i, j, 1), []).append(f"{band}.outer")
        return {key: tuple(value) for key, value in found.items()}

    def inventory(self, model: str) -> Inventory:
        """Names that the mesh of this plane will have.

        Args:
            model: ``"axisymmetric"``, ``"solid"`` or ``"sector"``.
        """
        corners: dict[str, set[tuple[int, int]]] = {}
        for (i, j, side), names in self.names().items():
            for name in filter(is_free, names):
                corners.setdefault(name, set()).update((i + di, j + dj) for di, dj in _CORNERS[side])
        touching = {
            frozenset(pair)
            for pair in combinations(corners, 2)
            if not corners[pair[0]].isdisjoint(corners[pair[1]])
        }
        surfaces = tuple(corners)
        if model == "sector":  # every surface reaches the planes; these meet each other at the axis alone
            touching |= {frozenset((side, name)) for side in SIDE_PLANES for name in corners}
            touching |= {frozenset(SIDE_PLANES)} if self.axis else set()
            surfaces += SIDE_PLANES
        return Inventory(
            model=model,
            regions=tuple(sorted(set(self.regions.values()), key=lambda region: self.rank[region])),
            surfaces=surfaces,
            bands={
                band: tuple(dict.fromkeys(self.regions[patch] for patch in patches))
                for band, patches in self.bands.items()
            },
            touching=frozenset(touching),
        )
