# SPDX-License-Identifier: MIT
"""Starting a run on several ranks, and checking that the ranks are connected."""

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
    """Run this command on several ranks and wait for its end.

    Args:
        count: Number of ranks.
        arguments: Arguments of the command, without ``--ranks``.

    Returns:
        The exit code of the command.

    Raises:
        AnnelidError: The environment has no mpiexec.
        InputError: The command of ``ANNELID_LAUNCHER`` was not found.
    """
    if count > (os.cpu_count() or 1):
        text = f"--ranks: {count} ranks on {os.cpu_count()} processors will be slow; use one per processor"
        print(text, file=sys.stderr)
    command = _launcher(count)
    # With mpi4py as main module one failing rank aborts all; otherwise the others would wait for it forever.
    command += [sys.executable, "-m", "mpi4py", "-m", "annelid", *arguments, "--expect-ranks", str(count)]
    try:
        process = subprocess.Popen(command, preexec_fn=_end_with_parent)
    except FileNotFoundError:
        raise InputError(f"{LAUNCHER}: the command '{command[0]}' was not found", key=LAUNCHER) from None
    try:
        return process.wait()
    except KeyboardInterrupt:
        _stop(process)
        raise


def _launcher(count: int) -> list[str]:
    """Return the command that starts the ranks: that of ``ANNELID_LAUNCHER``, else mpiexec."""
    configured = shlex.split(os.environ.get(LAUNCHER, ""))
    if configured:
        return [word.replace("{ranks}", str(count)) for word in configured]
    command = [_mpiexec(), "-n", str(count)]
    if "SLURM_JOB_ID" not in os.environ or os.environ.get("SLURM_JOB_NUM_NODES", "1") == "1":
        command += [
            "-launcher",
            "fork",
        ]  # on one node; the default launcher was seen to hang inside a job step
    return command


def check_size(size: int, expected: int | None) -> None:
    """Check that all requested ranks are connected.

    Raises:
        InputError: They are not, so each of them would run the whole case.
    """
    if expected is not None and size != expected:
        text = (
            f"--ranks: {expected} ranks were requested, but this run has {size}: the launcher and the solver "
            "use different MPI libraries; start the run with --ranks"
        )
        raise InputError(text, key="--ranks", value=size)


def on_first_rank(comm: Any, compute: Callable[[], Any]) -> Any:
    """Call a function on the first rank only, and return its result or raise its error on all ranks."""
    result, error = None, None
    if comm.rank == 0:
        try:
            result = compute()
        except AnnelidError as raised:
            error = raised
    error = comm.bcast(error)
    if error is not None:
        raise error
    return comm.bcast(result)


def _mpiexec() -> str:
    own = Path(sys.executable).parent / "mpiexec"
    path = str(own) if own.exists() else shutil.which("mpiexec")
    if path is None:
        text = (
            f"mpiexec is missing in {own.parent} and in PATH: install the locked requirements of this program"
        )
        raise AnnelidError(text)
    return path


def _end_with_parent() -> None:
    """Let Linux end the ranks if this process is killed; otherwise they would keep the Run folder locked."""
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


def _stop(process: "subprocess.Popen[bytes]") -> None:
    """Wait for the ranks, to which a terminal sends the same signal; end them after 5 s."""
    try:
        process.wait(timeout=5)
    except (subprocess.TimeoutExpired, KeyboardInterrupt):
        process.send_signal(signal.SIGTERM)
        process.wait()
