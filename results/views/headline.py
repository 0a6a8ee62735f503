# SPDX-License-Identifier: MIT
"""Headline of a picture: the title of the case, and state, stage and loads."""

import textwrap
from types import ModuleType
from typing import Any

from annelid.results.folder.run_record import RunRecord

_LINE, _TOP = 46, 18  # pixels
_CHARACTERS = 72  # in a line
_SIZES = (36, 30)  # of the letters of title and state
_INK = "#1d2a33"


def headline(run: RunRecord, state: int) -> list[tuple[str, int]]:
    """Return the lines of a headline with the sizes of their letters, pixels."""
    texts = (run.title, state_text(run, state))
    return [
        (line, size)
        for text, size in zip(texts, _SIZES, strict=True)
        for line in textwrap.wrap(text, _CHARACTERS)
    ]


def state_text(run: RunRecord, state: int) -> str:
    """Describe a state by its stage and its loads: ``"state 3, stage inflate 1.000, pressure 40 mmHg"``."""
    table = run.table
    row = table.row_of(state)
    if row is None:
        return f"state {state}"
    stage = f"stage {table.stages[row]} {table['parameter'][row]:.3f}"
    return f"state {state}, {stage}, {table.loads_text(row)}"


def height_of(lines: list[tuple[str, int]]) -> int:
    """Height of a headline, pixels."""
    return _TOP + _LINE * len(lines) if lines else 0


def add_headline(pyvista: ModuleType, plotter: Any, lines: list[tuple[str, int]]) -> None:
    """Write a headline at the top of a plotter; it is as wide as the picture at most."""
    width, height = plotter.window_size
    for number, (line, size) in enumerate(lines, start=1):
        text = pyvista.Text(line, position=(width // 2, height - _LINE * number))
        text.prop.font_size, text.prop.color = size, _INK
        text.prop.justification_horizontal = "center"
        plotter.add_actor(text)
