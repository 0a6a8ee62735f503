# SPDX-License-Identifier: MIT
"""Progress of a study: a bar on a terminal, otherwise a line every few seconds."""

import sys
import time
from typing import Any, Self

from annelid.cases.convert.cost import rounded_time
from annelid.cases.run.terminal_bar import TerminalBar
from annelid.cases.studies.settings import RunCounts

__all__ = ["StudyProgress"]

_INTERVAL = 10.0  # s between two lines
_RECENT = 50  # runs that the remaining time is estimated from; the first ones also compile


class StudyProgress:
    """Shows the progress of a study on the error stream; a context manager.

    Args:
        what: ``"runs"`` or ``"reports"``.
        workers: Number of workers.
    """

    def __init__(self, what: str, workers: int) -> None:
        self._what, self._workers = what, workers
        self._bar = TerminalBar() if sys.stderr.isatty() else None
        self._last = time.monotonic()

    def __enter__(self) -> Self:
        if self._bar is not None:
            self._bar.__enter__()
        return self

    def __exit__(self, *error: Any) -> None:
        if self._bar is not None:
            self._bar.__exit__(*error)

    def show(self, counts: RunCounts, left: int, total: int) -> None:
        """Show the progress, without a terminal at most once per interval."""
        text = progress_line(self._what, counts, left, self._workers)
        if self._bar is not None:
            self._bar.move(1 - left / total, text)
        elif time.monotonic() - self._last > _INTERVAL:
            self._last = time.monotonic()
            self.print(text)

    def print(self, text: str) -> None:
        """Print a line; on a terminal above the bar."""
        if self._bar is not None:
            self._bar.print_line(text)
        else:
            print(text, file=sys.stderr, flush=True)


def progress_line(what: str, counts: RunCounts, left: int, workers: int) -> str:
    """The progress of a study in one line."""
    if what == "reports":
        return f"reports: {left} to write"
    text = f"{counts.running} running, {counts.done} done"
    text += f", {counts.failed} failed" if counts.failed else ""
    recent = counts.seconds[-_RECENT:]
    if recent and left:
        text += f", {rounded_time(sum(recent) / len(recent) * left / workers)} left"
    return text
