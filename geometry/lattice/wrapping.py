# SPDX-License-Identifier: MIT
"""Laying: a flat pattern onto a surface, with whole cells around and along and solid rings at the ends."""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import whole_number, within
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.along import Along, Band
from annelid.geometry.lattice.chart import PERIOD, SIDES, Chart
from annelid.geometry.lattice.pattern import Pattern, Strut

_ROUNDING = 1e-9
_OPEN = 1.1  # struts must be so many times narrower than closes a cell


@dataclass(frozen=True)
class Lattice:
    """A lattice on a surface, told in the surface's conformal chart; strut widths are true lengths in mm.

    Attributes:
        chart: The surface on which it lies.
        pattern: The flat pattern in units of the chart: width = 2 pi / around, or 2 pi, with all cells
            around, on a surface that is not the same all around.
        around: Number of cells around.
        along: Number of cells along.
        cells: Where the cells lie.
        rings: Solid end rings, none or two, joined to the cells.
        height: Height of struts and rings along the surface's normal, mm.
        side: ``"outside"``, ``"inside"`` or ``"embedded"``.
        growth: Size of the cells at the widest circle over their drawn size.
        smallest: Size of the smallest cells over that of the largest.
    """

    chart: Chart
    pattern: Pattern
    around: int
    along: int
    cells: Band
    rings: tuple[Band, ...]
    height: float
    side: str
    growth: float
    smallest: float

    @property
    def extent(self) -> Band:
        """The whole lattice with its rings."""
        bands = (self.cells, *self.rings)
        return Band(min(band.low for band in bands), max(band.high for band in bands))

    @property
    def heights(self) -> tuple[float, float]:
        """Least and largest height of the struts over the surface, mm."""
        low = {"outside": 0.0, "inside": -self.height, "embedded": -self.height / 2}[self.side]
        return low, low + self.height

    def column(self) -> tuple[Strut, ...]:
        """Return the struts of one pattern around and all along, in the chart, cut off where cells end.

        Copies turned by whole multiples of the pattern's width make up the lattice.
        """
        found = []
        for row in range(-2, self.along + 2):
            for strut in self.pattern.struts:
                moved = strut.points + np.array([0.0, self.cells.low + row * self.pattern.height])
                found += [replace(strut, points=piece) for piece in _cut(moved, self.cells)]
        return tuple(found)

    @property
    def repeats(self) -> int:
        """How many columns make up the lattice."""
        return round(PERIOD / self.pattern.width)

    def plates(self) -> tuple[FloatArray, ...]:
        """Return the solid plates of one pattern around and all along, in the chart, each shape (k, 2).

        Plates that reach over the ends of the cells are whole; the footprint cuts them.
        """
        moves = self.cells.low + self.pattern.height * np.arange(-2, self.along + 2)
        found = [plate + np.array([0.0, move]) for move in moves for plate in self.pattern.plates]
        return tuple(
            plate
            for plate in found
            if plate[:, 1].max() > self.cells.low and plate[:, 1].min() < self.cells.high
        )

    def half_columns(self, angle: float) -> int:
        """Return how many halves of a column a sector of this angle holds, between planes of symmetry.

        Args:
            angle: Opening angle of the sector, degrees.

        Raises:
            InputError: If the lattice is not symmetric about planes through the axis, or not about these.
        """
        if not (self.pattern.mirrors and self.chart.of_revolution):
            raise InputError(
                f"mesh.sector: a lattice of {self.pattern.name} cells has no planes of symmetry through the "
                "axis; use the solid model",
                key="mesh.sector",
            )
        half = 180.0 / self.around
        count = round(angle / half)
        if count < 1 or abs(count * half - angle) > 1e-6:
            raise InputError(
                f"mesh.sector = {angle:g} deg: with {self.around} cells around it must be a multiple of "
                f"{half:.6g} deg, half of a cell",
                key="mesh.sector",
                value=angle,
            )
        return count


