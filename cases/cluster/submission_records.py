# SPDX-License-Identifier: MIT
"""The folder ``slurm`` of a study: tasks of the job arrays, numbers of jobs, and attempts at runs.

``slurm/0003`` is a job array: ``batch.json`` lists its runs, ``0.json`` … are its tasks, and ``job`` contains
its number after submission. ``slurm/attempts/RUN.json`` is the last attempt at a run, written on its node.
"""

import json
import socket
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from annelid.geometry.errors import AnnelidError
from annelid.results.atomic import FolderLock, write_atomically
from annelid.results.folder.folder_files import read_json, utc_now, write_json

__all__ = ["ArrayRecord", "ArrayTask", "Attempt", "Records", "remove_lock_of"]

_FOLDER, _ATTEMPTS, _LIST, _JOB = "slurm", "attempts", "batch.json", "job"
_SITE, _CANCELLED = "site.toml", "cancelled"
COLLECTOR = "collector"


@dataclass(frozen=True)
class ArrayTask:
    """One task of a job array: a run with its limits.

    Attributes:
        id: Id of the run.
        hash: Hash of its resolved case.
        toml: The resolved case.
        ranks: Number of ranks.
        seconds: Time limit.
        megabytes: Memory limit of all ranks together.
        surfaces: Whether the deformed surfaces are kept.
        report: Whether a report is written.
        launcher: Command that starts several ranks; empty for mpiexec.
        stop_early: Whether the run ends with a stage whose requirement it misses.
    """

    id: str
    hash: str
    toml: str
    ranks: int
    seconds: float
    megabytes: float
    surfaces: bool
    report: bool
    launcher: tuple[str, ...] = ()
    stop_early: bool = False


@dataclass(frozen=True)
class Attempt:
    """The last attempt at a run.

    Attributes:
        id: Id of the run.
        job: Number of the job of the whole array.
        index: Index in the array.
        host: Node.
        began: Start time in UTC.
        seconds: Time limit.
        megabytes: Memory limit.
        ended: ``"done"``, ``"failed"`` or ``"stopped"``; ``""`` while it runs, or if its node went down.
    """

    id: str
    job: str
    index: str
    host: str
    began: str
    seconds: float
    megabytes: float
    ended: str = ""


@dataclass(frozen=True)
class ArrayRecord:
    """A job array on disk.

    Attributes:
        folder: Its folder.
        runs: Ids of its runs, in the order of the array.
        job: Number of its job; ``None`` if this program did not submit it.
    """

    folder: Path
    runs: tuple[str, ...]
    job: str | None


class Records:
    """The folder ``slurm`` of a study folder.

    Attributes:
        path: The folder.
    """

    def __init__(self, study: Path) -> None:
        self.path = study / _FOLDER

    def write_array(self, tasks: Sequence[ArrayTask]) -> ArrayRecord:
        """Write the tasks of an array into a new folder."""
        (self.path / _ATTEMPTS).mkdir(parents=True, exist_ok=True)
        numbers = [int(array.folder.name) for array in self.arrays()]
        folder = self.path / f"{max(numbers, default=0) + 1:04d}"
        folder.mkdir()
        for index, task in enumerate(tasks):
            write_json(folder / f"{index}.json", asdict(task))
        write_json(folder / _LIST, {"runs": [task.id for task in tasks]})
        return ArrayRecord(folder, tuple(task.id for task in tasks), None)

    def arrays(self) -> list[ArrayRecord]:
        """All arrays, oldest first."""
        found = []
        for folder in sorted(self.path.glob("[0-9][0-9][0-9][0-9]*")):
            runs = (read_json(folder / _LIST) or {}).get("runs", [])
            found.append(ArrayRecord(folder, tuple(map(str, runs)), _job_in(folder)))
        return found

    def record_job(self, folder: Path, job: str) -> None:
        """Record the number of a job."""
        write_atomically(folder / _JOB, f"{job}\n")

    def jobs(self) -> list[str]:
        """Numbers of all jobs, including the collector."""
        folders = [array.folder for array in self.arrays()] + [self.path / COLLECTOR]
        return [job for folder in folders if (job := _job_in(folder)) is not None]

    def jobs_in(self, queue: Iterable[tuple[str, str]]) -> list[str]:
        """Numbers of the jobs that are in a queue, given by number of the job and index in its array."""
        queued = {job for job, _ in queue}
        return [job for job in self.jobs() if job in queued]

    def collector_job(self) -> str | None:
        """Number of the last collector job."""
        return _job_in(self.path / COLLECTOR)

    @property
    def site_file(self) -> Path:
        """Copy of the site file, with which a search continues."""
        return self.path / _SITE

    @property
    def cancelled(self) -> bool:
        """Whether the study was cancelled after its last submission."""
        return (self.path / _CANCELLED).exists()

    def record_submission(self, site: str) -> None:
        """Record that the study is submitted, and the text of its site file."""
        (self.path / _ATTEMPTS).mkdir(parents=True, exist_ok=True)
        write_atomically(self.site_file, site)
        (self.path / _CANCELLED).unlink(missing_ok=True)

    def record_cancellation(self) -> None:
        """Record that the study is cancelled, so that a running job submits no further ones."""
        if self.path.is_dir():
            write_atomically(self.path / _CANCELLED, "")

    def read_task(self, array: str, index: str) -> ArrayTask:
        """Read a task of a job array.

        Raises:
            AnnelidError: There is no such task, or it is damaged.
        """
        path = self.path / array / f"{index}.json"
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
            return ArrayTask(**{**found, "launcher": tuple(found["launcher"])})
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise AnnelidError(f"{path}: is not a valid task ({error}); submit the study again") from None

    def start_attempt(self, task: ArrayTask, job: str, index: str, host: str) -> Attempt:
        """Record the start of an attempt."""
        attempt = Attempt(task.id, job, index, host, utc_now(), task.seconds, task.megabytes)
        self.save_attempt(attempt)
        return attempt

    def save_attempt(self, attempt: Attempt) -> None:
        """Write an attempt."""
        write_json(self.path / _ATTEMPTS / f"{attempt.id}.json", asdict(attempt))

    def attempt(self, run: str) -> Attempt | None:
        """The last attempt at a run; ``None`` if there was none."""
        found = read_json(self.path / _ATTEMPTS / f"{run}.json")
        try:
            return Attempt(**found) if found else None
        except TypeError:
            return None


def remove_lock_of(run_folder: Path, host: str) -> None:
    """Remove the lock that a process on another host left in a Run folder.

    Call it only if the job on that host is known to have ended, since this host cannot check its processes.
    """
    lock = FolderLock(run_folder).path
    holder = read_json(lock) or {}
    if holder.get("host") == host != socket.gethostname():
        lock.unlink(missing_ok=True)


def _job_in(folder: Path) -> str | None:
    try:
        return (folder / _JOB).read_text(encoding="utf-8").strip() or None
    except OSError:
        return None
