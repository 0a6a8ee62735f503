# SPDX-License-Identifier: MIT
"""Colours of deviations: blue inside, brown outside, light at zero."""

from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import FloatArray

if TYPE_CHECKING:
    from matplotlib.colors import Colormap

_STEPS = 129  # of each half
_DARK, _LIGHT, _CHROMA = 38.0, 94.0, 40.0  # lightness L* at the ends and in the middle; chroma at the ends
_INSIDE, _OUTSIDE, _SIZE = 275.0, 55.0, 330.0  # hue angles, degrees; of what has no sign
_WHITE = np.array([0.95047, 1.0, 1.08883])  # D65
_XYZ_TO_RGB = np.array(
    [
        [3.2404542, -1.5371385, -0.4985314],
        [-0.9692660, 1.8760108, 0.0415560],
        [0.0556434, -0.2040259, 1.0572252],
    ]
)
NO_VALUE = "#9aa5ab"
"""Colour of a surface without a deviation: darker than zero, and no colour of the map."""


def diverging_colours() -> "Colormap":
    """Return a colour map whose equal steps look equal: straight lines in CIELAB, both halves of one length.

    CIELAB is that of ISO/CIE 11664-4 and sRGB that of IEC 61966-2-1, both from memory.
    """
    from matplotlib.colors import ListedColormap

    share = np.linspace(1.0, 0.0, _STEPS)[:, None]
    halves = [_srgb(_line(hue, share)) for hue in (_INSIDE, _OUTSIDE)]
    return ListedColormap(np.concatenate([halves[0], halves[1][-2::-1]])).with_extremes(bad=NO_VALUE)


def sequential_colours() -> "Colormap":
    """Return a colour map from light to dark with equal steps in CIELAB, for values that have no sign."""
    from matplotlib.colors import ListedColormap

    share = np.linspace(0.0, 1.0, _STEPS)[:, None]
    return ListedColormap(_srgb(_line(_SIZE, share))).with_extremes(bad=NO_VALUE)


def colour_limit(values: FloatArray) -> float:
    """Return the deviation at the ends of the colours, mm: the 99th percentile of the sizes, rounded up."""
    size = np.abs(values[np.isfinite(values)])
    largest = float(np.percentile(size, 99.0)) if size.size else 1.0
    if not largest > 0.0:
        return 1.0
    ten = 10.0 ** np.floor(np.log10(largest))
    return float(
        next(step for step in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if step * ten >= largest) * ten
    )


def _line(hue: float, share: FloatArray) -> FloatArray:
    direction = np.array([np.cos(np.radians(hue)), np.sin(np.radians(hue))])
    return np.hstack([_LIGHT + share * (_DARK - _LIGHT), share * _CHROMA * direction])


def _srgb(lab: FloatArray) -> FloatArray:
    """SRGB colours, shape (n, 3), of CIELAB colours, shape (n, 3)."""
    fy = (lab[:, 0] + 16.0) / 116.0
    f = np.column_stack([fy + lab[:, 1] / 500.0, fy, fy - lab[:, 2] / 200.0])
    xyz = _WHITE * np.where(f > 6.0 / 29.0, f**3, 3.0 * (6.0 / 29.0) ** 2 * (f - 4.0 / 29.0))
    linear = np.clip(xyz @ _XYZ_TO_RGB.T, 0.0, 1.0)
    return np.asarray(np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055))
