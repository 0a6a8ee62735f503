# SPDX-License-Identifier: MIT
"""A run in a worker process, with its time and memory watched, and its end told in words."""

import os
import select
import shlex
from pathlib import Path

from annelid.cases.cluster.records import Order
from annelid.cases.run.ranks import LAUNCHER
from annelid.cases.studies.plan import Planned
from annelid.cases.studies.pool import Worker
from annelid.cases.studies.single_run import Job, Reply
from annelid.cases.studies.store import Failure, Store
from annelid.geometry.errors import AnnelidError

__all__ = ["NoFault", "run_watched"]

_RUNNER = "annelid.cases.studies.single_run"
_TICK, _START_LIMIT, _TRIES = 0.25, 600.0, 2


class NoFault(AnnelidError):
    """Something that is no fault of the run kept it from being done: it stays to be done."""


def run_watched(order: Order, run: Planned, store: Store, logs: Path, number: int) -> Failure | None:
    """Do a run and make its report.

    Args:
        order: What to do.
        run: The run.
        store: The study folder.
        logs: Folder of the log of the worker.
        number: Number in the array, which names the log.

    Returns:
        Why it failed; ``None`` if it is done.

    Raises:
        NoFault: The disk is full, or another process works in the Run folder.
    """
    logs.mkdir(exist_ok=True)
    store.make_way(run)
    if order.launcher:
        os.environ[LAUNCHER] = shlex.join(order.launcher)
    folder = str(store.run_folder(run))
    watch = _Watch(order, logs, number)
    try:
        job = Job("run", order.toml, folder, order.surfaces, order.ranks, stop_early=order.stop_early)
        failure = watch.done(job)
        if failure is None and order.report:
            watch.done(Job("report", "", folder))  # the run is done whatever becomes of its report
        return failure
    finally:
        watch.close()


class _Watch:
    def __init__(self, order: Order, logs: Path, number: int) -> None:
        self._order, self._logs, self._number = order, logs, number
        self._worker: Worker | None = None

    def done(self, job: Job) -> Failure | None:
        """Have a job done; once more if the worker was killed by nobody knows whom."""
        for _ in range(_TRIES):
            kind, reason = self._once(job)
            if kind in ("disk", "busy"):
                raise NoFault(reason)
            if kind == "done":
                return None
            if kind != "killed":
                break
        else:
            kind, reason = "crash", f"{reason} {_TRIES} times"
        worker = self._worker
        seconds, peak = (worker.seconds, worker.peak) if worker else (0.0, 0.0)
        return Failure(kind, reason + self._advice(kind), round(seconds, 2), round(peak, 1))  # type: ignore[arg-type]

    def close(self) -> None:
        """End the worker."""
        if self._worker is not None:
            self._worker.end()
            self._worker.bury()
            self._worker = None

    def _advice(self, kind: str) -> str:
        return "; --retry gives it more" if kind in ("time limit", "memory") else ""

    def _once(self, job: Job) -> tuple[str, str]:
        worker = self._started()
        if worker is None:
            assert self._worker is not None
            return "crash", f"the worker does not start: {self._worker.tail()}"
        worker.give(job, job)
        while True:
            self._look(worker)
            replies, alive = _hear(worker)
            if replies:
                worker.memory()
                worker.task = None
                if worker.ended_for and replies[0].kind == "error":  # its last word on being ended
                    return worker.ended_for, self._limit_words(worker)
                return self._told(job, replies[0], worker)
            if not alive:
                kind, reason = worker.bury()
                return (worker.ended_for, self._limit_words(worker)) if worker.ended_for else (kind, reason)

    def _started(self) -> Worker | None:
        if self._worker is not None and self._worker.process.poll() is None:
            return self._worker
        worker = self._worker = Worker(self._number, self._logs, _RUNNER, self._order.megabytes)
        while not worker.ready:
            _, alive = _hear(worker)
            if not alive or worker.seconds > _START_LIMIT:
                worker.end()
                worker.bury()
                return None
        return worker

    def _told(self, job: Job, reply: Reply, worker: Worker) -> tuple[str, str]:
        """What the worker replied; for several ranks with what its log adds to the exit code."""
        message = worker.message() if reply.kind == "error" and job.ranks > 1 else ""
        return reply.kind, f"{reply.reason}: {message}" if message else reply.reason

    def _look(self, worker: Worker) -> None:
        if worker.ended_for:
            return
        if worker.seconds > self._order.seconds:
            worker.end("time limit")
        elif worker.memory() > self._order.megabytes:
            worker.end("memory")

    def _limit_words(self, worker: Worker) -> str:
        if worker.ended_for == "time limit":
            return f"took longer than {self._order.seconds:g} s"
        return f"took {worker.peak:.0f} MB of memory, more than {self._order.megabytes:.0f} MB"


def _hear(worker: Worker) -> tuple[list[Reply], bool]:
    """Answers that come within a moment, and whether the worker lives."""
    assert worker.process.stdout is not None
    if not select.select([worker.process.stdout], [], [], _TICK)[0]:
        return [], True
    return worker.read()
