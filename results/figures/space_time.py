# SPDX-License-Identifier: MIT
"""Map of the lumen radius over height and time, on which waves are stripes whose slope is their speed."""

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.solver.display import DisplayUnit

_SIZE = (6.4, 3.4)


def space_time_map(
    time: FloatArray,
    height: FloatArray,
    change: FloatArray,
    *,
    bands: dict[str, tuple[float, float]],
    length: DisplayUnit,
    seconds: DisplayUnit,
    name: str,
) -> SvgFigure:
    """Draw the change of the lumen radius over drawn height and time.

    Args:
        time: Ascending, shape (n,), s.
        height: Drawn heights of the stations, ascending, shape (k,), mm.
        change: (r/R - 1) of each station at each time, shape (n, k).
        bands: Lowest and highest position of each electrode along the axis, mm.
        length: Unit of heights.
        seconds: Unit of times.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure.
    """
    percent = 100 * change.T
    largest = max(float(np.abs(percent).max()), 1e-9)
    with style.new_figure(*_SIZE) as (figure, axes):
        image = axes.pcolormesh(
            time * seconds.factor,
            height * length.factor,
            percent,
            cmap="PuOr",
            vmin=-largest,
            vmax=largest,
            shading="gouraud",
            rasterized=True,
        )
        for low, high in bands.values():
            for edge in (low, high):
                axes.axhline(edge * length.factor, color=style.MUTED, linewidth=0.6, linestyle=":")
        axes.grid(visible=False)
        axes.set_title("change of the lumen radius [%]")
        axes.set_xlabel(seconds.label("time"))
        axes.set_ylabel(length.label("height as drawn"))
        figure.colorbar(image, ax=axes, pad=0.02)
        caption = (
            "Lumen radius over height and time, relative to the part as drawn. A wave is a stripe, and its "
            "slope is the speed. Dotted lines are edges of electrodes."
        )
        return SvgFigure(style.svg_text(figure, name, caption), caption)
