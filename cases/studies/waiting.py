# SPDX-License-Identifier: MIT
"""Runs that wait: those of a kind whose equations are not compiled yet go one at a time."""

from collections import deque
from dataclasses import dataclass

from annelid.cases.studies.plan import Planned
from annelid.cases.studies.single_run import Job

__all__ = ["Task", "Waiting"]


@dataclass
class Task:
    """Something to do for a run.

    Attributes:
        run: The run.
        job: What to do.
        attempts: How often it was handed out.
    """

    run: Planned
    job: Job
    attempts: int = 0

    @property
    def kind(self) -> str:
        """What decides which equations are compiled."""
        return self.run.kind if self.job.task == "run" else "report"


class Waiting:
    """Tasks that wait, in order within each kind."""

    def __init__(self) -> None:
        self._tasks: dict[str, deque[Task]] = {}
        self._warm = {"report"}
        self._leader: Task | None = None

    def __len__(self) -> int:
        return sum(map(len, self._tasks.values()))

    def put(self, task: Task) -> None:
        """Add a task."""
        self._tasks.setdefault(task.kind, deque()).append(task)

    def put_back(self, task: Task) -> None:
        """Add a task that was handed out already; it is the next of its kind."""
        self._tasks.setdefault(task.kind, deque()).appendleft(task)

    def compiled(self, kind: str) -> None:
        """Say that the equations of a kind are compiled."""
        self._warm.add(kind)

    def ended(self, task: Task) -> None:
        """Say that a task is no longer at work."""
        if self._leader is task:
            self._leader = None

    def next(self) -> Task | None:
        """A task that compiles new equations if none does so now, else one whose equations are compiled."""
        cold = [kind for kind, tasks in self._tasks.items() if tasks and kind not in self._warm]
        if cold and self._leader is None:
            self._leader = self._tasks[cold[0]].popleft()
            return self._leader
        return next((t.popleft() for kind, t in self._tasks.items() if t and kind in self._warm), None)
