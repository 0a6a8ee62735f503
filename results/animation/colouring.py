# SPDX-License-Identifier: MIT
"""The colours of an animation: one scale for all frames."""

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from annelid.results.animation.moving_part import MovingPart
from annelid.results.figures import svg_style as style
from annelid.results.show.shown_fields import VOLTAGE
from annelid.results.views.colour_bar import colour_range, colours, cut_text

if TYPE_CHECKING:
    from matplotlib.colors import Colormap, Normalize

NO_VALUE = "#cfd6d9"
_OFF, _HALF, _ON = "#f6ecd8", "#dd9a45", style.WARNING


class Colouring(NamedTuple):
    """Colour map, range of its values and title of its scale."""

    colours: "Colormap"
    norm: "Normalize"
    title: str


def colouring_of(part: MovingPart) -> Colouring:
    """Return the colours of the field of an animation; voltages begin at zero."""
    import matplotlib
    from matplotlib.colors import LinearSegmentedColormap, Normalize

    values = part.values.astype(float)
    if part.field == VOLTAGE:
        table: Colormap = LinearSegmentedColormap.from_list("voltage", [_OFF, _HALF, _ON])
        finite = values[np.isfinite(values)]
        low, high = float(finite.min(initial=0.0)), float(finite.max(initial=0.0))
        high = float(f"{high:.6g}")  # without the rounding of single precision, which would hide its tick
        limits = (low, high if high > low else low + 1.0)
    else:
        table, limits = matplotlib.colormaps[colours(part.field)], colour_range(part.field, values)
    title = part.label + ("" if part.field == VOLTAGE else cut_text(values, limits))
    return Colouring(table.with_extremes(bad=NO_VALUE), Normalize(*limits), title)
