# SPDX-License-Identifier: MIT
"""Meridians of domes: spherical, parabolic and funnel, from the rim at Z = 0 up to a pole or a hole.

Along all of them the radius falls steadily, so that a radius names one place.
"""

import math

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import InvalidValue
from annelid.geometry.shapes.meridian import Frame, Meridian

PROFILES = ("spherical", "funnel", "parabolic")


def dome_meridian(
    profile: str, rim_radius: float, rise: float, *, hole_radius: float = 0.0, tip_radius: float = 0.0
) -> Meridian:
    """Return the meridian of a dome, from (rim_radius, 0) to (hole_radius, rise).

    Args:
        profile: ``"spherical"``: the circle about a centre on the axis; ``"parabolic"``: Z falls with R^2;
            ``"funnel"``: a straight cone.
        rim_radius: Radius of the rim, mm.
        rise: Height of the pole, or of the edge of the hole, above the rim, mm.
        hole_radius: Radius of the hole, mm; 0 closes the dome at a pole.
        tip_radius: Radius of the sphere that rounds the tip of a funnel without a hole, mm.

    Raises:
        InvalidValue: If a length is outside its range, or lengths and profile do not go together.
    """
    within("rim_radius", rim_radius, above=0.0, unit="mm")
    within("hole_radius", hole_radius, least=0.0, below=rim_radius, unit="mm", why="rim_radius")
    within("rise", rise, above=0.0, unit="mm")
    one_of("profile", profile, PROFILES)
    _check_tip(profile, hole_radius, tip_radius)
    if profile == "spherical":
        return _spherical(rim_radius, rise, hole_radius)
    if profile == "parabolic":
        return _parabolic(rim_radius, rise, hole_radius)
    return _funnel(rim_radius, rise, hole_radius) if hole_radius else _rounded(rim_radius, rise, tip_radius)


def arc_at_radius(meridian: Meridian, radius: float, key: str, *, offset: float = 0.0) -> float:
    """Return the arc length (of the meridian itself) at which its offset has the radius ``radius``.

    Args:
        meridian: A dome's.
        radius: Radius, mm.
        key: What to blame if the radius lies outside.
        offset: Distance from the meridian along its normal, mm.

    Raises:
        InvalidValue: If the offset curve has no such radius.
    """
    low, high = 0.0, meridian.length

    def radii(arc: FloatArray) -> FloatArray:
        frame = meridian.at(arc)
        return np.asarray(frame.position[:, 0] + offset * frame.normal[:, 0])

    most, least = radii(np.array([low, high]))
    slack = 1e-9 * high
    within(
        key,
        radius,
        least=float(least) - slack,
        most=float(most) + slack,
        unit="mm",
        why="where the wall is",
    )
    for end, arc in ((most, low), (least, high)):
        if abs(radius - end) <= slack:
            return arc
    while high - low > 1e-13 * meridian.length:
        finer = np.linspace(low, high, 65)
        step = min(max(int(np.argmax(radii(finer) <= radius)), 1), len(finer) - 1)
        low, high = float(finer[step - 1]), float(finer[step])
    return (low + high) / 2


def offset_frame(meridian: Meridian, arc: float, offset: float) -> Frame:
    """Return the frame, each entry with one row, of the curve at ``offset`` outside the meridian, mm."""
    frame = meridian.at(np.array([arc]))
    return Frame(
        frame.position + offset * frame.normal,
        frame.tangent,
        frame.normal,
        frame.curvature / (1 + offset * frame.curvature),
    )


def _check_tip(profile: str, hole_radius: float, tip_radius: float) -> None:
    within("tip_radius", tip_radius, least=0.0, unit="mm")
    if tip_radius and (profile != "funnel" or hole_radius):
        text = "only a funnel without a hole has a tip to round: leave it out"
        raise InvalidValue(text, key="tip_radius")
    if profile == "funnel" and not hole_radius and not tip_radius:
        raise InvalidValue(
            "a funnel that ends in a point cannot be meshed: give it a hole, or round its tip by tip_radius",
            key="hole_radius",
        )


def _spherical(rim: float, rise: float, hole: float) -> Meridian:
    within(
        "rise",
        rise,
        most=math.sqrt(rim**2 - hole**2),
        unit="mm",
        why="where a spherical dome stands upright at its rim",
    )
    below = ((rim - hole) * (rim + hole) - rise**2) / (2 * rise)  # depth of the centre below the rim
    radius = math.hypot(rim, below)
    first_angle, last_angle = math.atan2(rim, below), math.atan2(hole, below + rise)

    def curve(q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        # Height as a product of sines: a shallow dome's centre is far away, and differences would cancel.
        drop = 2 * radius * np.sin((last_angle - q) / 2) * np.sin((-q - last_angle) / 2)
        sine, cosine = np.sin(-q), np.cos(q)
        position = np.column_stack([radius * sine, rise - drop])
        return position, radius * np.column_stack([-cosine, sine]), -radius * np.column_stack([sine, cosine])

    return Meridian(f"spherical dome, rim {rim:g} mm, rise {rise:g} mm", curve, (-first_angle, -last_angle))


def _parabolic(rim: float, rise: float, hole: float) -> Meridian:
    steepness = rise / ((rim - hole) * (rim + hole))

    def curve(q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        one, zero = np.ones_like(q), np.zeros_like(q)
        position = np.column_stack([-q, steepness * (rim + q) * (rim - q)])
        return (
            position,
            np.column_stack([-one, -2 * steepness * q]),
            np.column_stack([zero, -2 * steepness * one]),
        )

    return Meridian(f"parabolic dome, rim {rim:g} mm, rise {rise:g} mm", curve, (-rim, -hole))


def _funnel(rim: float, rise: float, hole: float) -> Meridian:
    slant = math.hypot(rim - hole, rise)
    direction = np.array([hole - rim, rise]) / slant

    def curve(q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        along = np.ones_like(q)[:, None] * direction
        return np.array([rim, 0.0]) + q[:, None] * direction, along, np.zeros_like(along)

    return Meridian(f"funnel, rim {rim:g} mm, rise {rise:g} mm", curve, (0.0, slant))


def _rounded(rim: float, rise: float, tip: float) -> Meridian:
    """A cone that goes over smoothly into a sphere of radius ``tip``, its pole at ``rise``.

    The slope b of the cone follows from rim sin b + (tip - rise) cos b = tip (own derivation).
    """
    most = rim if rise > rim else (rim**2 + rise**2) / (2 * rise)
    within("tip_radius", tip, below=most, unit="mm", why="where no straight part of the funnel is left")
    slope = math.asin(tip / math.hypot(rim, tip - rise)) - math.atan2(tip - rise, rim)
    straight = (rim - tip * math.sin(slope)) / math.cos(slope)
    last = straight + tip * slope

    def curve(q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        cone = q < straight
        angle = np.where(cone, slope, (last - q) / tip)
        sine, cosine = np.sin(angle), np.cos(angle)
        height = np.where(cone, q * sine, rise - 2 * tip * np.sin(angle / 2) ** 2)
        position = np.column_stack([np.where(cone, rim - q * cosine, tip * sine), height])
        bend = np.where(cone, 0.0, -1 / tip)
        return position, np.column_stack([-cosine, sine]), bend[:, None] * np.column_stack([sine, cosine])

    name = f"funnel, rim {rim:g} mm, rise {rise:g} mm, tip rounded by {tip:g} mm"
    return Meridian(name, curve, (0.0, straight, last), (straight,))
