# SPDX-License-Identifier: MIT
"""Charts: conformal coordinates u (around) and v (along) of a surface, in which cells keep their angles.

On a surface of revolution u is the angle theta and v is the integral of ds/R along the meridian (isothermal
coordinates; Mercator's map on a sphere). One unit of either is R mm long, so the map only scales small
figures. Theory: do Carmo, Differential Geometry of Curves and Surfaces, section 4-2 (from memory).
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, Protocol

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import InputError
from annelid.geometry.hermite import hermite
from annelid.geometry.meshing.revolve import cylindrical_to_cartesian
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.shape import Shape

SIDES = ("outside", "inside", "embedded")
PERIOD = 2 * math.pi
"""Period of every chart in u, rad."""

_SMALLEST = 1e-3  # of the largest radius; v is infinite at a pole
_PANELS = 4000
_SAMPLES = 1001


class SurfacePoints(NamedTuple):
    """Points on a surface, or at a distance from it, with the normals of the surface.

    Attributes:
        position: X, Y and Z, shape (k, 3), mm.
        normal: Unit normals of the surface, pointing away from the lumen, shape (k, 3).
    """

    position: FloatArray
    normal: FloatArray


class Chart(Protocol):
    """A surface in conformal coordinates: u around, with period 2 pi, and v along, from low to high.

    Seen from outside with the axis upright, u increases to the right and v increases upwards.
    """

    @property
    def of_revolution(self) -> bool:
        """Whether this is a surface of revolution."""
        ...

    @property
    def low(self) -> float:
        """Least v."""
        ...

    @property
    def high(self) -> float:
        """Largest v."""
        ...

    def place(self, points: FloatArray, offset: FloatArray | float = 0.0) -> SurfacePoints:
        """Return the points at (u, v), shape (k, 2), at a distance along the normal in mm."""
        ...

    def hoop(self, points: FloatArray) -> FloatArray:
        """Return the unit tangents around the axis at points (u, v), in the direction of u, shape (k, 3)."""
        ...

    def scale(self, points: FloatArray) -> FloatArray:
        """Return the length of one unit of u or v at points (u, v), shape (k,), mm."""
        ...


@dataclass(frozen=True)
class RevolutionChart:
    """Chart of a surface of revolution, given by a meridian and a distance from it.

    v is 0 at the widest circle and infinite at a closed pole (``-inf`` at the low one). The chart ends where
    the radius is a thousandth of the largest radius; points nearer to the pole still have values of v.

    Attributes:
        meridian: The meridian.
        offset: Distance of the surface from the meridian along its normal, mm.

    Raises:
        InputError: If the surface at this distance folds.
    """

    meridian: Meridian
    offset: float = 0.0

    def __post_init__(self) -> None:
        (low, high), arc = self.meridian.poles, np.linspace(0.0, self.meridian.length, _SAMPLES)
        radius, speed = self._radius_and_speed(arc[int(low) : len(arc) - int(high)])
        if radius.min() <= 0.0 or speed.min() <= 0.0:
            raise InputError(
                f"the surface {self.offset:g} mm from the meridian ({self.meridian.name}) folds or reaches "
                "the axis; make the wall thinner or the bend smoother",
                offset=self.offset,
            )

    @cached_property
    def _arcs(self) -> FloatArray:
        """Arc lengths of the meridian at the ends of panels, evenly spaced in v, without the poles."""
        length = self.meridian.length
        graded = length * np.geomspace(0.1 * _SMALLEST, 0.1, _PANELS // 4)
        even = np.linspace(graded[-1], length - graded[-1], _PANELS)
        arc = np.concatenate([[0.0], graded[:-1], even, length - graded[-2::-1], [length]])
        radius, _ = self._radius_and_speed(arc)
        used = np.flatnonzero(radius >= _SMALLEST * radius.max())
        arc = arc[used[0] : used[-1] + 1]
        v = self._integral(arc)
        spaced = np.interp(np.linspace(v[0], v[-1], _PANELS + 1), v, arc)
        spaced[[0, -1]] = arc[[0, -1]]
        return spaced

    def _integral(self, arc: FloatArray) -> FloatArray:
        """Integral of ds/R over the surface from the first of some arc lengths of the meridian to each."""
        nodes, weights = np.polynomial.legendre.leggauss(6)
        half = np.diff(arc) / 2
        points = (arc[:-1] + half)[:, None] + half[:, None] * nodes
        radius, speed = self._radius_and_speed(points.ravel())
        return np.concatenate([[0.0], np.cumsum(half * ((speed / radius).reshape(points.shape) @ weights))])

    def _radius_and_speed(self, arc: FloatArray) -> tuple[FloatArray, FloatArray]:
        frame = self.meridian.at(arc)
        return frame.position[:, 0] + self.offset * frame.normal[:, 0], 1.0 + self.offset * frame.curvature

    @cached_property
    def _table(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """v, arc length of the meridian and its derivative by v, at the ends of the panels."""
        arc = self._arcs
        v = self._integral(arc)
        radius, speed = self._radius_and_speed(arc)
        widest = np.flatnonzero(radius >= radius.max() * (1 - 1e-12))
        return v - v[widest[len(widest) // 2]], arc, radius / speed

    @property
    def of_revolution(self) -> bool:
        """Whether this is a surface of revolution."""
        return True

    @property
    def low(self) -> float:
        """Least v."""
        return float(self._table[0][0])

    @property
    def high(self) -> float:
        """Largest v."""
        return float(self._table[0][-1])

    def arc_at(self, v: FloatArray) -> FloatArray:
        """Return the arc lengths of the meridian at v, mm; beyond the chart the pole is taken as flat."""
        given, (known, arcs, slope) = np.asarray(v, dtype=np.float64), self._table
        inside = hermite(known, arcs, slope, np.clip(given, known[0], known[-1]))
        below, above = np.minimum(given - known[0], 0.0), np.minimum(known[-1] - given, 0.0)
        from_high = (self.meridian.length - inside) * np.exp(above)
        return np.where(above < 0.0, self.meridian.length - from_high, inside * np.exp(below))

    def v_at_arc(self, arc: FloatArray) -> FloatArray:
        """Return v at arc lengths of the meridian, mm."""
        given, (v, arcs, slope) = np.asarray(arc, dtype=np.float64), self._table
        inside = hermite(arcs, v, 1.0 / slope, np.clip(given, arcs[0], arcs[-1]))
        for pole, sign, distance, whole in (
            (self.meridian.poles[0], 1.0, given, arcs[0]),
            (self.meridian.poles[1], -1.0, self.meridian.length - given, self.meridian.length - arcs[-1]),
        ):
            if pole:
                with np.errstate(divide="ignore"):
                    inside = inside + sign * np.log(np.clip(distance / whole, 0.0, 1.0))
        return np.asarray(inside)

    def place(self, points: FloatArray, offset: FloatArray | float = 0.0) -> SurfacePoints:
        """Return the points at (u, v), shape (k, 2), at a distance along the normal in mm."""
        frame = self.meridian.at(self.arc_at(points[:, 1]))
        flat = frame.position + (self.offset + np.asarray(offset))[..., None] * frame.normal
        return SurfacePoints(
            cylindrical_to_cartesian(flat, points[:, 0]), cylindrical_to_cartesian(frame.normal, points[:, 0])
        )

    def hoop(self, points: FloatArray) -> FloatArray:
        """Return the unit tangents around the axis at points (u, v), shape (k, 3)."""
        return np.column_stack([-np.sin(points[:, 0]), np.cos(points[:, 0]), np.zeros(len(points))])

    def scale(self, points: FloatArray) -> FloatArray:
        """Return the length of one unit of u or v at points (u, v), mm: the radius of the surface."""
        return self._radius_and_speed(self.arc_at(points[:, 1]))[0]


def chart_of(shape: Shape, side: str = "outside", *, depth: float = 0.5) -> RevolutionChart:
    """Return the chart of the surface of a shape on which a lattice lies.

    Args:
        shape: Tube, sleeve, balloon or dome.
        side: ``"outside"`` or ``"inside"`` of the wall, or ``"embedded"`` in it.
        depth: Position of the middle of an embedded lattice: 0 is the inner face, 1 the outer face.

    Raises:
        InputError: If the side is unknown or the depth is out of range.
    """
    one_of("side", side, SIDES)
    within("depth", depth, above=0.0, below=1.0)
    wall = shape.thickness
    return RevolutionChart(shape.meridian, {"outside": wall, "inside": 0.0, "embedded": depth * wall}[side])
