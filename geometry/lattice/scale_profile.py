# SPDX-License-Identifier: MIT
"""The scale of a chart along v: where cells are large enough, and distances along the surface."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.lattice.chart import PERIOD, Chart

_ROUNDING = 1e-9
_SAMPLES = 2001  # along v


class Interval(NamedTuple):
    """An interval of v, all around the surface."""

    low: float
    high: float


@dataclass(frozen=True)
class ScaleProfile:
    """The scale of a surface along v; the mean around if the surface is not one of revolution.

    Attributes:
        v: Ascending values of v, shape (k,).
        scale: Length of one unit of the chart there, shape (k,), mm.
    """

    v: FloatArray
    scale: FloatArray

    @classmethod
    def of_chart(cls, chart: Chart, span: tuple[float, float]) -> "ScaleProfile":
        """Sample a chart between two values of v."""
        u, v = np.linspace(0.0, PERIOD, 33)[:-1], np.linspace(*span, _SAMPLES)
        grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        return cls(v, np.asarray(chart.scale(grid).reshape(len(u), -1).mean(axis=0)))

    @property
    def largest(self) -> float:
        """Largest scale, which is the radius of the widest circle, mm."""
        return float(self.scale.max())

    @cached_property
    def length(self) -> FloatArray:
        """Distance along the surface from its low end, shape (k,), mm."""
        steps = np.diff(self.v) * (self.scale[1:] + self.scale[:-1]) / 2
        return np.concatenate([[0.0], np.cumsum(steps)])

    def wide_enough(self, least: float) -> Interval:
        """Return the interval around the widest circle in which the scale is at least ``least``."""
        narrow = np.flatnonzero(self.scale < least * (1 - _ROUNDING))
        widest = int(np.argmax(self.scale))
        low = narrow[narrow < widest].max() + 1 if (narrow < widest).any() else 0
        high = narrow[narrow > widest].min() - 1 if (narrow > widest).any() else len(self.v) - 1
        return Interval(float(self.v[low]), float(self.v[high]))

    def without_rings(self, interval: Interval, ring: float) -> Interval:
        """Return an interval shortened at both ends by a ring of a given width in mm.

        Raises:
            InputError: If nothing is left.
        """
        start, stop = np.interp(interval, self.v, self.length)
        why = "half of the length of the lattice"
        within("ring", ring, below=(stop - start) / 2, unit="mm", why=why)
        return self.extended(interval, -ring)

    def extended(self, interval: Interval, by: float) -> Interval:
        """Return an interval extended at both ends by a length in mm."""
        start, stop = np.interp(interval, self.v, self.length)
        low, high = np.interp([start - by, stop + by], self.length, self.v)
        return Interval(float(low), float(high))

    def scale_ratio(self, interval: Interval) -> float:
        """Return the ratio of the smallest to the largest scale in an interval."""
        used = np.interp(np.linspace(*interval, _SAMPLES), self.v, self.scale)
        return float(used.min() / used.max())
