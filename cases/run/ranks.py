# SPDX-License-Identifier: MIT
"""Starting a run on several ranks, and checking that the ranks are connected."""

import contextlib
import os
import shlex
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from annelid.cases.run.interrupts import INTERRUPTED, end_with_parent
from annelid.cases.run.memory import count_oom_kills
from annelid.geometry.errors import AnnelidError, InputError

__all__ = ["LAUNCHER", "check_size", "on_first_rank", "start_ranks"]

LAUNCHER = "ANNELID_LAUNCHER"  # for example "srun --mpi=pmi2 --ntasks={ranks}"

_REPORTED = (0, 1, 2)  # exit codes after which a rank has printed its message
_PATIENCE = 3.0  # s
_AGAIN = "the same command starts the run again"


def start_ranks(count: int, arguments: Sequence[str]) -> int:
    """Run this command on several ranks and wait for its end.

    Args:
        count: Number of ranks.
        arguments: Arguments of the command, without ``--ranks``.

    Returns:
        The exit code of the ranks, which have printed the reason if it is not 0.

    Raises:
        AnnelidError: The environment has no mpiexec, or a rank or the launcher was killed or crashed.
        InputError: The command of ``ANNELID_LAUNCHER`` was not found.
        KeyboardInterrupt: This process or a rank was interrupted; all ranks have ended.
        MemoryError: The system killed a rank because memory ran out.
    """
    if count > (os.cpu_count() or 1):
        text = f"--ranks: {count} ranks on {os.cpu_count()} processors will be slow; use one per processor"
        print(text, file=sys.stderr)
    command = _launcher(count)
    # With mpi4py as main module one failing rank aborts all; otherwise the others would wait for it forever.
    command += [sys.executable, "-m", "mpi4py", "-m", "annelid", *arguments, "--expect-ranks", str(count)]
    parent, oom_kills = os.getpid(), count_oom_kills()
    try:
        process = subprocess.Popen(command, preexec_fn=lambda: end_with_parent(signal.SIGTERM, parent))
    except FileNotFoundError:
        raise InputError(f"{LAUNCHER}: the command '{command[0]}' was not found", key=LAUNCHER) from None
    try:
        code = process.wait()
    except KeyboardInterrupt:
        _stop(process)
        raise
    if code == INTERRUPTED:
        raise KeyboardInterrupt
    if code not in _REPORTED:
        _raise_death(code, out_of_memory=count_oom_kills() > oom_kills)
    return code


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


def _raise_death(code: int, *, out_of_memory: bool) -> NoReturn:
    """Raise the error for ranks that ended without a message of their own.

    Launchers report a rank that a signal has ended by the number of the signal, or by 128 plus this number. A
    negative code is the number of a signal that has ended the launcher itself.
    """
    number = -code if code < 0 else code % 128
    if number == signal.SIGKILL and out_of_memory:
        raise MemoryError("the system killed a rank")
    if number not in set(signal.Signals):
        raise AnnelidError(f"the ranks or their launcher failed with code {code}; {_AGAIN}", code=code)
    who = "the launcher of the ranks" if code < 0 else "a rank"
    raise AnnelidError(f"{who} was ended by {signal.Signals(number).name}; {_AGAIN}", code=code)


def _stop(process: "subprocess.Popen[bytes]") -> None:
    """Wait for the ranks, to which a terminal sends the same signal, and end them if they do not end."""
    for number in (None, signal.SIGTERM, signal.SIGKILL):
        if number is not None:
            process.send_signal(number)
        with contextlib.suppress(subprocess.TimeoutExpired, KeyboardInterrupt):
            process.wait(_PATIENCE)
            return
