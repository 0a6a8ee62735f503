# SPDX-License-Identifier: MIT
"""The driver of a study on this machine: hands out runs, watches them, and keeps the table up to date."""

import os
import signal
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from annelid.cases.studies.plan import Plan, Planned
from annelid.cases.studies.plan_file import write_plan
from annelid.cases.studies.pool import Pool, Worker, free_memory
from annelid.cases.studies.progress import Progress, progress_for
from annelid.cases.studies.search import continued
from annelid.cases.studies.settings import Settings, Tally
from annelid.cases.studies.single_run import Job, Reply
from annelid.cases.studies.store import DiskFull, Failure, Store, words_for
from annelid.cases.studies.table import Table
from annelid.cases.studies.waiting import Task, Waiting
from annelid.geometry.errors import AnnelidError
from annelid.results.folder.folder_files import REPORT

__all__ = ["run_study"]

_TICK = 0.25  # seconds between looks at time and memory; answers are heard at once
_START_LIMIT, _STARTS, _ATTEMPTS = 600.0, 3, 3
_FULL = 0.7  # a worker that keeps so much of its memory after a run is replaced
_TABLE_SHARE, _TABLE_PAUSE = 0.01, 2.0


def run_study(plan: Plan, store: Store, table: Table, settings: Settings) -> Tally:
    """Run what is not done yet, then make the reports that are missing.

    Expects the lock of the store to be held.

    Raises:
        DiskFull: The disk is full; what is finished is safe.
        KeyboardInterrupt: The user stopped it; what is finished is safe.
    """
    driver = _Driver(plan, store, table, settings)
    with _stoppable():
        try:
            return driver.drive()
        except OSError as error:
            raise words_for(error, store.path) from error


@contextmanager
def _stoppable() -> Iterator[None]:
    """Take a request to end as Ctrl-C."""

    def stop(*_: Any) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


