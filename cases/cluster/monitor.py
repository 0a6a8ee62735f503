# SPDX-License-Identifier: MIT
"""A run in a worker process whose time and memory are monitored."""

import os
import select
import shlex
from pathlib import Path

from annelid.cases.cluster.submission_records import ArrayTask
from annelid.cases.run.ranks import LAUNCHER
from annelid.cases.studies.failure import Failure
from annelid.cases.studies.plan import PlannedRun
from annelid.cases.studies.pool import Worker
from annelid.cases.studies.single_run import Job, Reply
from annelid.cases.studies.store import Store
from annelid.geometry.errors import AnnelidError

__all__ = ["RunPostponed", "run_monitored"]

_RUNNER = "annelid.cases.studies.single_run"
_TICK, _START_TIME_LIMIT, _MAX_ATTEMPTS = 0.25, 600.0, 2


class RunPostponed(AnnelidError):
    """The run could not be done for a reason outside of the run, so it is neither finished nor failed."""


def run_monitored(task: ArrayTask, run: PlannedRun, store: Store, logs: Path, number: int) -> Failure | None:
    """Do a run and write its report.

    Args:
        task: The run with its limits.
        run: The run.
        store: The study folder.
        logs: Folder for the log of the worker.
        number: Index in the array, which names the log.

    Returns:
        Why the run failed; ``None`` if it is finished.

    Raises:
        RunPostponed: The disk is full, or another process works in the Run folder.
    """
    logs.mkdir(exist_ok=True)
    store.clear_run_folder(run)
    if task.launcher:
        os.environ[LAUNCHER] = shlex.join(task.launcher)
    folder = str(store.run_folder(run))
    monitor = _Monitor(task, logs, number)
    try:
        job = Job("run", task.toml, folder, task.surfaces, task.ranks, stop_early=task.stop_early)
        failure = monitor.do(job)
        if failure is None and task.report:
            monitor.do(Job("report", "", folder))  # the run is finished even without a report
        return failure
    finally:
        monitor.close()


class _Monitor:
    def __init__(self, task: ArrayTask, logs: Path, number: int) -> None:
        self._task, self._logs, self._number = task, logs, number
        self._worker: Worker | None = None

    def do(self, job: Job) -> Failure | None:
        """Do a job; repeat it once if another process killed the worker."""
        for _ in range(_MAX_ATTEMPTS):
            kind, reason = self._attempt(job)
            if kind in ("disk", "busy"):
                raise RunPostponed(reason)
            if kind == "done":
                return None
            if kind != "killed":
                break
        else:
            kind, reason = "crash", f"{reason} {_MAX_ATTEMPTS} times"
        if kind in ("time limit", "memory"):
            reason += "; --retry repeats the run with a higher limit"
        worker = self._worker
        seconds, memory = (worker.elapsed, worker.peak_memory) if worker else (0.0, 0.0)
        return Failure(kind, reason, round(seconds, 2), round(memory, 1))  # type: ignore[arg-type]

    def close(self) -> None:
        """Kill the worker."""
        if self._worker is not None:
            self._worker.kill()
            self._worker.reap()
            self._worker = None

    def _attempt(self, job: Job) -> tuple[str, str]:
        worker = self._ready_worker()
        if worker is None:
            assert self._worker is not None
            return "crash", f"the worker does not start: {self._worker.log_tail()}"
        worker.assign(job, job)
        while True:
            self._enforce_limits(worker)
            replies, alive = _wait_for_replies(worker)
            if replies:
                worker.measure_memory()
                worker.task = None
                if worker.kill_reason and replies[0].kind == "error":  # sent while it was being killed
                    return worker.kill_reason, self._limit_reason(worker)
                return self._result(job, replies[0], worker)
            if not alive:
                kind, reason = worker.reap()
                if worker.kill_reason:
                    return worker.kill_reason, self._limit_reason(worker)
                return kind, reason

    def _ready_worker(self) -> Worker | None:
        if self._worker is not None and self._worker.process.poll() is None:
            return self._worker
        worker = self._worker = Worker(self._number, self._logs, _RUNNER, self._task.megabytes)
        while not worker.ready:
            _, alive = _wait_for_replies(worker)
            if not alive or worker.elapsed > _START_TIME_LIMIT:
                worker.kill()
                worker.reap()
                return None
        return worker

    def _result(self, job: Job, reply: Reply, worker: Worker) -> tuple[str, str]:
        """Kind and reason of a reply; for several ranks with the message from the log of the worker."""
        message = worker.log_message() if reply.kind == "error" and job.ranks > 1 else ""
        return reply.kind, f"{reply.reason}: {message}" if message else reply.reason

    def _enforce_limits(self, worker: Worker) -> None:
        if worker.kill_reason:
            return
        if worker.elapsed > self._task.seconds:
            worker.kill("time limit")
        elif worker.measure_memory() > self._task.megabytes:
            worker.kill("memory")

    def _limit_reason(self, worker: Worker) -> str:
        return worker.limit_reason(self._task.seconds, self._task.megabytes)


def _wait_for_replies(worker: Worker) -> tuple[list[Reply], bool]:
    """Replies that arrive within a moment, and whether the worker is alive."""
    assert worker.process.stdout is not None
    if not select.select([worker.process.stdout], [], [], _TICK)[0]:
        return [], True
    return worker.read()
