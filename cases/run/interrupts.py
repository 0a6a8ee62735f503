# SPDX-License-Identifier: MIT
"""How processes end when they are asked to stop, and when the process that started them ends."""

import ctypes
import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

__all__ = ["INTERRUPTED", "end_with_parent", "stoppable"]

INTERRUPTED = 130  # exit code
_PR_SET_PDEATHSIG = 1  # <linux/prctl.h>


@contextmanager
def stoppable() -> Iterator[None]:
    """Treat SIGTERM, by which batch systems end a job, as Ctrl-C."""

    def stop(*_: Any) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def end_with_parent(number: signal.Signals, parent: int = 0) -> None:
    """Let Linux send a signal to this process when the process that started it ends.

    Args:
        number: The signal.
        parent: Number of the process that started this one, which may have ended before this call.
    """
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, number)
    if parent and os.getppid() != parent:
        os._exit(1)
