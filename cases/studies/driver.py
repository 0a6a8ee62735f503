# SPDX-License-Identifier: MIT
"""The driver of a study on this machine: it assigns runs to workers, enforces limits and writes the table."""

import os
import time
from collections.abc import Sequence
from typing import Any

from annelid.cases.run.interrupts import stoppable
from annelid.cases.run.memory import free_memory
from annelid.cases.studies.failure import Failure
from annelid.cases.studies.plan import Plan, PlannedRun
from annelid.cases.studies.plan_file import write_plan
from annelid.cases.studies.pool import Pool, Worker
from annelid.cases.studies.progress import StudyProgress
from annelid.cases.studies.search import next_plan
from annelid.cases.studies.settings import RunCounts, Settings
from annelid.cases.studies.single_run import Job, Reply
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import StudyTable
from annelid.cases.studies.task_queue import Task, TaskQueue
from annelid.cases.studies.write_error import write_error
from annelid.geometry.errors import AnnelidError
from annelid.geometry.writing import DiskFull
from annelid.results.folder.folder_files import REPORT

__all__ = ["run_study"]

_TICK = 0.25  # s between two checks of time and memory; replies are handled at once
_START_TIME_LIMIT, _MAX_FAILED_STARTS, _MAX_ATTEMPTS = 600.0, 3, 3
_RETAINED_FRACTION = 0.7  # a worker that retains more than this fraction of its memory limit is replaced
_TABLE_FRACTION, _TABLE_INTERVAL = 0.01, 2.0


def run_study(plan: Plan, store: Store, table: StudyTable, settings: Settings) -> RunCounts:
    """Do all runs that are not done yet, then write the missing reports.

    The caller must hold the lock of the study folder.

    Raises:
        DiskFull: The disk is full; finished runs are kept.
        KeyboardInterrupt: The user stopped the study; finished runs are kept.
    """
    driver = _Driver(plan, store, table, settings)
    with stoppable():
        try:
            return driver.run()
        except OSError as error:
            raise write_error(error, store.path) from error


