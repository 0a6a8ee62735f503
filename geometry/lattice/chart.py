# SPDX-License-Identifier: MIT
"""Charts: conformal coordinates u (around) and v (along) of a surface, in which cells keep their angles.

On a surface of revolution u is the angle theta and v = integral of ds/R along the meridian (isothermal
coordinates; Mercator's map on a sphere): one unit of either is R mm long, so small figures only grow and
shrink. Theory: do Carmo, Differential Geometry of Curves and Surfaces, section 4-2 (from memory).
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, Protocol

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InputError
from annelid.geometry.hermite import hermite
from annelid.geometry.meshing.revolve import turned
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.shape import Shape

SIDES = ("outside", "inside", "embedded")
PERIOD = 2 * math.pi
"""Length of every chart around, rad."""

_SMALLEST = 1e-3  # of the largest radius: nearer to a pole v runs off to infinity
_PANELS = 4000
_LOOKS = 1001


class Spot(NamedTuple):
    """Places over a surface.

    Attributes:
        position: X, Y and Z, shape (k, 3), mm.
        normal: Unit normals of the surface away from the lumen, shape (k, 3).
    """

    position: FloatArray
    normal: FloatArray


class Chart(Protocol):
    """A surface in conformal coordinates: u around, with period 2 pi, and v along from low to high.

    Looked at from outside with the axis upright, u grows to the right and v upwards.
    """

    @property
    def of_revolution(self) -> bool:
        """Whether the surface is the same all around."""
        ...

    @property
    def low(self) -> float:
        """Least v."""
        ...

    @property
    def high(self) -> float:
        """Largest v."""
        ...

    def place(self, points: FloatArray, offset: FloatArray | float = 0.0) -> Spot:
        """Return the places over points (u, v), shape (k, 2), at a height along the normal, mm."""
        ...

    def around(self, points: FloatArray) -> FloatArray:
        """Return the unit tangents across the axis at points (u, v), the way u grows, shape (k, 3)."""
        ...

    def scale(self, points: FloatArray) -> FloatArray:
        """Return how many mm of the surface one unit of u or v is at points (u, v), shape (k,)."""
        ...


@dataclass(frozen=True)
class Revolution:
    """Chart of a surface of revolution: a meridian, or a surface parallel to it. v is 0 where it is widest.

    Towards a closed pole v runs off to infinity. The chart ends where the surface is a thousandth as wide as
    at its widest; places beyond have their v all the same, the pole itself that of ``inf``.

    Attributes:
        meridian: The meridian.
        offset: Distance of the surface from it along its normal, mm.

    Raises:
        InputError: If the parallel surface folds.
    """

    meridian: Meridian
    offset: float = 0.0

    def __post_init__(self) -> None:
        (low, high), arc = self.meridian.poles, np.linspace(0.0, self.meridian.length, _LOOKS)
        radius, speed = self._radius_and_speed(arc[int(low) : len(arc) - int(high)])
        if radius.min() <= 0.0 or speed.min() <= 0.0:
            raise InputError(
                f"surface {self.offset:g} mm off the meridian ({self.meridian.name}): it folds or reaches "
                "the axis; make the wall thinner or soften the bend",
                offset=self.offset,
            )

    @cached_property
    def _arcs(self) -> FloatArray:
        """Arc lengths of the meridian at panel ends, evenly spaced in v, without what is near to a pole."""
        length = self.meridian.length
        towards = length * np.geomspace(0.1 * _SMALLEST, 0.1, _PANELS // 4)
        even = np.linspace(towards[-1], length - towards[-1], _PANELS)
        arc = np.concatenate([[0.0], towards[:-1], even, length - towards[-2::-1], [length]])
        radius, _ = self._radius_and_speed(arc)
        used = np.flatnonzero(radius >= _SMALLEST * radius.max())
        arc = arc[used[0] : used[-1] + 1]
        v = self._integral(arc)
        spaced = np.interp(np.linspace(v[0], v[-1], _PANELS + 1), v, arc)
        spaced[[0, -1]] = arc[[0, -1]]
        return spaced

    def _integral(self, arc: FloatArray) -> FloatArray:
        """Integral of ds/R of the surface up to arc lengths of the meridian, from the first on."""
        nodes, weights = np.polynomial.legendre.leggauss(6)
        half = np.diff(arc) / 2
        inside = (arc[:-1] + half)[:, None] + half[:, None] * nodes
        radius, speed = self._radius_and_speed(inside.ravel())
        return np.concatenate([[0.0], np.cumsum(half * ((speed / radius).reshape(inside.shape) @ weights))])

    def _radius_and_speed(self, arc: FloatArray) -> tuple[FloatArray, FloatArray]:
        frame = self.meridian.at(arc)
        return frame.position[:, 0] + self.offset * frame.normal[:, 0], 1.0 + self.offset * frame.curvature

    @cached_property
    def _table(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """v, arc length of the meridian, and its slope over v, at the panel ends."""
        arc = self._arcs
        v = self._integral(arc)
        radius, speed = self._radius_and_speed(arc)
        widest = np.flatnonzero(radius >= radius.max() * (1 - 1e-12))
        return v - v[widest[len(widest) // 2]], arc, radius / speed

    @property
    def of_revolution(self) -> bool:
        """Whether the surface is the same all around."""
        return True

    @property
    def low(self) -> float:
        """Least v."""
        return float(self._table[0][0])

    @property
    def high(self) -> float:
        """Largest v."""
        return float(self._table[0][-1])

    def arc(self, v: FloatArray) -> FloatArray:
        """Return the arc lengths of the meridian at v, mm; beyond the chart towards a pole, as on a plane."""
        given, (known, arcs, slope) = np.asarray(v, dtype=np.float64), self._table
        inside = hermite(known, arcs, slope, np.clip(given, known[0], known[-1]))
        below, above = np.minimum(given - known[0], 0.0), np.minimum(known[-1] - given, 0.0)
        from_high = (self.meridian.length - inside) * np.exp(above)
        return np.where(above < 0.0, self.meridian.length - from_high, inside * np.exp(below))

    def at_arc(self, arc: FloatArray) -> FloatArray:
        """Return v at arc lengths of the meridian, mm."""
        given, (v, arcs, slope) = np.asarray(arc, dtype=np.float64), self._table
        inside = hermite(arcs, v, 1.0 / slope, np.clip(given, arcs[0], arcs[-1]))
        for pole, sign, left, whole in (
            (self.meridian.poles[0], 1.0, given, arcs[0]),
            (self.meridian.poles[1], -1.0, self.meridian.length - given, self.meridian.length - arcs[-1]),
        ):
            if pole:
                with np.errstate(divide="ignore"):
                    inside = inside + sign * np.log(np.clip(left / whole, 0.0, 1.0))
        return np.asarray(inside)

    def place(self, points: FloatArray, offset: FloatArray | float = 0.0) -> Spot:
        """Return the places over points (u, v), shape (k, 2), at a height along the normal, mm."""
        frame = self.meridian.at(self.arc(points[:, 1]))
        flat = frame.position + (self.offset + np.asarray(offset))[..., None] * frame.normal
        return Spot(turned(flat, points[:, 0]), turned(frame.normal, points[:, 0]))

    def around(self, points: FloatArray) -> FloatArray:
        """Return the unit tangents around the axis at points (u, v), shape (k, 3)."""
        return np.column_stack([-np.sin(points[:, 0]), np.cos(points[:, 0]), np.zeros(len(points))])

    def scale(self, points: FloatArray) -> FloatArray:
        """Return the radius of the surface at points (u, v), mm: one unit of u or v is as long."""
        return self._radius_and_speed(self.arc(points[:, 1]))[0]


def chart_of(shape: Shape, side: str = "outside", *, depth: float = 0.5) -> Revolution:
    """Return the chart of a shape's surface on which a lattice lies.

    Args:
        shape: Tube, sleeve, balloon or dome.
        side: ``"outside"`` or ``"inside"`` the wall, or ``"embedded"`` in it.
        depth: Where an embedded lattice has its middle: from 0, the inner face, to 1, the outer face.

    Raises:
        InputError: If the side is unknown or the depth out of range.
    """
    if side not in SIDES:
        raise InputError(f"side = {side!r}: choose one of {', '.join(SIDES)}", side=side)
    within("depth", depth, above=0.0, below=1.0)
    wall = shape.thickness
    return Revolution(shape.meridian, {"outside": wall, "inside": 0.0, "embedded": depth * wall}[side])
