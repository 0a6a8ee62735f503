# SPDX-License-Identifier: MIT
"""Meridians with a formula: straight, tapered, sphere, ellipsoid, necked balloon."""

import math
from collections.abc import Callable

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InvalidValue
from annelid.geometry.shapes.meridian import Curve, Meridian

TAPERS = ("straight", "smooth")


def straight(radius: float, start: float, length: float) -> Meridian:
    """Return the meridian of a cylinder from Z = start on, lengths in mm."""
    return _shape_of_radius(f"tube of radius {radius:g} mm", lambda x: (radius, 0.0, 0.0), start, length)


def tapered(low: float, high: float, length: float, taper: str) -> Meridian:
    """Return a meridian whose radius runs from ``low`` at Z = 0 to ``high`` at Z = length, mm.

    Args:
        low: Inner radius at the low end.
        high: Inner radius at the high end.
        length: Length.
        taper: ``"straight"`` or ``"smooth"``.
    """
    step = high - low

    def radius(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        if taper == "straight":
            return low + step * x, step / length + 0 * x, 0 * x
        rise, slope, bend = smooth_step(x)
        return low + step * rise, step / length * slope, step / length**2 * bend

    return _shape_of_radius(f"tube from radius {low:g} to {high:g} mm", radius, 0.0, length)


def smooth_step(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The quintic x³ (10 - 15 x + 6 x²) from 0 to 1 with its first and second derivative, x in [0, 1]."""
    return x**3 * (10 - 15 * x + 6 * x**2), 30 * x**2 * (1 - x) ** 2, 60 * x * (1 - x) * (1 - 2 * x)


def _shape_of_radius(
    name: str, radius: Callable[[FloatArray], tuple], start: float, length: float
) -> Meridian:
    """The meridian of a radius with its derivatives by Z, over the relative height."""

    def curve(z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        r, dr, ddr = (np.broadcast_to(part, z.shape) for part in radius(z / length))
        zero = np.zeros_like(z)
        return np.column_stack([r, start + z]), np.column_stack([dr, zero + 1]), np.column_stack([ddr, zero])

    return Meridian(name, curve, (0.0, length))


def sphere(radius: float, *, half: bool = False) -> Meridian:
    """Return the meridian of a sphere, poles at Z = 0 and 2 radius.

    Args:
        radius: Inner radius, mm.
        half: Only the upper half: an open ring at Z = 0, the pole at Z = radius.

    Raises:
        InvalidValue: The radius is not positive.
    """
    within("radius", radius, above=0.0, unit="mm")
    return _ellipse(f"sphere of radius {radius:g} mm", radius, radius, half)


def ellipsoid(radius: float, half_length: float, *, half: bool = False) -> Meridian:
    """Return the meridian of an ellipsoid of revolution, poles at Z = 0 and 2 half_length.

    Args:
        radius: Inner radius at the equator, mm.
        half_length: Half of the inner length along the axis, mm.
        half: Only the upper half: an open ring at Z = 0, the pole at Z = half_length.

    Raises:
        InvalidValue: A length is not positive.
    """
    within("radius", radius, above=0.0, unit="mm")
    within("half_length", half_length, above=0.0, unit="mm")
    return _ellipse(f"ellipsoid of {radius:g} by {half_length:g} mm", radius, half_length, half)


def _ellipse(name: str, a: float, c: float, half: bool) -> Meridian:
    middle = 0.0 if half else c

    def curve(angle: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        sine, cosine = np.sin(angle), np.cos(angle)
        position = np.column_stack([a * cosine, middle + c * sine])
        first = np.column_stack([-a * sine, c * cosine])
        second = np.column_stack([-a * cosine, -c * sine])
        return position, first, second

    return Meridian(name, curve, (0.0 if half else -math.pi / 2, math.pi / 2))


def necked(
    radius: float,
    length: float,
    neck_radius: float,
    neck_length: float,
    *,
    shoulder: float | None = None,
) -> Meridian:
    """Return the meridian of a balloon between two straight necks, from Z = 0 to Z = length.

    Neck, shoulder, body, shoulder, neck: over a shoulder the radius follows the quintic
    x^3 (10 - 15 x + 6 x^2) of the relative height x, so that slope and curvature are continuous.

    Args:
        radius: Inner radius of the body, mm.
        length: Whole length with both necks, mm.
        neck_radius: Inner radius of the end rings, mm.
        neck_length: Length of each neck, mm; may be 0.
        shoulder: Length of each shoulder, mm; by default twice the step in radius, or less where the
            length allows no more.

    Raises:
        InvalidValue: A length is outside its range or the parts are longer than the whole.
    """
    within("neck_radius", neck_radius, above=0.0, unit="mm")
    within("radius", radius, above=neck_radius, unit="mm", why="neck_radius")
    within("neck_length", neck_length, least=0.0, unit="mm")
    within("length", length, above=2 * neck_length, unit="mm", why="both necks")
    room = length / 2 - neck_length
    slope = min(2 * (radius - neck_radius), room) if shoulder is None else shoulder
    within("shoulder", slope, above=0.0, most=room, unit="mm", why="half of what the necks leave")
    if slope < 0.5 * (radius - neck_radius):
        raise InvalidValue(
            f"{slope:g} mm is too short for a step of {radius - neck_radius:g} mm in radius: give at least "
            f"{0.5 * (radius - neck_radius):g} mm",
            key="shoulder",
            value=slope,
        )
    heights = [0.0, neck_length, neck_length + slope]
    knots = sorted({*heights, *(length - h for h in heights)})
    knots = [k for i, k in enumerate(knots) if i == 0 or k - knots[i - 1] > 1e-9 * length]
    curve = _shouldered(radius, length, neck_radius, neck_length, slope)
    return Meridian(f"necked balloon of {radius:g} by {length:g} mm", curve, tuple(knots), tuple(knots[1:-1]))


def _shouldered(radius: float, length: float, neck_radius: float, neck_length: float, slope: float) -> Curve:
    step = radius - neck_radius

    def curve(z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        low_side = z < length / 2
        x = np.clip((np.where(low_side, z, length - z) - neck_length) / slope, 0.0, 1.0)
        sign = np.where(low_side, 1.0, -1.0)
        rise, slope_, bend = smooth_step(x)
        r = neck_radius + step * rise
        dr = sign * step / slope * slope_
        ddr = step / slope**2 * bend
        zero = np.zeros_like(z)
        return np.column_stack([r, z]), np.column_stack([dr, zero + 1]), np.column_stack([ddr, zero])

    return curve
