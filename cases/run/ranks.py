# SPDX-License-Identifier: MIT
"""Starting a run on several ranks, and making sure that they are one run."""

import contextlib
import ctypes
import os
import shlex
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from annelid.geometry.errors import AnnelidError, InputError

__all__ = ["LAUNCHER", "check_size", "on_first_rank", "start_ranks"]

LAUNCHER = "ANNELID_LAUNCHER"  # for example "srun --mpi=pmi2 --ntasks={ranks}"

_PR_SET_PDEATHSIG = 1  # <linux/prctl.h>


def start_ranks(count: int, arguments: Sequence[str]) -> int:
    """Run this command again on several ranks and wait for it.

    Args:
        count: Number of ranks.
        arguments: Arguments of the command, without ``--ranks``.

    Returns:
        Its exit code.

    Raises:
        AnnelidError: The environment has no mpiexec.
    """
    if count > (os.cpu_count() or 1):
        print(f"{count} ranks on {os.cpu_count()} processors will be slow", file=sys.stderr)
    command = _launcher(count)
    # mpi4py as main module aborts all ranks when one fails; the others would wait for ever.
    command += [sys.executable, "-m", "mpi4py", "-m", "annelid", *arguments, "--expect-ranks", str(count)]
    process = subprocess.Popen(command, preexec_fn=_end_with_parent)
    try:
        return process.wait()
    except KeyboardInterrupt:
        _stop(process)
        raise


def _launcher(count: int) -> list[str]:
    """The words that start ranks: mpiexec beside this Python, or what ``ANNELID_LAUNCHER`` says instead."""
    said = shlex.split(os.environ.get(LAUNCHER, ""))
    if said:
        return [word.replace("{ranks}", str(count)) for word in said]
    command = [_mpiexec(), "-n", str(count)]
    if "SLURM_JOB_ID" not in os.environ or os.environ.get("SLURM_JOB_NUM_NODES", "1") == "1":
        command += ["-launcher", "fork"]  # on one node; inside a job step the default launcher would hang
    return command


def check_size(size: int, expected: int | None) -> None:
    """Make sure that the ranks found each other.

    Raises:
        InputError: They did not: each would run the whole case by itself.
    """
    if expected is not None and size != expected:
        text = (
            f"--ranks: {expected} ranks were asked for, but this run has {size}: "
            "the launcher and the solver use different MPI libraries; start it through --ranks"
        )
        raise InputError(text, key="--ranks", value=size)


def on_first_rank(comm: Any, make: Callable[[], Any]) -> Any:
    """Do something on the first rank only and hand the result, or the error, to all."""
    result, error = None, None
    if comm.rank == 0:
        try:
            result = make()
        except AnnelidError as found:
            error = found
    error = comm.bcast(error)
    if error is not None:
        raise error
    return comm.bcast(result)


def _mpiexec() -> str:
    beside = Path(sys.executable).parent / "mpiexec"
    found = str(beside) if beside.exists() else shutil.which("mpiexec")
    if found is None:
        raise AnnelidError(f"mpiexec was not found beside {sys.executable}; install the locked requirements")
    return found


def _end_with_parent() -> None:
    """Ask Linux to end the ranks when this process is killed; they would hold the Run folder otherwise."""
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


def _stop(process: "subprocess.Popen[bytes]") -> None:
    """Let the ranks end by themselves (a terminal sends them the same signal), then end them."""
    try:
        process.wait(timeout=5)
    except (subprocess.TimeoutExpired, KeyboardInterrupt):
        process.send_signal(signal.SIGTERM)
        process.wait()
