# SPDX-License-Identifier: MIT
"""Maps over height and time, on which waves are stripes whose slope is their speed."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.solver.display import DisplayUnit, DisplayUnits
from annelid.solver.records import FlowAlong

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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
    largest = max(100 * float(np.abs(change).max()), 1e-9)
    colours = {"cmap": "PuOr", "vmin": -largest, "vmax": largest}
    with style.new_figure(*_SIZE) as (figure, axes):
        _draw(axes, time * seconds.factor, height * length.factor, 100 * change.T, **colours)
        for low, high in bands.values():
            for edge in (low, high):
                axes.axhline(edge * length.factor, color=style.MUTED, linewidth=0.6, linestyle=":")
        axes.set_title("change of the lumen radius [%]")
        axes.set_xlabel(seconds.label("time"))
        axes.set_ylabel(length.label("height as drawn"))
        caption = (
            "Lumen radius over height and time, relative to the part as drawn. A wave is a stripe, and its "
            "slope is the speed. Dotted lines are edges of electrodes."
        )
        return SvgFigure(style.svg_text(figure, name, caption), caption)


def pressure_map(
    time: FloatArray, flows: Sequence[FlowAlong], *, units: DisplayUnits, name: str
) -> SvgFigure:
    """Draw the pressure of a fluid along the lumen over height and time.

    Args:
        time: Ascending, shape (n,), s.
        flows: Flow along the lumen at each time.
        units: Units of display.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure.
    """
    pressure = np.array([flow.pressure for flow in flows]).T
    height = np.mean([flow.height for flow in flows], axis=0)
    shown = units.unit("pressure", float(np.abs(pressure).max()))
    length, seconds = units.unit("length", float(height.max())), units.unit("time", float(time.max()))
    with style.new_figure(*_SIZE) as (figure, axes):
        _draw(axes, time * seconds.factor, height * length.factor, pressure * shown.factor, cmap="cividis")
        axes.set_title(shown.label("pressure in the lumen"))
        axes.set_xlabel(seconds.label("time"))
        axes.set_ylabel(length.label("height above the lower end"))
        caption = (
            "Pressure of the fluid over height and time. A wave is a stripe: the pressure is high where the "
            "wall closes on the fluid and low where it opens."
        )
        return SvgFigure(style.svg_text(figure, name, caption), caption)


def _draw(axes: "Axes", x: FloatArray, y: FloatArray, values: FloatArray, **colours: Any) -> None:
    image = axes.pcolormesh(x, y, values, shading="gouraud", rasterized=True, **colours)
    axes.grid(visible=False)
    axes.figure.colorbar(image, ax=axes, pad=0.02)
