# SPDX-License-Identifier: MIT
"""Style of the figures: SVG whose colours are CSS variables of the page, for light and dark mode."""

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, MUTED, LINE, CARD = "#1d2a34", "#5f6e78", "#d7dde1", "#fefdfb"
ACCENT, SUCCESS, WARNING, FAILURE = "#0e6a70", "#2c7a4c", "#b2620c", "#a5302b"
# Colours of the parts in cross-sections and of several curves in a figure.
SERIES = ("#0e6a71", "#b5752a", "#5b5f9d", "#8a4a6b", "#4f7d3c")
_FLAT = 0.01  # smallest span of an axis over the largest value on it
_ROUNDING = 1e-6  # span of an axis on which all values are zero
_VARIABLES = {
    INK: "--ink",
    MUTED: "--muted",
    LINE: "--line",
    CARD: "--card",
    ACCENT: "--accent",
    SUCCESS: "--success",
    WARNING: "--warning",
    FAILURE: "--failure",
    **{colour: f"--series-{i + 1}" for i, colour in enumerate(SERIES)},
}
SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 9.0,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.titlesize": 10.0,
    "axes.titlelocation": "left",
    "axes.titleweight": "bold",
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.facecolor": "none",
    "figure.facecolor": "none",
    "grid.color": LINE,
    "grid.linewidth": 0.7,
    "text.color": INK,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "lines.linewidth": 1.8,
    "legend.frameon": False,
}


def without_noise(low: float, high: float) -> tuple[float, float]:
    """Widen the range of an axis so that a constant curve is flat and does not show rounding."""
    widening = 0.5 * max(0.0, max(_FLAT * max(abs(low), abs(high)), _ROUNDING) - (high - low))
    return low - widening, high + widening


@contextmanager
def new_figure(width: float, height: float) -> Iterator[tuple["Figure", "Axes"]]:
    """Provide a figure with one pair of axes in the style of the page; sizes in inches of 72 points."""
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(SETTINGS):
        figure = Figure(figsize=(width, height), layout="constrained")
        yield figure, figure.add_subplot()


def svg_text(figure: "Figure", name: str, label: str) -> str:
    """Return the figure as an inline SVG element.

    Args:
        figure: The figure.
        name: Prefix of all ids, so that a page may contain several SVGs.
        label: Description of the figure for screen readers.
    """
    import matplotlib

    with matplotlib.rc_context({**SETTINGS, "svg.hashsalt": name}):
        buffer = io.StringIO()
        if engine := figure.get_layout_engine():  # matplotlib would draw everything once more to call it
            engine.execute(figure)
            figure.set_layout_engine("none")
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Title": label})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", text)
    for colour, variable in _VARIABLES.items():
        text = text.replace(colour, f"var({variable})")
    # The page's font replaces the font with which matplotlib measured the text.
    text = re.sub(r"font-family: [^;\"]*", "font-family: var(--sans)", text)
    text = re.sub(r'<svg ([^>]*?)height="[^"]*"', r"<svg \1", text, count=1)
    text = re.sub(r'<svg ([^>]*?)width="[^"]*"', r"<svg \1", text, count=1)
    return text.replace("<svg ", '<svg role="img" ', 1)
