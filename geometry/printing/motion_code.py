# SPDX-License-Identifier: MIT
"""Motion code (ISO 6983: G and M words) of a tool path, for a machine with a rotary axis or with five axes.

Printing moves use inverse time (G93): F is the number of such moves per minute, which gives a constant speed
over the surface for any combination of linear and rotary motion. Near the axis of the part the speed is
reduced to what the rotary axis allows.
"""

import re
from collections.abc import Iterator

from annelid.geometry.body import FloatArray
from annelid.geometry.printing.machines import LINEAR_AXES, MACHINES
from annelid.geometry.printing.moves import Move
from annelid.geometry.printing.tool_path import ToolPath
from annelid.geometry.printing.travel_time import axis_limits, top_speeds

ON, OFF = "M8", "M9"
"""Words that open and close the nozzle: outputs for coolant, to which a dispenser can be connected."""

_CAUTIONS = (
    "CAUTION: dry-run first: no part, nozzle high, feed low, hand on the stop",
    "Check zero points, axis directions, travel limits, clearances and that ON and OFF drive the nozzle",
    "Keep clear of the rotating part; keep high voltage away from the machine",
)
_FRAME = (
    "Units mm and degrees; the part's axis lies along X, Z is up from that axis, A turns the part about X",
    "A = theta brings azimuth theta of the part to the top, counted counter-clockwise from its high end",
    "A continues over whole turns; X = 0 is Z = 0 of the shape",
)
_TILT = "B tilts the nozzle from Z towards X; X Y Z are coordinates of its tip: use tool centre point control"
_LETTERS = re.compile(r"[^ -'*-~]")  # all but printable ASCII without parentheses


def motion_code(path: ToolPath, title: str) -> str:
    """Return the program of a tool path.

    Args:
        path: The tool path.
        title: Title of the part, for the first comment.
    """
    return "\n".join([*_head(path, title), *_body(path), *_tail(path)]) + "\n"


def _head(path: ToolPath, title: str) -> Iterator[str]:
    settings, lattice = path.settings, path.lattice
    yield "%"
    facts = (
        title,
        f"{lattice.around} by {lattice.along} cells of {lattice.pattern.name}, {path.layers} layers",
        f"nozzle {settings.nozzle:g} mm, stand-off {settings.stand_off:g} mm, feed {settings.feed:g} mm/s, "
        f"path within {settings.tolerance:g} mm",
        f"printed {path.printed_length / 1000:.3g} m, {path.lifts} lifts, about {path.duration / 60:.0f} min",
        *_CAUTIONS,
        *_FRAME,
        *([_TILT] if settings.machine == "five-axis" else []),
        f"{ON} opens the nozzle, {OFF} closes it",
    )
    yield from (f"({_LETTERS.sub(' ', fact)})" for fact in facts)
    yield "G21 G90 G17 G40 G49 G94"
    yield OFF


def _body(path: ToolPath) -> Iterator[str]:
    machine = MACHINES[path.settings.machine]
    clear = path.lattice.heights[1] + path.settings.clearance
    yield f"G0 Z{_number(_safe(path))}"
    layer, arrived = -1, False
    for move in path.moves:
        axes = move.axes(machine)
        if not move.printing:
            yield from (f"G0 {words}" for words in _words(machine.axes, axes))
            arrived = True
            continue
        if not arrived:
            start = path.lattice.chart.place(move.points[:1], clear)
            above = machine.to_axes(*start, move.points[:1, 0])
            yield from _approach(machine.axes, above)
        if move.layer != layer:
            layer = move.layer
            yield f"(layer {layer + 1} of {path.layers})"
        yield from _printed(path, machine.axes, move, axes)
        arrived = False


def _approach(names: tuple[str, ...], above: FloatArray) -> Iterator[str]:
    """Moves to a position above the first point; all axes but Z move first."""
    words = next(_words(names, above)).split()
    yield "G0 " + " ".join(word for word in words if not word.startswith("Z"))
    yield "G0 " + next(word for word in words if word.startswith("Z"))


def _printed(path: ToolPath, names: tuple[str, ...], move: Move, axes: FloatArray) -> Iterator[str]:
    words = list(_words(names, axes))
    limits = axis_limits(path.settings, names)
    rates = 60.0 * top_speeds(axes, move.steps, path.settings.feed, limits) / move.steps
    lower = 60.0 * path.settings.feed / path.settings.clearance
    yield f"G93 G1 {words[0]} F{_number(lower)}"
    yield ON
    yield from (f"G1 {word} F{_number(rate)}" for word, rate in zip(words[1:], rates, strict=True))
    yield OFF
    yield "G94"


def _tail(path: ToolPath) -> Iterator[str]:
    yield f"G0 Z{_number(_safe(path))}"
    yield "M30"
    yield "%"


def _safe(path: ToolPath) -> float:
    """A height above the whole printed lattice, mm."""
    machine = MACHINES[path.settings.machine]
    tops = [m.axes(machine)[:, machine.axes.index("Z")].max() for m in path.moves]
    return float(max(tops)) + 2 * path.settings.clearance


def _words(names: tuple[str, ...], axes: FloatArray) -> Iterator[str]:
    digits = [4 if name in LINEAR_AXES else 5 for name in names]
    for row in axes.tolist():
        yield " ".join(
            f"{name}{_number(value, count)}" for name, value, count in zip(names, row, digits, strict=True)
        )


def _number(value: float, digits: int = 4) -> str:
    """A decimal number without an exponent, trailing zeros or a negative zero."""
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
