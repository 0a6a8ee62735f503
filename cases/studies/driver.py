# SPDX-License-Identifier: MIT
"""The driver of a study on this machine: hands out runs, watches them, and keeps the table up to date."""

import os
import signal
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from cases.studies.one import Job, Reply
from cases.studies.plan import Plan, Planned
from cases.studies.pool import Pool, Worker, free_memory
from cases.studies.progress import Progress, progress_for
from cases.studies.store import DiskFull, Failure, Store, words_for
from cases.studies.table import Table
from geometry.errors import AnnelidError
from results.folder_files import REPORT

__all__ = ["Settings", "Tally", "run_study"]

_RUNNER = "cases.studies.one"
_TICK = 0.25  # seconds between looks at time and memory; answers are heard at once
_START_LIMIT, _STARTS, _ATTEMPTS = 600.0, 3, 2
_FULL = 0.7  # a worker that keeps so much of its memory after a run is replaced
_TABLE_SHARE, _TABLE_PAUSE = 0.01, 2.0


@dataclass(frozen=True)
class Settings:
    """How a study is run on this machine.

    Attributes:
        workers: Processes at a time; 0 for one a processor and rank.
        time_limit: Seconds a run may take; ``None`` as the study says.
        memory_limit: MB a run may take; ``None`` as the study says.
        runner: Module whose ``run_one`` does a job.
    """

    workers: int = 0
    time_limit: float | None = None
    memory_limit: float | None = None
    runner: str = _RUNNER


@dataclass
class Tally:
    """How far a study is.

    Attributes:
        total: Runs of the study.
        done: Finished runs.
        failed: Runs that failed.
        elsewhere: Runs that a process of somebody else works on.
        running: Runs at work now.
        seconds: Time of each run that was finished here.
    """

    total: int
    done: int = 0
    failed: int = 0
    elsewhere: int = 0
    running: int = 0
    seconds: list[float] = field(default_factory=list)


@dataclass
class _Task:
    run: Planned
    job: Job
    attempts: int = 0

    @property
    def kind(self) -> str:
        return self.run.kind if self.job.task == "run" else "report"


def run_study(plan: Plan, store: Store, table: Table, settings: Settings = Settings()) -> Tally:
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
        self._waiting: dict[str, deque[_Task]] = {}
        self._warm = {"report"}
        self._leader: _Task | None = None
        self._size = size
        self._bad_starts = 0
        self._written = (time.monotonic(), 0.0)
        self._tally = Tally(len(plan.runs))

    def drive(self) -> Tally:
        """Work through all runs, then all reports."""
        try:
            self._plan_runs()
            self._work("runs")
            if self._plan.file.study.output.reports:
                self._plan_reports()
                self._work("reports")
        finally:
            self._pool.close()
        return self._tally

    def _plan_runs(self) -> None:
        study = self._plan.file.study
        for run in self._plan.runs:
            state = self._store.state(run)
            if state == "finished":
                self._tally.done += 1
                self._warm.add(run.kind)
            elif state == "failed":
                self._tally.failed += 1
            elif state == "running":
                self._tally.elsewhere += 1
            else:
                self._store.make_way(run)
                folder = str(self._store.run_folder(run))
                job = Job("run", run.toml, folder, study.output.keep != "tables", run.ranks)
                self._put(_Task(run, job))

    def _plan_reports(self) -> None:
        for run in self._plan.runs:
            folder = self._store.run_folder(run)
            if self._store.state(run) == "finished" and not (folder / REPORT).exists():
                self._put(_Task(run, Job("report", "", str(folder))))

    def _put(self, task: _Task) -> None:
        self._waiting.setdefault(task.kind, deque()).append(task)

    def _left(self) -> int:
        return sum(map(len, self._waiting.values()))

    def _work(self, what: str) -> None:
        total = self._left()
        if not total:
            return
        with progress_for(what, self._size) as progress:
            while self._left() or any(worker.task for worker in self._pool.workers):
                self._pool.fill(self._left() + sum(worker.task is not None for worker in self._pool.workers))
                self._hand_out()
                for worker, replies, alive in self._pool.wait(_TICK):
                    for reply in replies:
                        self._answered(worker, reply, progress)
                    if not alive:
                        self._died(worker, progress)
                self._watch()
                self._tally.running = sum(worker.task is not None for worker in self._pool.workers)
                progress.show(self._tally, self._left() + self._tally.running, total)
                self._write_table()
        self._table.write()

    def _hand_out(self) -> None:
        for worker in self._pool.workers:
            if worker.idle:
                task = self._next()
                if task is None:
                    return
                task.attempts += 1
                worker.give(task, task.job)

    def _next(self) -> _Task | None:
        """A run that compiles new equations if none does so now, else one whose equations are compiled."""
        cold = [k for k, tasks in self._waiting.items() if tasks and k not in self._warm]
        if cold and self._leader is None:
            self._leader = self._waiting[cold[0]].popleft()
            return self._leader
        return next((t.popleft() for k, t in self._waiting.items() if t and k in self._warm), None)

    def _answered(self, worker: Worker, reply: Reply, progress: Progress) -> None:
        worker.memory()
        task: _Task = worker.task
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
        if self._leader is task:
            self._leader = None
        # What failed half-way for want of memory may hold it for ever.
        if reply.kind == "memory" or worker.memory() > _FULL * self._memory:
            worker.end("replaced")

    def _finished(self, task: _Task, seconds: float) -> None:
        self._store.forget(task.run)
        self._warm.add(task.kind)
        self._tally.done += 1
        self._tally.seconds.append(seconds)
        self._table.put(task.run)

    def _failed(self, task: _Task, worker: Worker, kind: Any, reason: str, progress: Progress) -> None:
        if kind == "error":
            self._warm.add(task.kind)  # it came to speak of itself, so its equations are no trouble
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
        task: _Task | None = worker.task
        if task is None:
            if not worker.ready:
                self._no_start(worker, reason)
            return
        if self._leader is task:
            self._leader = None
        if worker.ended_for:
            kind, reason = worker.ended_for, self._limit_words(worker)
        if kind == "killed":
            if task.attempts < _ATTEMPTS:
                progress.say(f"{task.run.id}: {reason}; it is tried once more")
                self._waiting.setdefault(task.kind, deque()).appendleft(task)
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
