# SPDX-License-Identifier: MIT
"""Memory of processes and of the machine, as Linux reports it."""

import contextlib
import os
from pathlib import Path

__all__ = ["count_oom_kills", "descendants", "free_memory", "process_memory"]


def process_memory(process: int) -> float:
    """Resident memory of a process in MB; 0 if it has ended."""
    try:
        pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    except (OSError, IndexError, ValueError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def descendants(process: int) -> list[int]:
    """Children of a process, and their children."""
    children: dict[int, list[int]] = {}
    for entry in os.scandir("/proc"):
        if entry.name.isdigit():
            with contextlib.suppress(OSError, IndexError):
                parent = int(Path(entry.path, "stat").read_text().rpartition(")")[2].split()[1])
                children.setdefault(parent, []).append(int(entry.name))
    found = children.get(process, [])
    for child in found:
        found += children.get(child, [])
    return found


def free_memory() -> float:
    """Available memory in MB, of the machine or of the control group, whichever is less."""
    lines = Path("/proc/meminfo").read_text().splitlines()
    free = next(float(line.split()[1]) * 1.024e-3 for line in lines if line.startswith("MemAvailable"))
    with contextlib.suppress(OSError, ValueError):
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