def lay(
    pattern: Pattern,
    chart: Chart,
    *,
    height: float,
    side: str = "outside",
    around: int | None = None,
    along: int | None = None,
    ring: float = 0.0,
    span: tuple[float, float] | None = None,
    smallest: float = 0.3,
) -> Lattice:
    """Lay a pattern onto a surface so that its cells keep their angles.

    Cells are as many around as given, else as fit at their drawn size around the widest circle; they grow
    or shrink as a whole for it, strut widths stay. Along, as many whole cells as fit between the ends of
    the span, or of the surface, or where the cells have shrunk to ``smallest`` or would close. End rings
    are as wide as given or wider: they take up what whole cells leave of the span. Without rings that
    stays bare.

    Args:
        pattern: The flat pattern, mm.
        chart: The surface.
        height: Height of the struts along the normal, mm.
        side: ``"outside"``, ``"inside"`` or ``"embedded"``: on which side of the surface the struts lie.
        around: Number of cells around.
        along: Number of cells along; they then lie in the middle of the span.
        ring: Least width of the solid end rings, mm; 0 for none.
        span: Least and largest v to which the lattice may reach.
        smallest: Cells may shrink to this fraction of their size at the widest circle.

    Raises:
        InputError: If no cell fits, or a number is outside its range.
    """
    _check(height, side, ring, smallest)
    surface = Along.of(chart, span or (chart.low, chart.high))
    count = _cells_around(pattern, surface.widest, around)
    factor = PERIOD / (count * pattern.width)
    room = surface.room(max(smallest * surface.widest, _least_scale(pattern, factor, surface.widest)))
    inner = surface.within(room, ring)
    rows = _cells_along(pattern, factor, inner, along)
    middle, reach = (inner.low + inner.high) / 2, rows * factor * pattern.height / 2
    cells = Band(middle - reach, middle + reach)
    rings: tuple[Band, ...] = ()
    if ring > 0.0:  # up to the ends of the room, or as wide as given beside a given number of cells
        ends = room if along is None else surface.widened(cells, ring)
        rings = Band(ends.low, cells.low), Band(cells.high, ends.high)
    return Lattice(
        chart=chart,
        pattern=pattern.scaled(factor).tiled(1 if chart.of_revolution else count, 1),
        around=count,
        along=rows,
        cells=cells,
        rings=rings,
        height=height,
        side=side,
        growth=factor * surface.widest,
        smallest=surface.narrowing(cells),
    )


def _check(height: float, side: str, ring: float, smallest: float) -> None:
    within("lattice.height", height, above=0.0, unit="mm")
    within("lattice.ring", ring, least=0.0, unit="mm")
    within("lattice.smallest", smallest, above=0.0, most=1.0)
    if side not in SIDES:
        raise InputError(f"lattice.side = {side!r}: choose one of {', '.join(SIDES)}", side=side)


def _cells_around(pattern: Pattern, radius: float, around: int | None) -> int:
    if around is None:
        return max(1, round(PERIOD * radius / pattern.width))
    whole_number("lattice.around", around, least=1)
    return around


def _cells_along(pattern: Pattern, factor: float, inner: Band, along: int | None) -> int:
    fit = math.floor((inner.high - inner.low) / (factor * pattern.height) + 1e-6)
    if fit < 1:
        raise InputError(
            f"lattice: not one cell fits along the surface: a cell takes {factor * pattern.height:.3g} of "
            f"{inner.high - inner.low:.3g} units of the chart; give more cells around, flatter cells, or "
            "narrower end rings",
            key="lattice",
        )
    if along is None:
        return fit
    whole_number("lattice.along", along, least=1)
    within("lattice.along", along, most=fit, why="as many as fit along the surface")
    return along


def _least_scale(pattern: Pattern, factor: float, widest: float) -> float:
    """The scale below which struts close the cells."""
    room = min(pattern.room, pattern.width, pattern.height)
    least = _OPEN * pattern.widest / (factor * room)
    if least > widest:
        size = factor * widest
        raise InputError(
            f"lattice: struts of {pattern.widest:g} mm close the cells even at the widest circle, where they "
            f"are {size * pattern.width:.3g} by {size * pattern.height:.3g} mm; widths must be below "
            f"{size * room / _OPEN:.3g} mm: give fewer cells around or thinner struts",
            key="lattice",
            width=pattern.widest,
        )
    return least


def _cut(line: FloatArray, band: Band) -> list[FloatArray]:
    """The pieces of a polyline between two values of v; ends on these are put exactly there."""
    pieces, edges = [line[:1]], np.array(band)
    for start, stop in pairwise(line):
        with np.errstate(divide="ignore", invalid="ignore"):
            shares = (edges - start[1]) / (stop[1] - start[1])
        inner = np.sort(shares[(shares > 0.0) & (shares < 1.0)])
        pieces += [start + inner[:, None] * (stop - start), stop[None]]
    dense = np.concatenate(pieces)
    for edge in band:
        on = np.abs(dense[:, 1] - edge) < _ROUNDING * (band.high - band.low)
        dense[on, 1] = edge
    middle = (dense[1:, 1] + dense[:-1, 1]) / 2
    inside = (middle > band.low) & (middle < band.high)
    bounds = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]])))
    kept = [dense[first : last + 1] for first, last in bounds.reshape(-1, 2)]
    return [piece for piece in kept if np.ptp(piece, axis=0).max() > 0.0]
