# SPDX-License-Identifier: MIT
"""The axis of a scan of a tube or balloon, and the frame whose Z axis it is."""

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.poses import Pose
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError

_MOST = 8000  # points from which the axis is found
_SLICES, _SECTORS = 12, 36
_COVERED = 0.6  # share of the sectors that a cross-section needs
_STEPS, _SMALL = 40, 1e-6
_TUKEY = 4.685  # of Tukey's biweight, Beaton, Tukey, Technometrics 16, 1974
_PROBE = np.radians(3.0)
_HELD = 0.25  # share of a wrong tilt that one step of the search must remove


class FoundAxis(NamedTuple):
    """The frame of a scan: Z along its axis, X towards the X axis of the scan.

    Attributes:
        pose: Motion of the scan into this frame.
        bend: Largest distance of the middle of a cross-section from the axis, mm.
        text: How it was found, one sentence.
    """

    pose: Pose
    bend: float
    text: str


def find_axis(points: FloatArray, by: str) -> FoundAxis:
    """Find the axis of points on a surface that goes around it.

    Args:
        points: Shape (n, 3), mm.
        by: ``"sections"``, or ``"ends"`` for the line through the middles of both end rings.

    Raises:
        InputError: No direction has closed cross-sections, or none is distinguished.
    """
    chosen = points[:: max(1, len(points) // _MOST)]
    pose = _coarse(chosen)
    step = _ends_step if by == "ends" else _sections_step
    for _ in range(_STEPS):
        moved = step(pose, chosen)
        change = float(np.abs(moved.rotation - pose.rotation).max())
        pose = moved
        if change < _SMALL:
            break
    if by == "sections" and _correction(pose, chosen) < _HELD:
        raise InputError(
            "the axis of this shape is uncertain, because it is nearly a sphere: take the line through the "
            "middles of its end rings (--axis ends), or the frame of a run (--run)",
            key="--axis",
        )
    middles = _sections(pose, chosen)
    bend = float(np.hypot(middles[:, 1], middles[:, 2]).max()) if len(middles) else 0.0
    what = {
        "sections": "the straight line nearest to the middles of all cross-sections",
        "ends": "the line through the middles of both end rings",
    }[by]
    return FoundAxis(
        _upright(pose, points),
        bend,
        f"Its axis is {what}; their largest distance from it is {bend:.3g} mm. Angle 0 is towards the X "
        "axis of the scan (Y if X is the axis); up is where its coordinate along the axis grows.",
    )


def _coarse(points: FloatArray) -> Pose:
    """The principal direction around which cross-sections are closest to closed outlines."""
    centre = np.median(points, axis=0)
    _, directions = np.linalg.eigh(np.cov((points - centre).T))
    best, worst = None, np.inf
    for number in range(3):
        pose = _along(directions[:, number], centre)
        for _ in range(3):
            found = _sections(pose, points)
            if len(found) < 2:
                break
            pose = _through(pose, found)
        found = _sections(pose, points)
        roughness = float(np.median(found[:, 4] / found[:, 3])) if len(found) >= _SLICES // 2 else np.inf
        if roughness < worst:
            best, worst = pose, roughness
    if best is None:
        raise InputError(
            "no direction has closed cross-sections: the scan must go around the part along most of its "
            "length; join views from several sides, or align it with a run (--run)"
        )
    return best


def _sections(pose: Pose, points: FloatArray, slices: int = _SLICES) -> FloatArray:
    """Height, X and Y of the middle, mean radius and its roughness of each cross-section, shape (k, 5)."""
    x, y, z = pose.apply(points).T
    edges = np.linspace(np.quantile(z, 0.02), np.quantile(z, 0.98), slices + 1)
    found = []
    for low, high in pairwise(edges):
        inside = (z >= low) & (z < high)
        middle = _middle(x[inside], y[inside])
        if middle is not None:
            found.append((float(z[inside].mean()), *middle))
    return np.array(found).reshape(-1, 5)


def _middle(x: FloatArray, y: FloatArray) -> tuple[float, float, float, float] | None:
    """Middle, mean radius and roughness of an outline with ovality; ``None`` if it does not go around."""
    if len(x) < _SECTORS:
        return None
    cx, cy = 0.5 * (x.min() + x.max()), 0.5 * (y.min() + y.max())
    for _ in range(3):  # the search for the axis repeats it
        radius, angle = np.hypot(x - cx, y - cy), np.arctan2(y - cy, x - cx)
        if len(np.unique(_sector(angle))) < _COVERED * _SECTORS:
            return None
        waves = [np.ones(len(x)), *(f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin))]
        coefficients, off = _robust(np.column_stack(waves), radius)
        shift = coefficients[1:3]
        cx, cy = cx + float(shift[0]), cy + float(shift[1])
        if np.abs(shift).max() < 1e-9 * radius.mean():
            break
    return cx, cy, float(coefficients[0]), float(np.median(np.abs(off)))


def _robust(design: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Coefficients and residuals of a fit by Tukey's biweight."""
    weight = np.ones(len(values))
    for _ in range(4):
        weighted = design.T * weight
        coefficients = np.linalg.lstsq(weighted @ design, weighted @ values, rcond=None)[0]
        off = values - design @ coefficients
        scale = max(1.4826 * float(np.median(np.abs(off))), 1e-12)
        weight = np.maximum(1.0 - (off / (_TUKEY * scale)) ** 2, 0.0) ** 2
    return coefficients, off


def _sector(angle: FloatArray) -> IntArray:
    return np.asarray(np.floor((angle / (2 * np.pi) + 0.5) * _SECTORS), dtype=np.int64) % _SECTORS


def _sections_step(pose: Pose, points: FloatArray) -> Pose:
    return _through(pose, _sections(pose, points))


def _ends_step(pose: Pose, points: FloatArray) -> Pose:
    """Move the axis through the middles of the outermost points of all sectors."""
    placed = pose.apply(points)
    z, sector = placed[:, 2], _sector(np.arctan2(placed[:, 1], placed[:, 0]))
    rings = []
    for sign in (1.0, -1.0):
        order = np.lexsort([sign * z, sector])
        first = np.flatnonzero(np.diff(sector[order], prepend=-1))
        ends = placed[order[np.minimum(first + 1, len(order) - 1)]]  # the second one: the first may be alone
        middle = _middle(np.repeat(ends[:, 0], 2), np.repeat(ends[:, 1], 2))
        if middle is None:
            raise InputError("an end ring of the scan is open: take the sections instead (--axis sections)")
        rings.append((float(np.median(ends[:, 2])), *middle))
    return _through(pose, np.array(rings))


def _through(pose: Pose, sections: FloatArray) -> Pose:
    """The frame whose Z axis is the line through middles of cross-sections."""
    if len(sections) < 2:
        raise InputError(
            "the cross-sections of the scan are not closed: it must go around the part along most of its "
            "length"
        )
    z = sections[:, 0]
    (slope_x, slope_y), (x, y) = np.polyfit(z - z.mean(), sections[:, 1:3], 1)
    back = pose.rotation.T
    return _along(
        back @ np.array([slope_x, slope_y, 1.0]), back @ (np.array([x, y, z.mean()]) - pose.translation)
    )


def _along(direction: FloatArray, centre: FloatArray) -> Pose:
    """The frame with Z along a direction through a centre, which becomes the origin."""
    z = direction / np.linalg.norm(direction)
    z = z if z[np.argmax(np.abs(z))] > 0 else -z
    start = np.eye(3)[0] if abs(z[0]) < 0.9 else np.eye(3)[1]
    x = start - (start @ z) * z
    x /= np.linalg.norm(x)
    rotation = np.stack([x, np.cross(z, x), z])
    return Pose(rotation, -rotation @ centre)


def _correction(pose: Pose, points: FloatArray) -> float:
    """Share of a small wrong tilt about the middle that one step of the search removes: 1 for a cylinder.

    A sphere has the middles of its cross-sections on every line through its own middle, and the share is 0.
    """
    middle = np.array([0.0, 0.0, np.median(pose.apply(points)[:, 2])])
    axis, back = pose.rotation[2], pose.rotation.T @ (middle - pose.translation)
    shares = []
    for across in pose.rotation[:2]:
        tilted = _sections_step(_along(axis + np.tan(_PROBE) * across, back), points)
        left = np.arccos(np.clip(abs(tilted.rotation[2] @ axis), -1.0, 1.0))
        shares.append(1.0 - float(left / _PROBE))
    return min(shares)


def _upright(pose: Pose, points: FloatArray) -> Pose:
    """The frame with the origin at the height of the lowest point."""
    lowest = float(pose.apply(points)[:, 2].min())
    return Pose(pose.rotation, pose.translation - np.array([0.0, 0.0, lowest]))
