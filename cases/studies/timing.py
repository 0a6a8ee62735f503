# SPDX-License-Identifier: MIT
"""Timing of one run of a study in a temporary folder, to estimate the cost of the others."""

import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from annelid.cases.run.memory import free_memory
from annelid.cases.studies.plan import PlannedRun
from annelid.cases.studies.pool import Pool
from annelid.cases.studies.single_run import Job

__all__ = ["Timing", "time_run"]

_RUNNER = "annelid.cases.studies.single_run"
_TIME_LIMIT = 120.0  # s


class Timing(NamedTuple):
    """Cost of a run whose equations were compiled before.

    Attributes:
        seconds: Its time.
        memory: Its peak memory in MB.
    """

    seconds: float
    memory: float


def time_run(run: PlannedRun) -> Timing | None:
    """Do a run twice in a temporary folder and time the second one, since the first may compile.

    Returns:
        The cost of the run; ``None`` if it failed or took too long.
    """
    with tempfile.TemporaryDirectory(prefix="annelid-") as place:
        folder, begin = Path(place), time.monotonic()
        pool = Pool(1, folder / "workers", runner=_RUNNER, memory=0.9 * free_memory())
        found: list[Timing] = []
        try:
            pool.start_workers(1)
            (worker,) = pool.workers
            while len(found) < 2 and time.monotonic() - begin < _TIME_LIMIT:
                if worker.idle:
                    worker.assign(run, Job("run", run.toml, str(folder / f"run_{len(found)}")))
                for _, replies, alive in pool.wait(0.05):
                    if not alive or any(reply.kind != "done" for reply in replies):
                        return found[-1] if found else None
                    found += [Timing(worker.elapsed, worker.peak_memory) for _ in replies]
                    worker.task = None if replies else worker.task
                worker.measure_memory()
        finally:
            pool.close()
        return found[-1] if found else None