class _Driver:
    def __init__(self, plan: Plan, store: Store, table: Table, settings: Settings) -> None:
        study = plan.file.study
        self._plan, self._store, self._table = plan, store, table
        processors = len(os.sched_getaffinity(0))
        size = settings.workers or max(1, processors // plan.most_ranks)
        self._time = settings.time_limit or study.limits.time
        self._memory = settings.memory_limit or study.limits.memory or 0.9 * free_memory() / size
        self._pool = Pool(size, store.path / "workers", runner=settings.runner, memory=self._memory)
        self._waiting = Waiting()
        self._size = size
        self._bad_starts = 0
        self._written = (time.monotonic(), 0.0)
        self._tally = Tally(len(plan.runs))

    def drive(self) -> Tally:
        """Work through all runs, then all reports."""
        try:
            self._plan_runs(self._plan.runs)
            self._work("runs")
            while (longer := continued(self._plan, self._store)) is not None:
                self._lengthen(longer)
                self._work("runs")
            if self._plan.file.study.output.reports:
                self._plan_reports()
                self._work("reports")
        finally:
            self._pool.close()
        return self._tally

    def _lengthen(self, plan: Plan) -> None:
        """Take up what a search has chosen next."""
        new = plan.runs[len(self._plan.runs) :]
        with self._store.writing():
            write_plan(plan, self._store.path)
        self._plan = plan
        self._table.lengthen(plan)
        self._tally.total = len(plan.runs)
        self._plan_runs(new)

    def _plan_runs(self, runs: Sequence[Planned]) -> None:
        study = self._plan.file.study
        for run in runs:
            state = self._store.state(run)
            if state == "finished":
                self._tally.done += 1
                self._waiting.compiled(run.kind)
            elif state == "failed":
                self._tally.failed += 1
            elif state == "running":
                self._tally.elsewhere += 1
            else:
                self._store.make_way(run)
                folder, surfaces = str(self._store.run_folder(run)), study.output.keep != "tables"
                job = Job("run", run.toml, folder, surfaces, run.ranks, stop_early=study.stops_early)
                self._waiting.put(Task(run, job))

    def _plan_reports(self) -> None:
        for run in self._plan.runs:
            folder = self._store.run_folder(run)
            if self._store.state(run) == "finished" and not (folder / REPORT).exists():
                self._waiting.put(Task(run, Job("report", "", str(folder))))

    def _work(self, what: str) -> None:
        total = len(self._waiting)
        if not total:
            return
        with progress_for(what, self._size) as progress:
            while len(self._waiting) or any(worker.task for worker in self._pool.workers):
                self._pool.fill(
                    len(self._waiting) + sum(worker.task is not None for worker in self._pool.workers)
                )
                self._hand_out()
                for worker, replies, alive in self._pool.wait(_TICK):
                    for reply in replies:
                        self._answered(worker, reply, progress)
                    if not alive:
                        self._died(worker, progress)
                self._watch()
                self._tally.running = sum(worker.task is not None for worker in self._pool.workers)
                progress.show(self._tally, len(self._waiting) + self._tally.running, total)
                self._write_table()
        self._table.write()

    def _hand_out(self) -> None:
        for worker in self._pool.workers:
            if worker.idle:
                task = self._waiting.next()
                if task is None:
                    return
                task.attempts += 1
                worker.give(task, task.job)

    def _answered(self, worker: Worker, reply: Reply, progress: Progress) -> None:
        worker.memory()
        task: Task = worker.task
        worker.task = None
        self._bad_starts = 0
        if reply.kind == "disk":
            raise DiskFull(words_for(OSError(28, reply.reason), self._store.path).message)
        if task.job.task == "report":
            if reply.kind != "done":
                progress.say(f"{task.run.id}: no report could be made: {reply.reason}")
        elif reply.kind == "done":
            self._finished(task, worker.seconds)
        elif reply.kind == "busy":
            self._tally.elsewhere += 1
            progress.say(f"{task.run.id}: {reply.reason}")
        else:
            self._failed(task, worker, reply.kind, reply.reason, progress)
        self._waiting.ended(task)
        # What failed half-way for want of memory may hold it for ever.
        if reply.kind == "memory" or worker.memory() > _FULL * self._memory:
            worker.end("replaced")

    def _finished(self, task: Task, seconds: float) -> None:
        self._store.forget(task.run)
        self._waiting.compiled(task.kind)
        self._tally.done += 1
        self._tally.seconds.append(seconds)
        self._table.put(task.run)

    def _failed(self, task: Task, worker: Worker, kind: Any, reason: str, progress: Progress) -> None:
        if kind == "error":
            self._waiting.compiled(task.kind)  # it came to speak of itself, so its equations are no trouble
        advice = {
            "time limit": "; --time-limit gives more, with --retry",
            "memory": "; --memory-limit gives more, with --retry",
        }
        failure = Failure(
            kind, reason + advice.get(kind, ""), round(worker.seconds, 2), round(worker.peak, 1)
        )
        self._store.record(task.run, failure)
        self._tally.failed += 1
        self._table.put(task.run)
        progress.say(f"{task.run.id} failed: {failure.reason}")

    def _died(self, worker: Worker, progress: Progress) -> None:
        kind, reason = worker.bury()
        task: Task | None = worker.task
        if task is None:
            if not worker.ready:
                self._no_start(worker, reason)
            return
        self._waiting.ended(task)
        if worker.ended_for:
            kind, reason = worker.ended_for, self._limit_words(worker)
        if kind == "killed":
            if task.attempts < _ATTEMPTS:
                progress.say(f"{task.run.id}: {reason}; it is tried again")
                self._waiting.put_back(task)
                return
            kind, reason = "crash", f"{reason} {task.attempts} times; --retry tries again"
        if task.job.task == "report":
            progress.say(f"{task.run.id}: no report could be made: {reason}")
        else:
            self._failed(task, worker, kind, reason, progress)

    def _no_start(self, worker: Worker, reason: str) -> None:
        self._bad_starts += 1
        if self._bad_starts >= _STARTS:
            raise AnnelidError(f"workers do not start: {reason}. See {worker.log}; nothing finished is lost")

    def _limit_words(self, worker: Worker) -> str:
        if worker.ended_for == "time limit":
            return f"took longer than {self._time:g} s"
        return f"took {worker.peak:.0f} MB of memory, more than {self._memory:.0f} MB"

    def _watch(self) -> None:
        """End workers that take too long or too much."""
        for worker in self._pool.workers:
            if worker.ended_for or (worker.ready and worker.task is None):
                continue
            if worker.seconds > (self._time if worker.ready else _START_LIMIT):
                worker.end("time limit")
            elif worker.memory() > self._memory and worker.ready:
                worker.end("memory")

    def _write_table(self) -> None:
        """Write the table now and then, so that writing it takes one part in a hundred of the time."""
        last, took = self._written
        begin = time.monotonic()
        if begin - last > max(_TABLE_PAUSE, took / _TABLE_SHARE) and self._table.changed:
            self._table.write()
            self._written = (time.monotonic(), time.monotonic() - begin)
