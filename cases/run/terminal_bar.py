# SPDX-License-Identifier: MIT
"""A progress bar with a text on a terminal."""

from types import TracebackType
from typing import Self

__all__ = ["TerminalBar"]


class TerminalBar:
    """A bar on the error stream that disappears at its end; a context manager."""

    def __init__(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        columns = (BarColumn(), TextColumn("{task.percentage:3.0f} %"), TimeElapsedColumn())
        text = TextColumn("{task.description}", markup=False)
        self._bar = Progress(*columns, text, console=Console(stderr=True), transient=True)
        self._task = self._bar.add_task("starting; the equations are compiled if they are new", total=1.0)

    def __enter__(self) -> Self:
        self._bar.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bar.__exit__(kind, value, trace)

    def move(self, fraction: float, text: str) -> None:
        """Advance the bar.

        Args:
            fraction: Completed fraction of the work, 0 to 1.
            text: Text beside the bar.
        """
        self._bar.update(self._task, completed=fraction, description=text)

    def print_line(self, text: str) -> None:
        """Print a line above the bar."""
        self._bar.console.print(text, markup=False, highlight=False)
