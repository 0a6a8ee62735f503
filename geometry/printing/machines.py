# SPDX-License-Identifier: MIT
"""Machines that print on a rotating part: conversion of positions and normals to axis positions, and back.

The axis Z of the part lies along X of the machine, about which the rotary axis A turns. Z of the machine
points upwards and Y completes a right-handed frame. At A = a the half plane of azimuth a (in degrees, the
angle theta of the part) points upwards, so that it can be printed from above.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from annelid.geometry.body import FloatArray

LINEAR_AXES = ("X", "Y", "Z")
"""Names of linear axes; all others are rotary axes."""


class Machine(Protocol):
    """A machine with named axes; linear axes are in mm, rotary axes in degrees."""

    @property
    def axes(self) -> tuple[str, ...]:
        """Names of the axes."""
        ...

    def to_axes(self, tip: FloatArray, direction: FloatArray, azimuth: FloatArray) -> FloatArray:
        """Return axis positions, shape (k, axes).

        Args:
            tip: Positions of the tip of the nozzle in the frame of the part, shape (k, 3), mm.
            direction: Unit vectors from the surface to the nozzle, shape (k, 3).
            azimuth: Azimuths with their whole turns, to which A is chosen nearest, shape (k,), rad.
        """
        ...

    def tip(self, axes: FloatArray) -> FloatArray:
        """Return the tip in the frame of the part at axis positions (k, axes), shape (k, 3), mm."""
        ...

    def nozzle(self, tip: FloatArray, direction: FloatArray) -> FloatArray:
        """Return unit vectors from the tip along the nozzle in the frame of the part, shape (k, 3)."""
        ...


@dataclass(frozen=True)
class Rotary:
    """Axes X, Z and A: the nozzle is above the axis of the part and points towards it."""

    axes: tuple[str, ...] = ("X", "Z", "A")

    def to_axes(self, tip: FloatArray, direction: FloatArray, azimuth: FloatArray) -> FloatArray:
        """Return X, Z and A, shape (k, 3); the direction is not used."""
        angle = _nearest_turn(np.arctan2(tip[:, 1], tip[:, 0]), azimuth)
        return np.column_stack([tip[:, 2], np.hypot(tip[:, 0], tip[:, 1]), np.degrees(angle)])

    def tip(self, axes: FloatArray) -> FloatArray:
        """Return the tip in the frame of the part, shape (k, 3), mm."""
        x, z, a = axes[:, 0], axes[:, 1], np.radians(axes[:, 2])
        return np.column_stack([z * np.cos(a), z * np.sin(a), x])

    def nozzle(self, tip: FloatArray, direction: FloatArray) -> FloatArray:
        """Return unit vectors away from the axis, shape (k, 3); on the axis those of the directions."""
        level = np.where(np.hypot(tip[:, 0], tip[:, 1])[:, None] > 1e-9, tip, direction) * [1.0, 1.0, 0.0]
        return np.asarray(level / np.linalg.norm(level, axis=1)[:, None])


@dataclass(frozen=True)
class FiveAxis:
    """Axes X, Y, Z, A and B: B tilts the nozzle in the X-Z plane of the machine, positive from Z to X.

    X, Y and Z are coordinates of the tip of the nozzle, so the controller must have tool centre point control
    or the distance from the tip to the tilting axis must be 0.
    """

    axes: tuple[str, ...] = ("X", "Y", "Z", "A", "B")

    def to_axes(self, tip: FloatArray, direction: FloatArray, azimuth: FloatArray) -> FloatArray:
        """Return X, Y, Z, A and B, shape (k, 5)."""
        level = np.hypot(direction[:, 0], direction[:, 1])
        angle = _nearest_turn(np.arctan2(direction[:, 1], direction[:, 0]), azimuth)
        cosine, sine = np.cos(angle), np.sin(angle)
        height = tip[:, 0] * cosine + tip[:, 1] * sine
        sideways = tip[:, 0] * sine - tip[:, 1] * cosine
        tilt = np.degrees(np.arctan2(direction[:, 2], level))
        return np.column_stack([tip[:, 2], sideways, height, np.degrees(angle), tilt])

    def tip(self, axes: FloatArray) -> FloatArray:
        """Return the tip in the frame of the part, shape (k, 3), mm."""
        x, y, z, a, _ = axes.T
        cosine, sine = np.cos(np.radians(a)), np.sin(np.radians(a))
        return np.column_stack([z * cosine + y * sine, z * sine - y * cosine, x])

    def nozzle(self, tip: FloatArray, direction: FloatArray) -> FloatArray:
        """Return the directions, into which the nozzle is tilted."""
        return direction


MACHINES: dict[str, Machine] = {"rotary": Rotary(), "five-axis": FiveAxis()}


def _nearest_turn(angle: FloatArray, azimuth: FloatArray) -> FloatArray:
    """The angle plus the whole turns with which it is nearest to the azimuth."""
    return np.asarray(azimuth + (angle - azimuth + np.pi) % (2 * np.pi) - np.pi)
