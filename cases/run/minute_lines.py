# SPDX-License-Identifier: MIT
"""A line a minute about work that prints nothing else, so that it does not seem to hang."""

import contextlib
import sys
import threading
import time
from collections.abc import Callable
from typing import Any, Self

__all__ = ["MinuteLines"]

INTERVAL = 60.0  # s


class MinuteLines:
    """States what a process works on whenever it has been silent for a minute; a context manager.

    A thread prints the lines on the error stream, also while a library works that releases the lock of the
    interpreter, as the mesher does.

    Attributes:
        log: Called with each line too, once there is a log.
        prints: Whether the lines are printed; a bar on a terminal and all ranks but the first need none.

    Args:
        work: What the process works on, as "meshing the part".
    """

    def __init__(self, work: str) -> None:
        self.log: Callable[[str], None] | None = None
        self.prints = True
        self._work = work
        self._begin = self._last = time.monotonic()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._wait, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: Any) -> None:
        self.end()

    def end(self) -> None:
        """Print and log nothing from now on."""
        self._ended.set()
        self._thread.join()

    def begin(self, work: str) -> None:
        """State what the process works on from now on."""
        self._work = work

    def printed(self) -> None:
        """State that something else was printed and logged just now."""
        self._last = time.monotonic()

    def _wait(self) -> None:
        while not self._ended.wait(max(0.0, self._last + INTERVAL - time.monotonic())):
            if time.monotonic() >= self._last + INTERVAL:
                self.printed()
                self._state()

    def _state(self) -> None:
        line = f"{time.monotonic() - self._begin:7.1f} s  {self._work}"
        with contextlib.suppress(OSError, ValueError):  # a closed stream or a full disk stops the work itself
            if self.prints:
                print(line, file=sys.stderr, flush=True)
            if self.log is not None:
                self.log(line)
