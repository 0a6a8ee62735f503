# SPDX-License-Identifier: MIT
"""The commands of Slurm; each is called with a list of arguments and never through a shell."""

import re
import subprocess
from collections.abc import Iterable, Mapping, Sequence

from annelid.geometry.errors import AnnelidError

__all__ = ["QueueError", "QueueState", "cancel_jobs", "max_array_size", "queued_jobs", "submit_job"]

QueueState = Mapping[tuple[str, str], str]
"""State of a job by its number and its index in the array."""

_TIMEOUT = 120.0  # s; a busy controller may take long to reply


class QueueError(AnnelidError):
    """A command of Slurm is missing, timed out or failed."""


def submit_job(arguments: Sequence[str]) -> str:
    """Submit a job.

    Args:
        arguments: Arguments of sbatch after ``--parsable``.

    Returns:
        The number of the job.

    Raises:
        QueueError: The job was not accepted.
    """
    output = _call("sbatch", "--parsable", *arguments)
    number = output.strip().partition(";")[0]
    if not number.isdigit():
        raise QueueError(f"sbatch printed {output.strip()!r}, which is not the number of a job")
    return number


def queued_jobs() -> QueueState:
    """Jobs of the user in the queue.

    Returns:
        State by number of the job and index in its array: ``"PD"`` (pending), ``"R"`` (running), others as
        in squeue.

    Raises:
        QueueError: The queue cannot be read.
    """
    lines = _call("squeue", "--me", "--array", "--noheader", "--format=%F %K %t").splitlines()
    rows = [line.split() for line in lines]
    return {(row[0], row[1]): row[2] for row in rows if len(row) == 3}


def cancel_jobs(jobs: Iterable[str]) -> None:
    """Cancel jobs, arrays as a whole.

    Raises:
        QueueError: A job was not cancelled.
    """
    numbers = list(jobs)
    if numbers:
        _call("scancel", *numbers)


def max_array_size() -> int | None:
    """Largest number of runs in an array on this cluster; ``None`` if it is not known."""
    try:
        found = re.search(r"^MaxArraySize\s*=\s*(\d+)", _call("scontrol", "show", "config"), re.MULTILINE)
    except QueueError:
        return None
    return int(found[1]) if found else None


def _call(*command: str) -> str:
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=_TIMEOUT, stdin=subprocess.DEVNULL
        )
    except FileNotFoundError:
        text = f"{command[0]} was not found: Slurm is not installed here; --dry-run only writes the scripts"
        raise QueueError(text) from None
    except subprocess.TimeoutExpired:
        raise QueueError(f"{command[0]} did not reply within {_TIMEOUT:g} s; try again later") from None
    if done.returncode != 0:
        reason = done.stderr.strip() or done.stdout.strip() or f"exit code {done.returncode}"
        raise QueueError(f"{command[0]} failed: {reason}")
    return done.stdout
