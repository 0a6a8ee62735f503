# SPDX-License-Identifier: MIT
"""Machines that print on a turning part: from places and normals to axis positions, and back.

The part's axis Z lies along the machine's X, which the rotary axis A turns about; the machine's Z points up
from it, Y makes a right-handed frame. At A = a the half plane of azimuth a (degrees, as theta of the part)
stands upright, so that what lies there can be printed from above.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from annelid.geometry.body import FloatArray

LINEAR, TURNING = ("X", "Y", "Z"), ("A", "B")


class Machine(Protocol):
    """A machine with named axes, linear ones in mm and turning ones in degrees."""

    @property
    def axes(self) -> tuple[str, ...]:
        """Names of the axes."""
        ...

    def to_axes(self, tip: FloatArray, direction: FloatArray, azimuth: FloatArray) -> FloatArray:
        """Return axis positions, shape (k, axes).

        Args:
            tip: Where the nozzle's tip shall be in the part's frame, shape (k, 3), mm.
            direction: Unit vectors from the surface to the nozzle, shape (k, 3).
            azimuth: Near which azimuth, rad, counted over whole turns, shape (k,).
        """
        ...

    def tip(self, axes: FloatArray) -> FloatArray:
        """Return the tip's place in the part's frame at axis positions (k, axes), shape (k, 3), mm."""
        ...

    def nozzle(self, tip: FloatArray, direction: FloatArray) -> FloatArray:
        """Return unit vectors from the tip up along the nozzle in the part's frame, shape (k, 3)."""
        ...


@dataclass(frozen=True)
class Rotary:
    """Axes X, Z and A: the nozzle stands over the part's axis and points at it."""

    axes: tuple[str, ...] = ("X", "Z", "A")

    def to_axes(self, tip: FloatArray, direction: FloatArray, azimuth: FloatArray) -> FloatArray:
        """Return X, Z and A, shape (k, 3); the direction is not used."""
        turned = _near(np.arctan2(tip[:, 1], tip[:, 0]), azimuth)
        return np.column_stack([tip[:, 2], np.hypot(tip[:, 0], tip[:, 1]), np.degrees(turned)])

    def tip(self, axes: FloatArray) -> FloatArray:
        """Return the tip's place in the part's frame, shape (k, 3), mm."""
        x, z, a = axes[:, 0], axes[:, 1], np.radians(axes[:, 2])
        return np.column_stack([z * np.cos(a), z * np.sin(a), x])

    def nozzle(self, tip: FloatArray, direction: FloatArray) -> FloatArray:
        """Return unit vectors away from the axis, shape (k, 3); those of the directions on the axis."""
        level = np.where(np.hypot(tip[:, 0], tip[:, 1])[:, None] > 1e-9, tip, direction) * [1.0, 1.0, 0.0]
        return np.asarray(level / np.linalg.norm(level, axis=1)[:, None])


@dataclass(frozen=True)
class FiveAxis:
    """Axes X, Y, Z, A and B: B tilts the nozzle in the machine's X-Z plane, positive from Z towards X.

    X, Y and Z are those of the nozzle's tip, so the control must follow the tip (tool centre point) or the
    distance from the tip to the tilting axis must be 0.
    """

    axes: tuple[str, ...] = ("X", "Y", "Z", "A", "B")

    def to_axes(self, tip: FloatArray, direction: FloatArray, azimuth: FloatArray) -> FloatArray:
        """Return X, Y, Z, A and B, shape (k, 5)."""
        level = np.hypot(direction[:, 0], direction[:, 1])
        turned = _near(np.arctan2(direction[:, 1], direction[:, 0]), azimuth)
        cosine, sine = np.cos(turned), np.sin(turned)
        up = tip[:, 0] * cosine + tip[:, 1] * sine
        aside = tip[:, 0] * sine - tip[:, 1] * cosine
        tilt = np.degrees(np.arctan2(direction[:, 2], level))
        return np.column_stack([tip[:, 2], aside, up, np.degrees(turned), tilt])

    def tip(self, axes: FloatArray) -> FloatArray:
        """Return the tip's place in the part's frame, shape (k, 3), mm."""
        x, y, z, a, _ = axes.T
        cosine, sine = np.cos(np.radians(a)), np.sin(np.radians(a))
        return np.column_stack([z * cosine + y * sine, z * sine - y * cosine, x])

    def nozzle(self, tip: FloatArray, direction: FloatArray) -> FloatArray:
        """Return the directions: the nozzle tilts into them."""
        return direction


MACHINES: dict[str, Machine] = {"rotary": Rotary(), "five-axis": FiveAxis()}


def _near(angle: FloatArray, azimuth: FloatArray) -> FloatArray:
    """The angle plus the whole turns that bring it nearest to the azimuth."""
    return np.asarray(azimuth + (angle - azimuth + np.pi) % (2 * np.pi) - np.pi)
