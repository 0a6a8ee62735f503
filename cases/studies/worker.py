# SPDX-License-Identifier: MIT
"""A worker process: takes jobs as lines of JSON on its input and answers with lines of JSON.

Started by the driver as ``python -m annelid.cases.studies.worker RUNNER MEMORY DRIVER``; what libraries print
goes to the log of the worker, so that nothing but answers reaches the driver.
"""

import contextlib
import ctypes
import importlib
import json
import os
import resource
import signal
import sys
from pathlib import Path

from annelid.cases.studies.single_run import Job, Reply

__all__ = ["main"]

_PR_SET_PDEATHSIG = 1  # <linux/prctl.h>


def main(arguments: list[str]) -> int:
    """Work until the input ends."""
    runner, memory, driver = arguments[0], float(arguments[1]), int(arguments[2])
    _end_with(driver)
    answers = os.fdopen(os.dup(1), "w", buffering=1)
    os.dup2(2, 1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the driver hears the terminal and decides
    from annelid.cases.run.environment import prepare

    prepare()
    module = importlib.import_module(runner)
    getattr(module, "prepare", lambda: None)()
    _limit_memory(memory)
    print(json.dumps({"ready": os.getpid()}), file=answers)
    for line in sys.stdin:
        print(json.dumps(_answer(module, Job(*json.loads(line)))), file=answers)
    return 0


def _answer(module: object, job: Job) -> Reply:
    with contextlib.suppress(OSError):
        os.ftruncate(2, 0)  # the log speaks of the present job alone
    reply: Reply = module.run_one(job)  # type: ignore[attr-defined]
    with contextlib.suppress(OSError):
        sys.stderr.flush()
    return reply


def _end_with(driver: int) -> None:
    """End when the driver is killed, so that nobody works for nobody."""
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != driver:
        os._exit(1)


def _limit_memory(megabytes: float) -> None:
    """Let the process grow by so much from here; an allocation beyond fails instead of the machine."""
    if megabytes > 0:
        pages = int(Path("/proc/self/statm").read_text().split()[0])
        most = pages * os.sysconf("SC_PAGE_SIZE") + int(megabytes * 1e6)
        hard = resource.getrlimit(resource.RLIMIT_AS)[1]
        resource.setrlimit(resource.RLIMIT_AS, (most if hard < 0 else min(most, hard), hard))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
