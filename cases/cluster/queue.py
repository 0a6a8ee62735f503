# SPDX-License-Identifier: MIT
"""The commands of Slurm that are called, each with a list of arguments and never through a shell."""

import re
import subprocess
from collections.abc import Iterable, Sequence

from annelid.geometry.errors import AnnelidError

__all__ = ["Present", "QueueError", "cancel", "largest_array", "present", "submit"]

Present = dict[tuple[str, str], str]
"""State of a job by its number and its number in the array."""

_PATIENCE = 120.0  # seconds; a busy controller may take long to answer


class QueueError(AnnelidError):
    """The queue could not be asked, or refused."""


def submit(arguments: Sequence[str]) -> str:
    """Submit a job.

    Args:
        arguments: Those of sbatch after ``--parsable``.

    Returns:
        The number of the job.

    Raises:
        QueueError: It was refused.
    """
    said = _call("sbatch", "--parsable", *arguments)
    number = said.strip().partition(";")[0]
    if not number.isdigit():
        raise QueueError(f"sbatch answered {said.strip()!r}, which is no number of a job")
    return number


def present() -> Present:
    """What the user has in the queue.

    Returns:
        State by number of the job and number in its array: ``"PD"`` waits, ``"R"`` runs, others as squeue.

    Raises:
        QueueError: The queue cannot be asked.
    """
    lines = _call("squeue", "--me", "--array", "--noheader", "--format=%F %K %t").splitlines()
    rows = [line.split() for line in lines]
    return {(row[0], row[1]): row[2] for row in rows if len(row) == 3}


def cancel(jobs: Iterable[str]) -> None:
    """Cancel jobs with all that belongs to their arrays.

    Raises:
        QueueError: It was refused.
    """
    wanted = list(jobs)
    if wanted:
        _call("scancel", *wanted)


def largest_array() -> int | None:
    """Most runs in an array, as the cluster says; ``None`` if it does not."""
    try:
        found = re.search(r"^MaxArraySize\s*=\s*(\d+)", _call("scontrol", "show", "config"), re.MULTILINE)
    except QueueError:
        return None
    return int(found[1]) if found else None


def _call(*command: str) -> str:
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=_PATIENCE, stdin=subprocess.DEVNULL
        )
    except FileNotFoundError:
        text = f"{command[0]} was not found: there is no Slurm here; --dry-run writes the scripts alone"
        raise QueueError(text) from None
    except subprocess.TimeoutExpired:
        raise QueueError(f"{command[0]} did not answer within {_PATIENCE:g} s; try again later") from None
    if done.returncode != 0:
        said = done.stderr.strip() or done.stdout.strip() or f"exit code {done.returncode}"
        raise QueueError(f"{command[0]} refused: {said}")
    return done.stdout
