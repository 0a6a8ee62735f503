# SPDX-License-Identifier: MIT
"""Memory of processes and of the machine."""

import contextlib
from pathlib import Path

import psutil

from annelid.cases.convert.cost import Cost
from annelid.geometry.errors import InputError

__all__ = ["check_memory", "count_oom_kills", "free_memory", "peak_memory", "process_memory"]


def check_memory(cost: Cost) -> None:
    """Refuse a case that does not fit into the memory of the machine.

    Raises:
        InputError: The expected memory is more than there is.
    """
    most = _limit() or psutil.virtual_memory().total / 1e6
    if cost.memory > most:
        raise InputError(
            f"mesh: {cost.unknowns['all']} unknowns need {cost.megabytes} of memory, and this machine has "
            f"{most / 1000:.1f} GB; make mesh.along larger",
            key="mesh",
            memory=cost.memory,
        )


def process_memory(process: int, *, with_children: bool = False) -> float:
    """Resident memory of a process, or also of those that it started, in MB; 0 if it has ended."""
    total = 0
    with contextlib.suppress(psutil.Error):
        parent = psutil.Process(process)
        for member in (parent, *(parent.children(recursive=True) if with_children else ())):
            with contextlib.suppress(psutil.Error):
                total += member.memory_info().rss
    return total / 1e6


def peak_memory() -> float:
    """Largest resident memory of this process so far, in MB; 0 where the system does not provide it.

    ``getrusage`` would give that of the process that started this one, if it was larger.
    """
    with contextlib.suppress(OSError, StopIteration):
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:")) / 1024
    return 0.0


def free_memory() -> float:
    """Available memory in MB, of the machine or of the control group, whichever is less."""
    free = psutil.virtual_memory().available / 1e6
    most = _limit()
    with contextlib.suppress(OSError, ValueError):
        used = float(Path("/sys/fs/cgroup/memory.current").read_text()) / 1e6
        free = min(free, max(0.0, most - used)) if most else free
    return free


def _limit() -> float:
    """Limit of the control group, of which psutil does not know, in MB; 0 without a limit."""
    with contextlib.suppress(OSError, ValueError):
        return float(Path("/sys/fs/cgroup/memory.max").read_text()) / 1e6
    return 0.0


def count_oom_kills() -> int:
    """How often the system has killed a process because memory ran out."""
    with contextlib.suppress(OSError, StopIteration):
        lines = Path("/proc/vmstat").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("oom_kill "))
    return 0
