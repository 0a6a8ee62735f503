# SPDX-License-Identifier: MIT
"""What lies in the folder ``slurm`` of a study: orders for the nodes, numbers of jobs, what each try left.

``slurm/0003`` is an array: ``batch.json`` lists its runs, ``0.json`` … are the orders, ``job`` holds its
number once it is submitted. ``slurm/attempts/RUN.json`` is the last try of a run, written on its node.
"""

import json
import socket
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from annelid.geometry.errors import AnnelidError
from annelid.results.atomic import FolderLock, write_atomically
from annelid.results.folder.folder_files import now, read_json, write_json

__all__ = ["Attempt", "Batch", "Order", "Records", "drop_lock_of"]

_FOLDER, _ATTEMPTS, _LIST, _JOB = "slurm", "attempts", "batch.json", "job"
_SITE, _CANCELLED = "site.toml", "cancelled"
COLLECTOR = "collector"


@dataclass(frozen=True)
class Order:
    """One run for a node to do.

    Attributes:
        id: The run.
        hash: Hash of its resolved case.
        toml: The resolved case.
        ranks: Processors.
        seconds: Time it may take.
        megabytes: Memory it may take, all ranks together.
        surfaces: Whether deformed surfaces are kept.
        report: Whether a report is made.
        launcher: What starts several ranks; empty for mpiexec.
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
    """The last try of a run.

    Attributes:
        id: The run.
        job: Number of the job, of the whole array.
        index: Number in the array.
        host: Node.
        began: When, in UTC.
        seconds: Time it was given.
        megabytes: Memory it was given.
        ended: ``"done"``, ``"failed"``, ``"stopped"``; ``""`` while it goes on or none was left to say.
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
class Batch:
    """An array as written.

    Attributes:
        folder: Its folder.
        runs: Ids of its runs, in the order of the array.
        job: Number of its job; ``None`` if it was not submitted by this program.
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

    def new_batch(self, orders: Sequence[Order]) -> Batch:
        """Write the orders of an array into a new folder."""
        (self.path / _ATTEMPTS).mkdir(parents=True, exist_ok=True)
        numbers = [int(batch.folder.name) for batch in self.batches()]
        folder = self.path / f"{max(numbers, default=0) + 1:04d}"
        folder.mkdir()
        for index, order in enumerate(orders):
            write_json(folder / f"{index}.json", asdict(order))
        write_json(folder / _LIST, {"runs": [order.id for order in orders]})
        return Batch(folder, tuple(order.id for order in orders), None)

    def batches(self) -> list[Batch]:
        """All arrays, oldest first."""
        found = []
        for folder in sorted(self.path.glob("[0-9][0-9][0-9][0-9]*")):
            runs = (read_json(folder / _LIST) or {}).get("runs", [])
            found.append(Batch(folder, tuple(map(str, runs)), _job_in(folder)))
        return found

    def submitted(self, folder: Path, job: str) -> None:
        """Keep the number of a job."""
        write_atomically(folder / _JOB, f"{job}\n")

    def jobs(self) -> list[str]:
        """Numbers of all jobs, the collector's too."""
        folders = [batch.folder for batch in self.batches()] + [self.path / COLLECTOR]
        return [job for folder in folders if (job := _job_in(folder)) is not None]

    def jobs_in(self, queue: Iterable[tuple[str, str]]) -> list[str]:
        """Those of all jobs that are in a queue, given by number of the job and number in its array."""
        present = {job for job, _ in queue}
        return [job for job in self.jobs() if job in present]

    def collector_job(self) -> str | None:
        """Number of the last job that collects."""
        return _job_in(self.path / COLLECTOR)

    @property
    def site(self) -> Path:
        """The site file that a search goes on with."""
        return self.path / _SITE

    @property
    def cancelled(self) -> bool:
        """Whether the study was taken out of the queue since it was last handed in."""
        return (self.path / _CANCELLED).exists()

    def hand_in(self, site: str) -> None:
        """Keep that the study is handed in, and the text of the site file."""
        (self.path / _ATTEMPTS).mkdir(parents=True, exist_ok=True)
        write_atomically(self.site, site)
        (self.path / _CANCELLED).unlink(missing_ok=True)

    def cancel(self) -> None:
        """Keep that the study is taken out of the queue, for a job that is about to hand in more."""
        if self.path.is_dir():
            write_atomically(self.path / _CANCELLED, "")

    def order(self, batch: str, index: str) -> Order:
        """Read an order.

        Raises:
            AnnelidError: There is none, or it is damaged.
        """
        path = self.path / batch / f"{index}.json"
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
            return Order(**{**found, "launcher": tuple(found["launcher"])})
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise AnnelidError(f"{path}: holds no order ({error}); submit the study again") from None

    def begin(self, order: Order, job: str, index: str, host: str) -> Attempt:
        """Keep that a try begins."""
        attempt = Attempt(order.id, job, index, host, now(), order.seconds, order.megabytes)
        self.keep(attempt)
        return attempt

    def keep(self, attempt: Attempt) -> None:
        """Write a try."""
        write_json(self.path / _ATTEMPTS / f"{attempt.id}.json", asdict(attempt))

    def attempt(self, run: str) -> Attempt | None:
        """The last try of a run; ``None`` if there was none."""
        found = read_json(self.path / _ATTEMPTS / f"{run}.json")
        try:
            return Attempt(**found) if found else None
        except TypeError:
            return None


def drop_lock_of(run_folder: Path, host: str) -> None:
    """Remove the lock that a process on another host left in a Run folder.

    Only for a host whose job is known to have ended: this one cannot look whether a process lives there.
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
