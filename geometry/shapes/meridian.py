# SPDX-License-Identifier: MIT
"""Meridians: the curve (R, Z) that a balloon's inner face follows, measured by its arc length."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InvalidValue
from annelid.geometry.hermite import hermite

# Curve over a parameter q: position, first and second derivative, each (k, 2).
Curve = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]

_PANELS = 400  # at least, shared by the smooth pieces; the inverse of the arc length is then good to 1e-9
_SAMPLES = 600  # points at which self-crossing, folding and radii are looked at
_STRAIGHT = 1e-9  # radians within which three points lie on a line
_POLE_ANGLE = 1e-6  # radians by which a pole may miss the right angle


class Frame(NamedTuple):
    """The meridian at some arc lengths.

    Attributes:
        position: R and Z, shape (k, 2), mm.
        tangent: Unit tangent towards the high end, shape (k, 2).
        normal: Unit normal away from the lumen, shape (k, 2).
        curvature: Curvature of the meridian, positive where it bulges outwards as on a sphere, 1/mm.
    """

    position: FloatArray
    tangent: FloatArray
    normal: FloatArray
    curvature: FloatArray


@dataclass(frozen=True)
class Meridian:
    """A plane curve from its low to its high end, with the lumen on its left.

    An end on the axis is a closed pole, which the curve meets at right angles; any other end is an open
    ring.

    Attributes:
        name: Kind and figures in words, for messages.
        curve: Position and derivatives over the curve's own parameter.
        knots: Parameter values: both ends, and between them where the curve changes its formula.
        corners: The knots at which a mesh must have cell edges, so that no cell spans a bend.

    Raises:
        InvalidValue: The curve leaves R >= 0, crosses itself, or meets the axis at a slant.
    """

    name: str
    curve: Curve
    knots: tuple[float, ...]
    corners: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        self._check_radii()
        self._check_crossing()

    @cached_property
    def _table(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Parameter, arc length and slope dq/ds at the panel ends (pieces joined)."""
        nodes, weights = np.polynomial.legendre.leggauss(6)
        per_piece = max(20, _PANELS // (len(self.knots) - 1))
        q = np.concatenate(
            [
                np.linspace(low, high, per_piece, endpoint=False)
                for low, high in zip(self.knots[:-1], self.knots[1:], strict=True)
            ]
            + [np.array([self.knots[-1]])]
        )
        half = np.diff(q) / 2
        inside = (q[:-1] + half)[:, None] + half[:, None] * nodes
        speed = np.linalg.norm(self.curve(inside.ravel())[1], axis=1).reshape(inside.shape)
        length = np.concatenate([[0.0], np.cumsum(half * (speed @ weights))])
        return q, length, 1.0 / np.linalg.norm(self.curve(q)[1], axis=1)

    @property
    def length(self) -> float:
        """Arc length, mm."""
        return float(self._table[1][-1])

    def arcs(self, parameters: tuple[float, ...]) -> FloatArray:
        """Return the arc lengths at the given knots, mm."""
        q, length, _ = self._table
        return np.interp(parameters, q, length)

    @cached_property
    def poles(self) -> tuple[bool, bool]:
        """Whether the low and the high end are closed poles."""
        ends = self.curve(np.array([self.knots[0], self.knots[-1]]))[0][:, 0]
        low, high = np.abs(ends) < 1e-9 * self.length
        return bool(low), bool(high)

    def parameter(self, arc: FloatArray) -> FloatArray:
        """Return the curve's own parameter at arc lengths ``arc``, mm."""
        q, length, slope = self._table
        return np.clip(hermite(length, q, slope, arc), self.knots[0], self.knots[-1])

    def at(self, arc: FloatArray) -> Frame:
        """Return position, tangent, normal and curvature at arc lengths ``arc``, shape (k,), mm."""
        q, length, slope = self._table
        parameter = np.clip(hermite(length, q, slope, arc), self.knots[0], self.knots[-1])
        position, first, second = self.curve(parameter)
        speed = np.linalg.norm(first, axis=1)
        tangent = first / speed[:, None]
        normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
        curvature = (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / speed**3
        on_axis = (np.array(arc) <= 0.0) & self.poles[0] | (np.array(arc) >= length[-1]) & self.poles[1]
        position = np.where(on_axis[:, None], position * [0.0, 1.0], position)
        return Frame(position, tangent, normal, curvature)

    def arc_at_height(self, height: float, key: str) -> float:
        """Return the arc length at which the meridian passes the height Z.

        Raises:
            InvalidValue: It never passes there, or more than once.
        """
        arc = np.linspace(0.0, self.length, _SAMPLES)
        z = self.at(arc).position[:, 1]
        near = np.isclose(z[[0, -1]], height, rtol=0.0, atol=1e-9 * self.length)
        if near.any():
            return float(arc[[0, -1]][near][0])
        crossings = np.flatnonzero(np.diff(np.sign(z - height)) != 0)
        if len(crossings) == 0:
            raise InvalidValue(
                f"{height:g} mm is off the meridian, which runs from {z.min():g} to {z.max():g} mm",
                key=key,
                value=height,
            )
        if np.any(np.diff(z) < -1e-9 * self.length):
            raise InvalidValue(
                f"{height:g} mm is at more than one place of the meridian, which doubles back: bands and "
                "lines need a meridian that rises steadily",
                key=key,
                value=height,
            )
        bracket = arc[crossings[0] : crossings[0] + 2]
        while bracket[1] - bracket[0] > 1e-13 * self.length:
            finer = np.linspace(bracket[0], bracket[1], 65)
            above = self.at(finer).position[:, 1] >= height
            step = min(max(int(np.argmax(above)), 1), len(finer) - 1)
            bracket = finer[step - 1 : step + 1]
        return float(bracket.mean())

    def check_wall(self, thickness: float) -> None:
        """Raise InvalidValue if a wall of this thickness, offset outwards, would fold or cross the axis."""
        frame = self.at(np.linspace(0.0, self.length, _SAMPLES))
        inward = -frame.curvature
        worst = int(np.argmax(inward))
        if thickness * inward[worst] >= 0.95:
            raise InvalidValue(
                f"the wall of {thickness:g} mm is thicker than the meridian allows at Z = "
                f"{frame.position[worst, 1]:.4g} mm, where its smallest radius of inward curvature is "
                f"{1 / inward[worst]:.4g} mm and the wall would fold; keep it below "
                f"{0.95 / inward[worst]:.4g} mm or soften the bend",
                key="layers",
                thickness=thickness,
            )
        off_axis = slice(int(self.poles[0]), _SAMPLES - int(self.poles[1]))
        position, normal = frame.position[off_axis], frame.normal[off_axis]
        radius = position[:, 0] + thickness * normal[:, 0]
        if radius.min() <= 0.0:
            raise InvalidValue(
                f"the wall of {thickness:g} mm reaches the axis at Z = "
                f"{position[int(np.argmin(radius)), 1]:.4g} mm; make it thinner",
                key="layers",
                thickness=thickness,
            )

    def turning(self, low: float, high: float) -> float:
        """Return the angle by which the meridian turns between two arc lengths, back and forth added, rad."""
        arc = np.linspace(low, high, _SAMPLES)
        return float(np.trapezoid(np.abs(self.at(arc).curvature), arc))

    def _check_radii(self) -> None:
        frame = self.at(np.linspace(0.0, self.length, _SAMPLES))
        radius = frame.position[:, 0]
        inner = radius[1:-1]
        if inner.min() <= 0.0 or radius.min() < -1e-9 * self.length:
            worst = 1 + int(np.argmin(inner))
            raise InvalidValue(
                f"{self.name}: radius {radius[worst]:.4g} mm at "
                f"Z = {frame.position[worst, 1]:.4g} mm; radii must be above 0 except at closed ends",
                key="meridian",
                radius=float(radius[worst]),
            )
        for pole, end, word in ((self.poles[0], 0, "low"), (self.poles[1], -1, "high")):
            if pole and abs(frame.tangent[end, 1]) > _POLE_ANGLE:
                raise InvalidValue(
                    f"{self.name}: its {word} end must meet the axis at a right angle", key="meridian"
                )

    def _check_crossing(self) -> None:
        points = self.at(np.linspace(0.0, self.length, _SAMPLES)).position
        steps = np.diff(points, axis=0)
        if ((steps > 0.0).all(axis=0) | (steps < 0.0).all(axis=0)).any():
            return  # a curve that only rises, or only widens, cannot cross itself
        a, b = points[:-1, None], points[1:, None]
        c, d = points[None, :-1], points[None, 1:]
        apart = (_turn(a, b, c) * _turn(a, b, d) < 0) & (_turn(c, d, a) * _turn(c, d, b) < 0)
        row, column = np.nonzero(apart)
        if np.any(np.abs(row - column) > 1):
            where = points[row[np.abs(row - column) > 1][0]]
            raise InvalidValue(
                f"{self.name}: it crosses itself near R = {where[0]:.4g} mm, "
                f"Z = {where[1]:.4g} mm; give points that run along the wall once",
                key="meridian",
                place=tuple(where),
            )


def _turn(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Sign of the area of the triangle a, b, c; 0 where rounding would decide it, as on straight lines."""
    u, v = b - a, c - a
    area = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    size = np.linalg.norm(u, axis=-1) * np.linalg.norm(v, axis=-1)
    return np.where(np.abs(area) > _STRAIGHT * size, np.sign(area), 0.0)
