# SPDX-License-Identifier: MIT
"""Wrap a flat pattern around a surface, with whole cells around and along it and solid rings at the ends."""

import math
from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, whole_number, within
from annelid.geometry.errors import InvalidValue, checking
from annelid.geometry.lattice.chart import PERIOD, SIDES, Chart
from annelid.geometry.lattice.clipping import clipped
from annelid.geometry.lattice.pattern import Pattern, Strut
from annelid.geometry.lattice.scale_profile import Interval, ScaleProfile

_MIN_OPENING = 1.1  # least ratio of the closing width of a cell to the width of its struts


@dataclass(frozen=True)
class Lattice:
    """A lattice on a surface, in the conformal chart of the surface; strut widths are true lengths in mm.

    Attributes:
        chart: The surface on which the lattice lies.
        pattern: The flat pattern in units of the chart. Its width is 2 pi / around; on a surface that is not
            one of revolution it is 2 pi and the pattern contains all cells around.
        around: Number of cells around.
        along: Number of cells along.
        cells: Interval of v with cells.
        rings: Solid end rings, none or two, joined to the cells.
        height: Height of struts and rings along the normal of the surface, mm.
        side: ``"outside"``, ``"inside"`` or ``"embedded"``.
        scale_factor: Ratio of the size of cells at the widest circle to the size of the flat cell.
        smallest: Ratio of the size of the smallest cells to that of the largest cells.
    """

    chart: Chart
    pattern: Pattern
    around: int
    along: int
    cells: Interval
    rings: tuple[Interval, ...]
    height: float
    side: str
    scale_factor: float
    smallest: float

    @property
    def extent(self) -> Interval:
        """Interval of v of the whole lattice with its rings."""
        bands = (self.cells, *self.rings)
        return Interval(min(band.low for band in bands), max(band.high for band in bands))

    @property
    def heights(self) -> tuple[float, float]:
        """Least and largest distance of the struts from the surface along its normal, mm."""
        low = {"outside": 0.0, "inside": -self.height, "embedded": -self.height / 2}[self.side]
        return low, low + self.height

    def column_struts(self) -> tuple[Strut, ...]:
        """Return the struts of one column of patterns in the chart, cut off at the ends of the cells.

        Copies shifted by whole multiples of the width of the pattern make up the lattice.
        """
        struts = []
        for row in range(-2, self.along + 2):
            for strut in self.pattern.struts:
                moved = strut.points + np.array([0.0, self.cells.low + row * self.pattern.height])
                struts += [replace(strut, points=piece) for piece in clipped(moved, self.cells)]
        return tuple(struts)

    @property
    def columns(self) -> int:
        """Number of columns that make up the lattice."""
        return round(PERIOD / self.pattern.width)

    def column_plates(self) -> tuple[FloatArray, ...]:
        """Return the solid plates of one column of patterns in the chart, each of shape (k, 2).

        Plates that extend beyond the ends of the cells are whole; the footprint cuts them off.
        """
        moves = self.cells.low + self.pattern.height * np.arange(-2, self.along + 2)
        plates = [plate + np.array([0.0, move]) for move in moves for plate in self.pattern.plates]
        return tuple(
            plate
            for plate in plates
            if plate[:, 1].max() > self.cells.low and plate[:, 1].min() < self.cells.high
        )

    def half_columns(self, angle: float) -> int:
        """Return the number of half columns in a sector between planes of symmetry.

        Args:
            angle: Angle of the sector, degrees.

        Raises:
            InputError: If the lattice has no planes of symmetry through the axis, or none at this angle.
        """
        if not self.chart.of_revolution:
            raise InvalidValue(
                "the surface is not one of revolution: mesh the whole part (model = 'solid')",
                key="model",
                subject="mesh",
            )
        if not self.pattern.symmetric:
            raise InvalidValue(
                f"a lattice of {self.pattern.name} cells has no planes of symmetry through the axis: mesh "
                "the whole part (model = 'solid')",
                key="model",
                subject="mesh",
            )
        half, radians = self.pattern.width / 2, math.radians(angle)
        count = round(radians / half)
        if count < 1 or abs(radians - count * half) > 1e-6:
            raise InvalidValue(
                f"with {self.around} cells around it must be a multiple of {math.degrees(half):.6g} deg "
                f"(half a cell), got {angle:g} deg",
                key="sector",
                subject="mesh",
                value=angle,
            )
        return count


