# SPDX-License-Identifier: MIT
"""Memory of processes and of the machine."""

import contextlib
from pathlib import Path

import psutil

__all__ = ["count_oom_kills", "free_memory", "process_memory"]


def process_memory(process: int, *, with_children: bool = False) -> float:
    """Resident memory of a process, or also of those that it started, in MB; 0 if it has ended."""
    total = 0
    with contextlib.suppress(psutil.Error):
        parent = psutil.Process(process)
        for member in (parent, *(parent.children(recursive=True) if with_children else ())):
            with contextlib.suppress(psutil.Error):
                total += member.memory_info().rss
    return total / 1e6


def free_memory() -> float:
    """Available memory in MB, of the machine or of the control group, whichever is less."""
    free = psutil.virtual_memory().available / 1e6
    with contextlib.suppress(OSError, ValueError):  # control groups are unknown to psutil
        most = float(Path("/sys/fs/cgroup/memory.max").read_text())
        used = float(Path("/sys/fs/cgroup/memory.current").read_text())
        free = min(free, max(0.0, (most - used) / 1e6))
    return free


def count_oom_kills() -> int:
    """How often the system has killed a process because memory ran out."""
    with contextlib.suppress(OSError, StopIteration):
        lines = Path("/proc/vmstat").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("oom_kill "))
    return 0
