# SPDX-License-Identifier: MIT
"""The queue of tasks; tasks whose equations are not compiled yet go one at a time."""

from collections import deque
from dataclasses import dataclass

from annelid.cases.studies.plan import PlannedRun
from annelid.cases.studies.single_run import Job

__all__ = ["Task", "TaskQueue"]


@dataclass
class Task:
    """A task for a worker: a run or its report.

    Attributes:
        run: The run.
        job: What to do.
        attempts: How often it was assigned to a worker.
    """

    run: PlannedRun
    job: Job
    attempts: int = 0

    @property
    def kind(self) -> str:
        """Tasks of one kind share their compiled equations."""
        return self.run.kind if self.job.task == "run" else "report"


class TaskQueue:
    """Queued tasks, in order within each kind."""

    def __init__(self) -> None:
        self._tasks: dict[str, deque[Task]] = {}
        self._compiled = {"report"}
        self._compiling: Task | None = None

    def __len__(self) -> int:
        return sum(map(len, self._tasks.values()))

    def put(self, task: Task) -> None:
        """Add a task."""
        self._tasks.setdefault(task.kind, deque()).append(task)

    def put_back(self, task: Task) -> None:
        """Add a task that was assigned before; it becomes the next one of its kind."""
        self._tasks.setdefault(task.kind, deque()).appendleft(task)

    def mark_compiled(self, kind: str) -> None:
        """Note that the equations of a kind are compiled."""
        self._compiled.add(kind)

    def mark_ended(self, task: Task) -> None:
        """Note that no worker works on a task any more."""
        if self._compiling is task:
            self._compiling = None

    def next(self) -> Task | None:
        """A task that compiles new equations if none does so now, else one whose equations are compiled."""
        new = [kind for kind, tasks in self._tasks.items() if tasks and kind not in self._compiled]
        if new and self._compiling is None:
            self._compiling = self._tasks[new[0]].popleft()
            return self._compiling
        return next((t.popleft() for kind, t in self._tasks.items() if t and kind in self._compiled), None)