def wrap(
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
    """Wrap a pattern around a surface so that its cells keep their angles.

    Unless the number of cells around is given, it is the number that fits around the widest circle at the
    size of the flat cell; cells are scaled to fit, with unchanged strut widths. Along the surface there are
    as many whole cells as fit in the span or the surface without shrinking below ``smallest`` or closing. End
    rings fill the rest of the span and are at least as wide as given; without rings it stays bare.

    Args:
        pattern: The flat pattern, mm.
        chart: The surface.
        height: Height of the struts along the normal, mm.
        side: Side of the surface on which the struts lie: ``"outside"``, ``"inside"`` or ``"embedded"``.
        around: Number of cells around.
        along: Number of cells along; the cells are then in the middle of the span.
        ring: Least width of the solid end rings, mm; 0 for no rings.
        span: Least and largest v of the lattice.
        smallest: Least ratio of the size of a cell to its size at the widest circle.

    Raises:
        InputError: If no cell fits or a number is outside its range.
    """
    check_placement(height=height, side=side, around=around, along=along, ring=ring, smallest=smallest)
    profile = ScaleProfile.of_chart(chart, span or (chart.low, chart.high))
    count = _cells_around(pattern, profile.largest, around)
    factor = PERIOD / (count * pattern.width)
    usable = profile.wide_enough(
        max(smallest * profile.largest, _least_scale(pattern, factor, profile.largest))
    )
    inner = profile.without_rings(usable, ring)
    rows = _cells_along(pattern, factor, inner, along)
    middle, half_length = (inner.low + inner.high) / 2, rows * factor * pattern.height / 2
    cells = Interval(middle - half_length, middle + half_length)
    rings: tuple[Interval, ...] = ()
    if ring > 0.0:  # up to the ends of the usable interval, or as wide as given if ``along`` is given
        ends = usable if along is None else profile.extended(cells, ring)
        rings = Interval(ends.low, cells.low), Interval(cells.high, ends.high)
    return Lattice(
        chart=chart,
        pattern=pattern.scaled(factor).tiled(1 if chart.of_revolution else count, 1),
        around=count,
        along=rows,
        cells=cells,
        rings=rings,
        height=height,
        side=side,
        scale_factor=factor * profile.largest,
        smallest=profile.scale_ratio(cells),
    )


def check_placement(
    *,
    height: float,
    side: str,
    around: int | None,
    along: int | None,
    ring: float,
    smallest: float,
    depth: float = 0.5,
) -> None:
    """Raise InvalidValue unless numbers that place a lattice on a wall are in their ranges; see ``wrap``."""
    with checking("lattice"):
        within("height", height, above=0.0, unit="mm")
        within("ring", ring, least=0.0, unit="mm")
        within("smallest", smallest, above=0.0, most=1.0)
        within("depth", depth, above=0.0, below=1.0)
        one_of("side", side, SIDES)
        for key, count in (("around", around), ("along", along)):
            if count is not None:
                whole_number(key, count, least=1)


def _cells_around(pattern: Pattern, radius: float, around: int | None) -> int:
    return max(1, round(PERIOD * radius / pattern.width)) if around is None else around


def _cells_along(pattern: Pattern, factor: float, inner: Interval, along: int | None) -> int:
    fit = math.floor((inner.high - inner.low) / (factor * pattern.height) + 1e-6)
    if fit < 1:
        raise InvalidValue(
            f"no cell fits along the surface: a cell takes {factor * pattern.height:.3g} units of "
            f"the chart and {inner.high - inner.low:.3g} units are available; use more cells around, flatter "
            "cells or narrower end rings",
            subject="lattice",
        )
    if along is None:
        return fit
    with checking("lattice"):
        within("along", along, most=fit, why="the number of cells that fit along the surface")
    return along


def _least_scale(pattern: Pattern, factor: float, widest: float) -> float:
    """The scale below which the struts close the cells."""
    closing_width = min(pattern.closing_width, pattern.width, pattern.height)
    least = _MIN_OPENING * pattern.widest / (factor * closing_width)
    if least > widest:
        size = factor * widest
        raise InvalidValue(
            f"struts of {pattern.widest:g} mm close the cells even at the widest circle, where "
            f"cells are {size * pattern.width:.3g} by {size * pattern.height:.3g} mm; use fewer cells around "
            f"or struts with a width below {size * closing_width / _MIN_OPENING:.3g} mm",
            subject="lattice",
            width=pattern.widest,
        )
    return least
