# SPDX-License-Identifier: MIT
"""Shapes as grids of patches in a parameter plane (x through the wall, y along it) with a map to R, Z."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from annelid.geometry.body import FloatArray, IntArray

SIDES = ("x low", "x high", "y low", "y high")
"""The four sides of a patch; the number of a side is its position here."""

_STEP = ((-1, 0), (1, 0), (0, -1), (0, 1))


class Placed(NamedTuple):
    """Points of the parameter plane mapped to R and Z, and the unit wall normals there, each (k, 2)."""

    position: FloatArray
    normal: FloatArray


Place = Callable[[FloatArray, FloatArray], Placed]


@dataclass(frozen=True)
class Drawing:
    """A shape laid out on a grid of rectangular patches, before it is meshed.

    Attributes:
        x: Grid lines through the wall, ascending, mm.
        y: Grid lines along the part, ascending, mm.
        columns: Elements between successive x lines.
        rows: Elements between successive y lines.
        regions: Region name of each patch (i, j); missing patches are void.
        outside: Surface name of each free side of a patch, by (i, j, side number).
        axis: Sides of the whole plane on the axis of the part, as numbers into ``SIDES``.
        rank: Position of each region in the order from inside to outside.
        bands: Patches of each electrode band.
        place: The map to R, Z.
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
