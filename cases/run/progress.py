# SPDX-License-Identifier: MIT
"""Display of the progress of a run: a bar on a terminal, otherwise one line for each state."""

import sys
import time
from collections.abc import Sequence
from typing import Any, Protocol

from annelid.cases.run.terminal_bar import TerminalBar
from annelid.results.folder.tables import column_kind
from annelid.solver.display import DisplayUnits, counted
from annelid.solver.records import Equilibrium

__all__ = ["Bar", "Lines", "Progress", "progress_for"]


class Progress(Protocol):
    """Shows the states of a path as they are computed."""

    def __enter__(self) -> "Progress": ...

    def __exit__(self, *error: Any) -> None: ...

    def show(self, state: Equilibrium) -> None:
        """Show a new state."""


def progress_for(stages: Sequence[str], units: DisplayUnits) -> Progress:
    """Return a bar if the error stream is a terminal, else lines.

    Args:
        stages: Names of the stages, in order.
        units: Units of the loads.
    """
    return Bar(stages, units) if sys.stderr.isatty() else Lines(units)


class Lines:
    """Prints one line for each state on the error stream."""

    def __init__(self, units: DisplayUnits) -> None:
        self._units = units
        self._start = time.monotonic()

    def __enter__(self) -> "Lines":
        return self

    def __exit__(self, *error: Any) -> None:
        pass

    def show(self, state: Equilibrium) -> None:
        """Print the state."""
        seconds = time.monotonic() - self._start
        print(f"{seconds:7.1f} s  {describe(state, self._units)}", file=sys.stderr, flush=True)


class Bar(TerminalBar):
    """A progress bar over all stages that shows the last state."""

    def __init__(self, stages: Sequence[str], units: DisplayUnits) -> None:
        super().__init__()
        self._units = units
        self._stages = list(stages)

    def show(self, state: Equilibrium) -> None:
        """Advance the bar to the state."""
        done = (self._stages.index(state.stage) + state.parameter) / len(self._stages)
        self.move(done, describe(state, self._units))


def describe(state: Equilibrium, units: DisplayUnits) -> str:
    """Describe a state in one line: stage, loads, iterations, unstable modes."""
    loads = ", ".join(
        f"{name} {units.show(column_kind(name), load.value)}"
        for name, load in state.loads.items()
        if load.value
    )
    modes = f", {state.unstable_modes} unstable" if state.unstable_modes else ""
    effort = counted(state.iterations, "iteration")
    return f"{state.stage} {state.parameter:.3f}  {loads or 'no load'}  ({effort}{modes})"
