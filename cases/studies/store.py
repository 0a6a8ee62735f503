# SPDX-License-Identifier: MIT
"""The study folder: what lies where, which runs are done, which failed and why.

The truth about a run is its Run folder, finished when its summary is there and its hash matches. A failure is
a small file of its own. So any number of kills leaves nothing that a second look cannot tell.
"""

import errno
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from annelid.cases.studies.plan import Planned
from annelid.geometry.errors import AnnelidError, InputError
from annelid.results.atomic import PART_SUFFIX, FolderLock, write_atomically
from annelid.results.folder.folder_files import (
    CASE,
    KIND,
    PROVENANCE,
    SUMMARY,
    now,
    read_json,
    status,
    write_json,
)

__all__ = ["DiskFull", "Failure", "State", "Store"]

State = Literal["finished", "failed", "running", "waiting"]
Kind = Literal["crash", "time limit", "memory", "error", "impossible"]
_RUNS, _FAILURES, _MARK = "runs", "failures", "study.json"
_KINDS = ("toml", "csv", "parquet", "html")
_STUDY_KIND = "annelid study"
_ROOM = 256 * 1024  # bytes that must be free: about what the tables of a run take


class DiskFull(AnnelidError):
    """The disk is full: no fault of the run that met it."""


@dataclass(frozen=True)
class Failure:
    """Why a run gave no result.

    Attributes:
        kind: What happened.
        reason: In words, with what to do.
        seconds: How long it had run.
        memory: Largest memory seen, in MB.
    """

    kind: Kind
    reason: str
    seconds: float = 0.0
    memory: float = 0.0


class Store:
    """A study folder.

    Attributes:
        path: The folder.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def create(self, text: str, title: str) -> None:
        """Make the folder, or make sure that it is a study folder that can be written.

        Raises:
            InputError: It is something else, or cannot be written.
        """
        mark = read_json(self.path / _MARK)
        if self.path.exists() and mark is None and not self._is_blank():
            raise InputError(
                f"study folder {self.path}: exists and is no study folder; nothing was written. "
                "Choose another with --out",
                key="--out",
            )
        with self.writing():
            for folder in (self.path, self.path / _RUNS, self.path / _FAILURES):
                folder.mkdir(parents=True, exist_ok=True)
            if mark is None or mark.get("kind") != _STUDY_KIND:
                write_json(self.path / _MARK, {"kind": _STUDY_KIND, "format": 1, "title": title})
            write_atomically(self.path / "study.toml", text)
        self.probe()

    def probe(self) -> None:
        """Make sure that the folder can be written and the disk has room for a run.

        Raises:
            DiskFull: It has none.
            InputError: The folder cannot be written.
        """
        probe = self.path / f".probe.{os.getpid()}{PART_SUFFIX}"
        with self.writing():
            try:
                probe.write_bytes(bytes(_ROOM))
            finally:
                probe.unlink(missing_ok=True)

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Hold the folder against other drivers.

        Raises:
            InputError: Another one that is alive, or may be, works in it.
        """
        lock = FolderLock(self.path)
        try:
            with self.writing():
                lock.acquire()
        except InputError as error:
            holder = error.data
            if "pid" not in holder:
                raise
            raise InputError(
                f"study folder {self.path}: process {holder['pid']} on {holder['host']} works on this study. "
                f"Wait for it, or stop it first; if it is surely gone, delete {lock.path}",
                **holder,
            ) from None
        try:
            yield
        finally:
            lock.release()

    def run_folder(self, run: Planned) -> Path:
        """Run folder of a run."""
        return self.path / _RUNS / run.id

    def state(self, run: Planned) -> State:
        """How far a run is, told from the disk alone.

        Returns:
            ``"finished"``, ``"running"`` (a process that may be alive holds the Run folder), ``"failed"``
            or ``"waiting"``, which includes runs that were begun and not ended.
        """
        if self.summary(run) is not None:
            return "finished"
        if self.holder(run) is not None:
            return "running"
        return "failed" if self.failure(run) is not None else "waiting"

    def holder(self, run: Planned) -> dict[str, object] | None:
        """Who works on a run: ``"pid"`` and ``"host"``; ``None`` if surely nobody does."""
        return FolderLock(self.run_folder(run)).holder()

    def begun(self, run: Planned) -> bool:
        """Whether a run was begun and not ended."""
        return self.summary(run) is None and (self.run_folder(run) / PROVENANCE).exists()

    def summary(self, run: Planned) -> dict[str, Any] | None:
        """Summary of a finished run; ``None`` if it is not finished or its summary is damaged."""
        found = read_json(self.run_folder(run) / SUMMARY)
        if found is None or found.get("case_hash") != run.hash:
            return None
        whole = isinstance(found.get("outcome"), dict) and isinstance(found.get("verdicts"), list)
        return found if whole and "final_state" in found else None

    def failure(self, run: Planned) -> Failure | None:
        """Why a run failed; ``None`` if it did not."""
        if not run.toml:
            return Failure("impossible", run.problem)
        found = read_json(self._failure_file(run))
        if found is None or found.get("case_hash") != run.hash:
            return None
        try:
            return Failure(**{key: found[key] for key in ("kind", "reason", "seconds", "memory")})
        except KeyError:
            return None

    def record(self, run: Planned, failure: Failure) -> None:
        """Keep why a run failed."""
        with self.writing():
            write_json(self._failure_file(run), {"case_hash": run.hash, **asdict(failure), "when": now()})

    def forget(self, run: Planned) -> None:
        """Drop the record of a failure, so that the run is tried again."""
        with self.writing():
            self._failure_file(run).unlink(missing_ok=True)

    def make_way(self, run: Planned) -> None:
        """Prepare the place of a run: a damaged folder of ours is emptied, a stranger's is refused.

        Raises:
            InputError: Something else lies there.
        """
        folder = self.run_folder(run)
        found = status(folder, run.hash)
        if found == "finished":  # by its hash alone, with a summary that says nothing
            (folder / SUMMARY).unlink(missing_ok=True)
        elif found == "not a run folder":
            broken = (folder / CASE).exists() or (folder / PROVENANCE).exists()
            if not broken or (read_json(folder / PROVENANCE) or {}).get("kind", KIND) != KIND:
                raise InputError(f"{folder}: is not a Run folder; move it away and start the study again")
            shutil.rmtree(folder)

    def unknown_folders(self, runs: tuple[Planned, ...]) -> int:
        """Number of Run folders that belong to no run of the study as it is now."""
        mine = {run.id for run in runs}
        folder = self.path / _RUNS
        return sum(entry.name not in mine for entry in folder.iterdir()) if folder.is_dir() else 0

    def _failure_file(self, run: Planned) -> Path:
        return self.path / _FAILURES / f"{run.id}.json"

    def _is_blank(self) -> bool:
        if not self.path.is_dir():
            return False
        ours = {_RUNS, _FAILURES, _MARK, "workers", "plan.jsonl", *(f"study.{kind}" for kind in _KINDS)}
        names = {p.name for p in self.path.iterdir() if not p.name.startswith(".")}
        return names <= ours

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Turn what the system says about the disk into words that tell what to do."""
        try:
            yield
        except OSError as error:
            raise words_for(error, self.path) from error


def words_for(error: OSError, folder: Path) -> AnnelidError:
    """What a failure to write means for the user."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return DiskFull(
            f"study folder {folder}: the disk is full. What is finished is safe; free some space, "
            "then start the same command again"
        )
    return InputError(
        f"study folder {folder}: cannot be written ({error.strerror or error}); nothing finished is lost. "
        "Make it writable, or choose another with --out",
        key="--out",
    )
