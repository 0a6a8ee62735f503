# SPDX-License-Identifier: MIT
"""How a study is doing, while it runs: a bar on a terminal, a line now and then elsewhere."""

import sys
import time
from types import TracebackType
from typing import Any, Protocol

__all__ = ["Progress", "progress_for"]

_PAUSE = 10.0
_RECENT = 50  # runs that tell how long the rest will take: the first ones compile


class Progress(Protocol):
    """Shows how far a study is; a context manager."""

    def __enter__(self) -> "Progress":
        """Begin."""

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
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


class Bar:
    """A progress bar over all runs."""

    def __init__(self, what: str, workers: int) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
        from rich.progress import Progress as RichProgress

        self._what, self._workers = what, workers
        columns = (BarColumn(), TextColumn("{task.percentage:3.0f} %"), TimeElapsedColumn())
        text = TextColumn("{task.description}", markup=False)
        self._bar = RichProgress(*columns, text, console=Console(stderr=True), transient=True)
        self._task = self._bar.add_task("starting; the first run of a kind compiles its equations", total=1.0)

    def __enter__(self) -> "Bar":
        self._bar.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bar.__exit__(kind, value, trace)

    def show(self, tally: Any, left: int, total: int) -> None:
        """Move the bar."""
        text = words(self._what, tally, left, self._workers)
        self._bar.update(self._task, completed=1 - left / total, description=text)

    def say(self, text: str) -> None:
        """Print a line above the bar."""
        self._bar.console.print(text, markup=False, highlight=False)
