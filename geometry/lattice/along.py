# SPDX-License-Identifier: MIT
"""A surface looked at along v: where cells are large enough, and how far true lengths reach."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.lattice.chart import PERIOD, Chart

_ROUNDING = 1e-9
_STEPS = 2001  # at which the surface is looked at


class Band(NamedTuple):
    """A piece of the surface between two values of v, all around."""

    low: float
    high: float


@dataclass(frozen=True)
class Along:
    """The scale of a surface along v; on a surface that is not one of revolution its mean around.

    Attributes:
        v: Ascending values of v, shape (k,).
        scale: How many mm one unit of the chart is there, shape (k,).
    """

    v: FloatArray
    scale: FloatArray

    @classmethod
    def of(cls, chart: Chart, span: tuple[float, float]) -> "Along":
        """Look at a surface between two values of v."""
        u, v = np.linspace(0.0, PERIOD, 33)[:-1], np.linspace(*span, _STEPS)
        grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        return cls(v, np.asarray(chart.scale(grid).reshape(len(u), -1).mean(axis=0)))

    @property
    def widest(self) -> float:
        """Radius of the widest circle, mm."""
        return float(self.scale.max())

    @cached_property
    def length(self) -> FloatArray:
        """Length along the surface from its low end, mm, shape (k,)."""
        steps = np.diff(self.v) * (self.scale[1:] + self.scale[:-1]) / 2
        return np.concatenate([[0.0], np.cumsum(steps)])

    def room(self, least: float) -> Band:
        """Return the piece around the widest circle in which the scale is not below the least."""
        bad = np.flatnonzero(self.scale < least * (1 - _ROUNDING))
        widest = int(np.argmax(self.scale))
        low = bad[bad < widest].max() + 1 if (bad < widest).any() else 0
        high = bad[bad > widest].min() - 1 if (bad > widest).any() else len(self.v) - 1
        return Band(float(self.v[low]), float(self.v[high]))

    def within(self, room: Band, ring: float) -> Band:
        """Return what rings of a width in mm leave of the room.

        Raises:
            InputError: If they leave nothing.
        """
        start, stop = np.interp(room, self.v, self.length)
        why = "half of the length of the lattice"
        within("lattice.ring", ring, below=(stop - start) / 2, unit="mm", why=why)
        return self.widened(room, -ring)

    def widened(self, band: Band, by: float) -> Band:
        """Return a band that reaches farther by a length in mm at both ends."""
        start, stop = np.interp(band, self.v, self.length)
        low, high = np.interp([start - by, stop + by], self.length, self.v)
        return Band(float(low), float(high))

    def narrowing(self, band: Band) -> float:
        """Return the smallest over the largest scale in a band."""
        used = np.interp(np.linspace(*band, _STEPS), self.v, self.scale)
        return float(used.min() / used.max())
