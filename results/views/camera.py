# SPDX-License-Identifier: MIT
"""Camera positions: a slender tube is shown horizontally, other parts are shown upright."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray

_SLENDER = 1.5
_ELEVATION = np.radians(24.0)
_WIDTH = 1400
# Pixels reserved for the labels above and for the colour bar below.
_ABOVE, _BELOW = 80, 190
_HEIGHTS = (220, 420)  # pixels, of a picture of one part without texts


@dataclass(frozen=True)
class Layout:
    """Positions of the drawn part, the deformed part and the camera.

    Attributes:
        towards_camera: Unit vector from the part to the camera.
        up: Unit vector that points up in the picture.
        right: Unit vector that points right in the picture.
        shift: Translation of the drawn part to a position beside the deformed one, shape (3,), mm.
        focal_point: Point in the middle of the picture, mm.
        parallel_scale: Half the height of the picture, mm.
        window: Width and height of the picture in pixels.
    """

    towards_camera: FloatArray
    up: FloatArray
    right: FloatArray
    shift: FloatArray
    focal_point: FloatArray
    parallel_scale: float
    window: tuple[int, int]


def choose_layout(drawn: FloatArray, deformed: FloatArray, *, opening: float, headline: int = 0) -> Layout:
    """Choose the positions of both parts and of the camera.

    Args:
        drawn: Points of the part before loading, shape (n, 3), the axis along Z.
        deformed: The same points in the current state, shape (n, 3).
        opening: Angle of the middle of the opening, which faces the camera.
        headline: Height of a headline above the labels, pixels.

    Returns:
        The layout: the drawn part is above a slender deformed part and to the left of any other.
    """
    towards, up, right, slender = _axes(np.concatenate([drawn, deformed]), opening)
    beside, sign = (up, 1.0) if slender else (right, -1.0)
    shift = beside * sign * _distance(drawn @ beside * sign, deformed @ beside * sign)
    axes = (towards, up, right)
    return _fitted(np.concatenate([drawn + shift, deformed]), axes, shift, _ABOVE + headline)


def layout_of_one(points: FloatArray, *, opening: float, width: int) -> Layout:
    """Choose the camera for a part alone in a picture without texts.

    Args:
        points: Points of the part in all states that are shown, shape (n, 3).
        opening: Angle of the middle of the opening, which faces the camera.
        width: Width of the picture, pixels; its height depends on the part.
    """
    towards, up, right, _ = _axes(points, opening)
    across, along = points @ right, points @ up
    height = int(np.clip(width * np.ptp(along) / np.ptp(across), *_HEIGHTS))
    size = 1.06 * max(np.ptp(across) / width, np.ptp(along) / height)
    middle = [0.5 * (values.max() + values.min()) for values in (across, along)]
    return Layout(
        towards_camera=towards,
        up=up,
        right=right,
        shift=np.zeros(3),
        focal_point=middle[0] * right + middle[1] * up + points.mean(axis=0) @ towards * towards,
        parallel_scale=0.5 * height * size,
        window=(width, height),
    )


def set_camera(plotter: Any, layout: Layout, points: FloatArray) -> None:
    """Set the camera of a plotter; points are those of the part."""
    reach = 4.0 * float(np.ptp(points, axis=0).max())
    plotter.enable_parallel_projection()
    plotter.camera.focal_point = layout.focal_point
    plotter.camera.position = layout.focal_point + reach * layout.towards_camera
    plotter.camera.up = layout.up
    plotter.camera.parallel_scale = layout.parallel_scale
    plotter.reset_camera_clipping_range()
    plotter.enable_anti_aliasing("msaa", multi_samples=4)


def _axes(points: FloatArray, opening: float) -> tuple[FloatArray, FloatArray, FloatArray, bool]:
    """Directions towards the camera, up and right, and whether the part is slender."""
    radial = np.array([np.cos(opening), np.sin(opening), 0.0])
    axis = np.array([0.0, 0.0, 1.0])
    slender = bool(np.ptp(points[:, 2]) > _SLENDER * 2.0 * np.hypot(points[:, 0], points[:, 1]).max())
    if slender:
        # Turned slightly towards the high end, so that its rim is visible.
        sideways = np.array([np.sin(opening), -np.cos(opening), 0.0])
        towards = _unit(np.cos(_ELEVATION) * radial + 0.35 * sideways + 0.30 * axis)
        up_hint = sideways
    else:
        towards = _unit(np.cos(_ELEVATION) * radial + np.sin(_ELEVATION) * axis)
        up_hint = axis
    right = _unit(np.cross(up_hint, towards))
    return towards, np.cross(towards, right), right, slender


def _distance(drawn: FloatArray, deformed: FloatArray) -> float:
    """Distance by which the drawn part is moved to leave a gap to the deformed one."""
    gap = 0.16 * max(np.ptp(drawn), np.ptp(deformed))
    return float(deformed.max() - drawn.min() + gap)


def _fitted(
    points: FloatArray, axes: tuple[FloatArray, FloatArray, FloatArray], shift: FloatArray, above: int
) -> Layout:
    towards, up, right = axes
    across, along = points @ right, points @ up
    width, height = np.ptp(across), np.ptp(along)
    room = 0.92 * _WIDTH
    content = float(np.clip(room * height / width, 300.0, 900.0))
    window = (_WIDTH, int(content) + above + _BELOW)
    size = max(width / room, height / content)
    middle = 0.5 * (across.max() + across.min()), 0.5 * (along.max() + along.min())
    lowered = middle[1] - 0.5 * (_BELOW - above) * size
    depth = points.mean(axis=0) @ towards
    return Layout(
        towards_camera=towards,
        up=up,
        right=right,
        shift=shift,
        focal_point=middle[0] * right + lowered * up + depth * towards,
        parallel_scale=0.5 * window[1] * size,
        window=window,
    )


def _unit(vector: FloatArray) -> FloatArray:
    return vector / np.linalg.norm(vector)
