# SPDX-License-Identifier: MIT
"""The picture of a frame: title and clock, the moving part with its colour scale, and two strips below."""

import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from annelid.results.animation.colouring import Colouring
from annelid.results.animation.moving_part import between
from annelid.results.animation.strips import curve_of, draw_loads, draw_response
from annelid.results.animation.timing import FrameTiming
from annelid.results.figures import svg_style as style
from annelid.results.folder.run_record import RunRecord
from annelid.solver.model.quantities import TIME

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

DPI = 100
WIDTH = 8.6  # inches
_LEFT, _RIGHT, _TOP, _BOTTOM = 0.8, 1.15, 0.85, 0.5  # inches around the axes
_BETWEEN, _STRIP, _GAP = 0.85, 1.1, 0.75  # inches: below the part, height of the strips, between them
_BAR, _BAR_GAP = 0.16, 0.15  # inches: width of the colour scale and its distance
_TITLE = 60  # letters, beside the clock
PANEL_WIDTH = WIDTH - _LEFT - _RIGHT


class Panel(Protocol):
    """What moves in the middle of a frame."""

    size: tuple[float, float]
    note: str

    def prepare(self, axes: "Axes") -> None:
        """Draw what does not move."""

    def move(self, axes: "Axes", time: float) -> "Sequence[Artist]":
        """Replace what moves by its drawing at a time."""


class FramePage:
    """The frames of an animation; what does not move is drawn only once."""

    def __init__(self, run: RunRecord, timing: FrameTiming, panel: Panel, colouring: Colouring) -> None:
        import matplotlib
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self._run, self._timing, self._panel = run, timing, panel
        self._unit = run.table.display_unit(TIME.name, timing.end)
        step = timing.step * self._unit.factor
        self._decimals = max(0, math.ceil(-math.log10(step) - 1e-9))
        width, height = panel.size
        self._height = _TOP + height + _BETWEEN + _STRIP + _BOTTOM
        with matplotlib.rc_context(style.SETTINGS | {"axes.titlesize": 9.0, "figure.facecolor": "#ffffff"}):
            self._figure = Figure(figsize=(WIDTH, self._height), dpi=DPI)
            self._canvas = FigureCanvasAgg(self._figure)
            left = _LEFT + (PANEL_WIDTH - width) / 2
            bottom = _BOTTOM + _STRIP + _BETWEEN
            self._axes = self._add_axes(left, bottom, width, height)
            panel.prepare(self._axes)
            self._add_scale(left + width + _BAR_GAP, bottom, height, colouring)
            self._write_title()
            self._clock = self._text(WIDTH - 0.25, 0.2, "", ha="right", fontsize=12, fontweight="bold")
            self._add_strips()
            for artist in (self._clock, *self._cursors, *self._dots):
                artist.set_animated(True)

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Draw the frames, shape (height, width, 3)."""
        import matplotlib

        with matplotlib.rc_context(style.SETTINGS):
            self._canvas.draw()
            still = self._canvas.copy_from_bbox(self._figure.bbox)
            for time in self._timing.times:
                self._canvas.restore_region(still)
                for artist in self._panel.move(self._axes, float(time)):
                    self._axes.draw_artist(artist)
                self._set_time(float(time))
                yield np.array(self._canvas.buffer_rgba())[..., :3]

    def clock_text(self, time: float) -> str:
        """Return what the clock shows at a time: seconds, and in a cycle its share that has passed."""
        text = self._unit.behind(f"{time * self._unit.factor:.{self._decimals}f}")
        if not self._timing.is_loop:
            return f"t = {text}"
        start, end = self._timing.times[0], self._timing.end
        return f"t = {text}, phase {(time - start) / (end - start):.2f}"

    def _set_time(self, time: float) -> None:
        self._clock.set_text(self.clock_text(time))
        x = time * self._unit.factor
        for line in self._cursors:
            line.set_xdata([x, x])
        for dot, curve in zip(self._dots, self._curves, strict=True):
            dot.set_data([x], [between(curve[:, 0], curve[:, 1], x)])
        for artist in (self._clock, *self._cursors, *self._dots):
            self._figure.draw_artist(artist)

    def _add_axes(self, left: float, bottom: float, width: float, height: float) -> "Axes":
        box = (left / WIDTH, bottom / self._height, width / WIDTH, height / self._height)
        return self._figure.add_axes(box)

    def _add_scale(self, left: float, bottom: float, height: float, colouring: Colouring) -> None:
        from matplotlib.cm import ScalarMappable

        axes = self._add_axes(left, bottom, _BAR, height)
        bar = self._figure.colorbar(ScalarMappable(colouring.norm, colouring.colours), cax=axes)
        bar.outline.set_visible(False)
        bar.ax.grid(visible=False)
        letters = max(20, int(height * 13))
        bar.set_label("\n".join(textwrap.wrap(colouring.title, letters)), fontsize=8.5)
        bar.ax.tick_params(labelsize=8, length=2)

    def _write_title(self) -> None:
        timing, table = self._timing, self._run.table
        start, end = (table.show(TIME.name, float(t)) for t in (timing.times[0], timing.end))
        what = "last whole cycle, " if timing.is_loop else ""
        title = textwrap.shorten(self._run.title, _TITLE, placeholder=" …")
        self._text(0.25, 0.2, title, fontsize=11, fontweight="bold")
        self._text(0.25, 0.45, f"{what}{start} to {end}, {timing.speed_text}", color=style.MUTED, fontsize=9)

    def _text(self, left: float, below: float, text: str, **look: Any):  # type: ignore[no-untyped-def]
        """Write a text at a distance from the left and from the upper edge, inches."""
        return self._figure.text(left / WIDTH, 1.0 - below / self._height, text, va="top", **look)

    def _add_strips(self) -> None:
        width = (WIDTH - _LEFT - 0.3 - _GAP) / 2
        left, right = (self._add_axes(_LEFT + k * (width + _GAP), _BOTTOM, width, _STRIP) for k in range(2))
        self._cursors, self._dots, self._curves = [], [], []
        has_loads = draw_loads(left, self._run, self._timing)
        response = draw_response(right, self._run, self._timing)
        for axes, is_used in ((left, has_loads), (right, bool(response))):
            if not is_used:
                axes.remove()
                continue
            axes.tick_params(labelsize=8, length=2)
            axes.set_xlabel(self._unit.label("time"), fontsize=8.5)
            axes.set_xlim(self._timing.times[0] * self._unit.factor, self._timing.end * self._unit.factor)
            self._cursors.append(axes.axvline(0.0, color=style.INK, linewidth=1.0, zorder=4))
        if response:
            self._curves.append(curve_of(self._run.table, response, self._timing))
            self._dots += right.plot([], [], "o", color=style.INK, markersize=5, clip_on=False)
