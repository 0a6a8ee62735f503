# SPDX-License-Identifier: MIT
"""One run of a study, timed in a place of its own: what the others will take is scaled from it."""

import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from annelid.cases.studies.plan import Planned
from annelid.cases.studies.pool import Pool, free_memory
from annelid.cases.studies.single_run import Job

__all__ = ["Sample", "timed_sample"]

_RUNNER = "annelid.cases.studies.single_run"
_LIMIT = 120.0  # seconds that an estimate is worth


class Sample(NamedTuple):
    """What a run took.

    Attributes:
        seconds: Its time, the equations being compiled.
        memory: Largest memory seen, in MB.
    """

    seconds: float
    memory: float


def timed_sample(run: Planned) -> Sample | None:
    """Do a run twice in a temporary folder, since the first may compile; keep what the second took.

    Returns:
        What it took; ``None`` if it failed or took too long to be worth it.
    """
    with tempfile.TemporaryDirectory(prefix="annelid-") as place:
        folder, begin = Path(place), time.monotonic()
        pool = Pool(1, folder / "workers", runner=_RUNNER, memory=0.9 * free_memory())
        found: list[Sample] = []
        try:
            pool.fill(1)
            (worker,) = pool.workers
            while len(found) < 2 and time.monotonic() - begin < _LIMIT:
                if worker.idle:
                    worker.give(run, Job("run", run.toml, str(folder / f"run_{len(found)}")))
                for _, replies, alive in pool.wait(0.05):
                    if not alive or any(reply.kind != "done" for reply in replies):
                        return found[-1] if found else None
                    found += [Sample(worker.seconds, worker.peak) for _ in replies]
                    worker.task = None if replies else worker.task
                worker.memory()
        finally:
            pool.close()
        return found[-1] if found else None
