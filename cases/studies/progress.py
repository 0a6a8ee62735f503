# SPDX-License-Identifier: MIT
"""How a study is doing, while it runs: a bar on a terminal, a line now and then elsewhere."""

import sys
import time
from typing import Any, Protocol

from annelid.cases.run.terminal_bar import TerminalBar

__all__ = ["Progress", "progress_for"]

_PAUSE = 10.0
_RECENT = 50  # runs that tell how long the rest will take: the first ones compile


class Progress(Protocol):
    """Shows how far a study is; a context manager."""

    def __enter__(self) -> "Progress":
        """Begin."""

    def __exit__(self, *error: Any) -> None:
        """End."""

    def show(self, tally: Any, left: int, total: int) -> None:
        """Show how far it is."""

    def say(self, text: str) -> None:
        """Tell of something that happened."""


def progress_for(what: str, workers: int) -> Progress:
    """The kind of progress that suits the error stream.

    Args:
        what: ``"runs"`` or ``"reports"``.
        workers: Number of workers.
    """
    return Bar(what, workers) if sys.stderr.isatty() else Lines(what, workers)


def words(what: str, tally: Any, left: int, workers: int) -> str:
    """How far a study is, in a line."""
    text = f"{tally.running} running, {tally.done} done"
    text += f", {tally.failed} failed" if tally.failed else ""
    if what == "reports":
        return f"reports: {left} to make"
    recent = tally.seconds[-_RECENT:]
    if recent and left:
        text += f", {duration(sum(recent) / len(recent) * left / workers)} left"
    return text


def duration(seconds: float) -> str:
    """A time in words."""
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


class Lines:
    """A line every few seconds, on the error stream."""

    def __init__(self, what: str, workers: int) -> None:
        self._what, self._workers = what, workers
        self._last = time.monotonic()

    def __enter__(self) -> "Lines":
        return self

    def __exit__(self, *_: Any) -> None:
        pass

    def show(self, tally: Any, left: int, total: int) -> None:
        """Print how far it is, unless that was said just now."""
        if time.monotonic() - self._last > _PAUSE:
            self._last = time.monotonic()
            self.say(words(self._what, tally, left, self._workers))

    def say(self, text: str) -> None:
        """Print a line."""
        print(text, file=sys.stderr, flush=True)


class Bar(TerminalBar):
    """A progress bar over all runs."""

    def __init__(self, what: str, workers: int) -> None:
        super().__init__()
        self._what, self._workers = what, workers

    def show(self, tally: Any, left: int, total: int) -> None:
        """Move the bar."""
        self.move(1 - left / total, words(self._what, tally, left, self._workers))
