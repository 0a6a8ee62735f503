# SPDX-License-Identifier: MIT
"""A worker process: it reads jobs from its input and writes replies, both as lines of JSON.

The driver starts it as ``python -m annelid.cases.studies.worker RUNNER MEMORY DRIVER``. Output of libraries
goes to the log of the worker, so that only replies reach the driver.
"""

import contextlib
import importlib
import json
import os
import resource
import signal
import sys

import psutil

from annelid.cases.run.interrupts import end_with_parent
from annelid.cases.studies.single_run import Job, Reply

__all__ = ["main"]


def main(arguments: list[str]) -> int:
    """Do jobs until the input ends."""
    runner, memory, driver = arguments[0], float(arguments[1]), int(arguments[2])
    end_with_parent(signal.SIGKILL, driver)
    replies = os.fdopen(os.dup(1), "w", buffering=1)
    os.dup2(2, 1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the driver handles Ctrl-C
    from annelid.cases.run.environment import prepare

    prepare()
    module = importlib.import_module(runner)
    getattr(module, "import_libraries", lambda: None)()
    _limit_memory(memory)
    print(json.dumps({"ready": os.getpid()}), file=replies)
    for line in sys.stdin:
        print(json.dumps(_reply_to(module, Job(*json.loads(line)))), file=replies)
    return 0


def _reply_to(module: object, job: Job) -> Reply:
    with contextlib.suppress(OSError):
        os.ftruncate(2, 0)  # the log covers only the present job
    reply: Reply = module.run_job(job)  # type: ignore[attr-defined]
    with contextlib.suppress(OSError):
        sys.stderr.flush()
    return reply


def _limit_memory(megabytes: float) -> None:
    """Limit the memory that this process may allocate from now on; further allocations raise MemoryError."""
    if megabytes > 0:
        most = psutil.Process().memory_info().vms + int(megabytes * 1e6)
        hard = resource.getrlimit(resource.RLIMIT_AS)[1]
        resource.setrlimit(resource.RLIMIT_AS, (most if hard < 0 else min(most, hard), hard))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