class _Driver:
    def __init__(self, plan: Plan, store: Store, table: StudyTable, settings: Settings) -> None:
        study = plan.file.study
        self._plan, self._store, self._table = plan, store, table
        processors = len(os.sched_getaffinity(0))
        size = settings.workers or max(1, processors // plan.max_ranks)
        self._time = settings.time_limit or study.limits.time
        self._memory = settings.memory_limit or study.limits.memory or 0.9 * free_memory() / size
        self._pool = Pool(size, store.path / "workers", runner=settings.runner, memory=self._memory)
        self._queue = TaskQueue()
        self._size = size
        self._failed_starts = 0
        self._written = (time.monotonic(), 0.0)
        self._counts = RunCounts(len(plan.runs))

    def run(self) -> RunCounts:
        """Do all runs, then all reports."""
        try:
            self._queue_runs(self._plan.runs)
            self._work("runs")
            while (extended := next_plan(self._plan, self._store)) is not None:
                self._extend(extended)
                self._work("runs")
            if self._plan.file.study.output.reports:
                self._queue_reports()
                self._work("reports")
        finally:
            self._pool.close()
        return self._counts

    def _extend(self, plan: Plan) -> None:
        """Add the next points of a search."""
        new = plan.runs[len(self._plan.runs) :]
        with self._store.writing():
            write_plan(plan, self._store.path)
        self._plan = plan
        self._table.extend(plan)
        self._counts.total = len(plan.runs)
        self._queue_runs(new)

    def _queue_runs(self, runs: Sequence[PlannedRun]) -> None:
        study = self._plan.file.study
        self._store.forget_damaged(runs)
        for run in runs:
            state = self._store.state(run)
            if state == "finished":
                self._counts.done += 1
                self._queue.mark_compiled(run.kind)
            elif state == "failed":
                self._counts.failed += 1
            elif state == "running":
                self._counts.other_process += 1
            else:
                self._store.clear_run_folder(run)
                folder, surfaces = str(self._store.run_folder(run)), study.output.keep != "tables"
                job = Job("run", run.toml, folder, surfaces, run.ranks, stop_early=study.stops_early)
                self._queue.put(Task(run, job))

    def _queue_reports(self) -> None:
        for run in self._plan.runs:
            folder = self._store.run_folder(run)
            if self._store.state(run) == "finished" and not (folder / REPORT).exists():
                self._queue.put(Task(run, Job("report", "", str(folder))))

    def _work(self, what: str) -> None:
        total = len(self._queue)
        if not total:
            return
        with StudyProgress(what, self._size) as progress:
            while len(self._queue) or any(worker.task for worker in self._pool.workers):
                self._pool.start_workers(
                    len(self._queue) + sum(worker.task is not None for worker in self._pool.workers)
                )
                self._assign_tasks()
                for worker, replies, alive in self._pool.wait(_TICK):
                    for reply in replies:
                        self._handle_reply(worker, reply, progress)
                    if not alive:
                        self._handle_exit(worker, progress)
                self._enforce_limits()
                self._counts.running = sum(worker.task is not None for worker in self._pool.workers)
                progress.show(self._counts, len(self._queue) + self._counts.running, total)
                self._write_table()
        self._table.write()

    def _assign_tasks(self) -> None:
        for worker in self._pool.workers:
            if worker.idle:
                task = self._queue.next()
                if task is None:
                    return
                task.attempts += 1
                worker.assign(task, task.job)

    def _handle_reply(self, worker: Worker, reply: Reply, progress: StudyProgress) -> None:
        worker.measure_memory()
        task: Task = worker.task
        worker.task = None
        self._failed_starts = 0
        if reply.kind == "disk":
            raise DiskFull(write_error(OSError(28, reply.reason), self._store.path).message)
        if task.job.task == "report":
            if reply.kind != "done":
                progress.print(f"{task.run.id}: the report could not be written: {reply.reason}")
        elif reply.kind == "done":
            self._record_finished(task, worker.elapsed)
        elif reply.kind == "busy":
            self._counts.other_process += 1
            progress.print(f"{task.run.id}: {reply.reason}")
        else:
            self._record_failed(task, worker, reply.kind, reply.reason, progress)
        self._queue.mark_ended(task)
        # A run that failed because memory ran out may retain memory.
        if reply.kind == "memory" or worker.measure_memory() > _RETAINED_FRACTION * self._memory:
            worker.kill("replaced")

    def _record_finished(self, task: Task, seconds: float) -> None:
        self._store.delete_failure(task.run)
        self._queue.mark_compiled(task.kind)
        self._counts.done += 1
        self._counts.seconds.append(seconds)
        self._table.update(task.run)

    def _record_failed(
        self, task: Task, worker: Worker, kind: Any, reason: str, progress: StudyProgress
    ) -> None:
        if kind == "error":
            # The run replied, so its equations are compiled or cannot block the others.
            self._queue.mark_compiled(task.kind)
        advice = {
            "time limit": "; use --retry with a higher --time-limit",
            "memory": "; use --retry with a higher --memory-limit",
        }
        failure = Failure(
            kind, reason + advice.get(kind, ""), round(worker.elapsed, 2), round(worker.peak_memory, 1)
        )
        self._store.record_failure(task.run, failure)
        self._counts.failed += 1
        self._table.update(task.run)
        progress.print(f"{task.run.id} failed: {failure.reason}")

    def _handle_exit(self, worker: Worker, progress: StudyProgress) -> None:
        kind, reason = worker.reap()
        task: Task | None = worker.task
        if task is None:
            if not worker.ready:
                self._handle_failed_start(worker, reason)
            return
        self._queue.mark_ended(task)
        if worker.kill_reason:
            kind, reason = worker.kill_reason, worker.limit_reason(self._time, self._memory)
        if kind == "killed":
            if task.attempts < _MAX_ATTEMPTS:
                progress.print(f"{task.run.id}: {reason}; the run is repeated")
                self._queue.put_back(task)
                return
            kind, reason = "crash", f"{reason} {task.attempts} times; use --retry to repeat the run"
        if task.job.task == "report":
            progress.print(f"{task.run.id}: the report could not be written: {reason}")
        else:
            self._record_failed(task, worker, kind, reason, progress)

    def _handle_failed_start(self, worker: Worker, reason: str) -> None:
        self._failed_starts += 1
        if self._failed_starts >= _MAX_FAILED_STARTS:
            raise AnnelidError(f"workers do not start: {reason}. See {worker.log}; finished runs are kept")

    def _enforce_limits(self) -> None:
        """Kill workers that exceed the time or memory limit."""
        for worker in self._pool.workers:
            if worker.kill_reason or (worker.ready and worker.task is None):
                continue
            if worker.elapsed > (self._time if worker.ready else _START_TIME_LIMIT):
                worker.kill("time limit")
            elif worker.measure_memory() > self._memory and worker.ready:
                worker.kill("memory")

    def _write_table(self) -> None:
        """Write the table so rarely that writing takes at most 1 % of the time."""
        last, took = self._written
        begin = time.monotonic()
        if begin - last > max(_TABLE_INTERVAL, took / _TABLE_FRACTION) and self._table.changed:
            self._table.write()
            self._written = (time.monotonic(), time.monotonic() - begin)
