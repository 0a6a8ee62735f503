# SPDX-License-Identifier: MIT
"""Hatching of slack walls in the meridian plane: lines that run as the folds do."""

from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.fields.slack_pieces import SlackPieces
from annelid.results.figures import svg_style as style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_ASIDE = (-1.0, -0.6, 0.6, 1.0)  # of half the width: lines along the wall
_WORDS = (
    "around the axis lies in folds, which run along the wall as the lines do",
    "along the axis lies in folds, which run around the axis (strokes across the wall)",
)


def hatch(axes: "Axes", slack: SlackPieces, factor: float, width: float) -> str:
    """Hatch a band on both sides of the wall where it is slack.

    Args:
        axes: Where the wall is drawn.
        slack: Where it is slack, mm.
        factor: From mm to the unit of the axes.
        width: Of the band, in the unit of the axes.

    Returns:
        A sentence for the caption; "" if nothing is slack.
    """
    from matplotlib.collections import LineCollection

    lines = (_along(factor * slack.around, width), _across(factor * slack.along, width))
    for drawn in lines:
        axes.add_collection(
            LineCollection(list(drawn), colors=style.WARNING, linewidths=0.8, capstyle="butt"), autolim=False
        )
    words = [word for word, drawn in zip(_WORDS, lines, strict=True) if len(drawn)]
    return f" Where the wall is hatched it is slack: its length {' and '.join(words)}." if words else ""


def _along(pieces: FloatArray, width: float) -> FloatArray:
    """Lines on both sides of pieces of the wall, shape (k, 2, 2)."""
    aside = _normal(pieces)[:, None] * width / 2
    return np.concatenate([pieces + share * aside for share in _ASIDE])


def _across(pieces: FloatArray, width: float) -> FloatArray:
    """Strokes across pieces of the wall, not closer than a quarter of their length, shape (k, 2, 2)."""
    middle, aside = pieces.mean(axis=1), _normal(pieces) * width / 2
    spacing = np.hypot(*np.diff(pieces, axis=1)[:, 0].T)
    place = np.cumsum(spacing) - spacing / 2
    chosen = np.diff(np.floor(4 * place / width), prepend=-1.0) > 0
    return np.stack([middle - aside, middle + aside], axis=1)[chosen]


def _normal(pieces: FloatArray) -> FloatArray:
    """Unit normals of pieces of the wall, shape (k, 2)."""
    along = np.diff(pieces, axis=1)[:, 0]
    length = np.maximum(np.hypot(*along.T), np.finfo(float).tiny)[:, None]
    return np.stack([-along[:, 1], along[:, 0]], axis=1) / length
