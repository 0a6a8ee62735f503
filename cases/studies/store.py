# SPDX-License-Identifier: MIT
"""The study folder: where its files are, which runs are finished, which failed and why.

A run is finished if its Run folder has a summary with the hash of the run; a failure is a small file of its
own. So the state of every run follows from the disk, whichever process was killed.
"""

import os
import shutil
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any, Literal

from annelid.cases.studies.failure import Failure
from annelid.cases.studies.plan import PlannedRun
from annelid.cases.studies.write_error import write_error
from annelid.geometry.errors import InputError
from annelid.geometry.writing import PART_SUFFIX
from annelid.results.atomic import FolderLock, write_atomically
from annelid.results.folder.digests import read_sealed
from annelid.results.folder.folder_files import (
    CASE,
    FOLDER_KIND,
    PROVENANCE,
    SUMMARY,
    read_json,
    remove,
    status,
    utc_now,
    write_json,
)
from annelid.results.folder.run_record import open_run

__all__ = ["RunState", "Store"]

RunState = Literal["finished", "failed", "running", "waiting"]
_RUNS, _FAILURES, _MARKER = "runs", "failures", "study.json"
_SUFFIXES = ("toml", "csv", "parquet", "html")
_STUDY_KIND = "annelid study"
_FREE_BYTES = 256 * 1024  # about the size of the tables of a run


class Store:
    """A study folder.

    Attributes:
        path: The folder.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def create(self, text: str, title: str) -> None:
        """Create the folder, or check that it is a study folder that can be written.

        Raises:
            InputError: It is not a study folder, or cannot be written.
        """
        marker = read_json(self.path / _MARKER)
        if self.path.exists() and marker is None and not self._has_only_own_files():
            raise InputError(
                f"study folder {self.path}: exists and is not a study folder; nothing was written. "
                "Choose another one with --out",
                key="--out",
            )
        with self.writing():
            for folder in (self.path, self.path / _RUNS, self.path / _FAILURES):
                folder.mkdir(parents=True, exist_ok=True)
            if marker is None or marker.get("kind") != _STUDY_KIND:
                write_json(self.path / _MARKER, {"kind": _STUDY_KIND, "format": 1, "title": title})
            write_atomically(self.path / "study.toml", text)
        self.check_writable()

    def check_writable(self) -> None:
        """Check that the folder can be written and the disk has space for a run.

        Raises:
            DiskFull: The disk is full.
            InputError: The folder cannot be written.
        """
        probe = self.path / f".probe.{os.getpid()}{PART_SUFFIX}"
        with self.writing():
            try:
                probe.write_bytes(bytes(_FREE_BYTES))
            finally:
                probe.unlink(missing_ok=True)

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Hold the lock of the folder, so that no other driver works in it.

        Raises:
            InputError: Another driver works in it, or may do so.
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
                f"Wait for it, or stop it first; if that process no longer exists, delete {lock.path}",
                **holder,
            ) from None
        try:
            yield
        finally:
            lock.release()

    def run_folder(self, run: PlannedRun) -> Path:
        """Run folder of a run."""
        return self.path / _RUNS / run.id

    def state(self, run: PlannedRun) -> RunState:
        """State of a run, from the disk alone.

        Returns:
            ``"finished"``, ``"running"`` (a process that may be alive has locked the Run folder),
            ``"failed"`` or ``"waiting"``, also for a run that was interrupted.
        """
        if self.summary(run) is not None:
            return "finished"
        if self.lock_holder(run) is not None:
            return "running"
        return "failed" if self.failure(run) is not None else "waiting"

    def lock_holder(self, run: PlannedRun) -> dict[str, object] | None:
        """Process that works on a run, as ``"pid"`` and ``"host"``; ``None`` if there certainly is none."""
        return FolderLock(self.run_folder(run)).holder()

    def was_interrupted(self, run: PlannedRun) -> bool:
        """Whether a run was started and has neither finished nor failed."""
        return self.summary(run) is None and (self.run_folder(run) / PROVENANCE).exists()

    def summary(self, run: PlannedRun) -> dict[str, Any] | None:
        """Summary of a finished run; ``None`` if it is not finished or its summary is damaged."""
        try:
            found = read_sealed(self.run_folder(run) / SUMMARY)
        except InputError:
            return None
        return found if found["case_hash"] == run.hash else None

    def check(self, run: PlannedRun) -> None:
        """Check that the files of a finished run, except its fields, are those that the run wrote.

        Raises:
            InputError: A file is damaged.
        """
        folder = self.run_folder(run)
        if os.path.lexists(folder / SUMMARY):
            open_run(folder, with_fields=False)

    def forget_damaged(self, runs: Iterable[PlannedRun]) -> None:
        """Remove the summaries of finished runs with damaged files, so that they are repeated, and say so."""
        for run in runs:
            try:
                self.check(run)
            except InputError as error:
                with self.writing():
                    remove(self.run_folder(run) / SUMMARY)
                text = f"{run.id}: {error.data.get('problem', error.message)}; the run is repeated"
                print(text, file=sys.stderr)

    def failure(self, run: PlannedRun) -> Failure | None:
        """Why a run failed; ``None`` if it has not failed, or if its record is damaged."""
        if not run.toml:
            return Failure("impossible", run.problem)
        found = read_json(self._failure_file(run))
        if found is None or found.get("case_hash") != run.hash:
            return None
        try:
            numbers = float(found["seconds"]), float(found["memory"])
            return Failure(found["kind"], str(found["reason"]), *numbers)
        except (KeyError, TypeError, ValueError):
            return None

    def record_failure(self, run: PlannedRun, failure: Failure) -> None:
        """Record why a run failed."""
        with self.writing():
            write_json(self._failure_file(run), {"case_hash": run.hash, **asdict(failure), "when": utc_now()})

    def delete_failure(self, run: PlannedRun) -> None:
        """Delete the record of a failure, so that the run is repeated."""
        with self.writing():
            self._failure_file(run).unlink(missing_ok=True)

    def clear_run_folder(self, run: PlannedRun) -> None:
        """Prepare the folder of a run: delete a damaged Run folder, keep an interrupted one.

        Raises:
            InputError: The folder exists and is not a Run folder.
        """
        folder = self.run_folder(run)
        found = status(folder, run.hash)
        if found == "finished":  # the hash matches, but the summary is damaged
            remove(folder / SUMMARY)
        elif found == "not a run folder":
            broken = (folder / CASE).exists() or (folder / PROVENANCE).exists()
            if not broken or (read_json(folder / PROVENANCE) or {}).get("kind", FOLDER_KIND) != FOLDER_KIND:
                raise InputError(f"{folder}: is not a Run folder; move it away and start the study again")
            shutil.rmtree(folder)

    def count_other_folders(self, runs: tuple[PlannedRun, ...]) -> int:
        """Number of Run folders that belong to none of the given runs."""
        ids = {run.id for run in runs}
        folder = self.path / _RUNS
        return sum(entry.name not in ids for entry in folder.iterdir()) if folder.is_dir() else 0

    def _failure_file(self, run: PlannedRun) -> Path:
        return self.path / _FAILURES / f"{run.id}.json"

    def _has_only_own_files(self) -> bool:
        if not self.path.is_dir():
            return False
        own = {
            _RUNS,
            _FAILURES,
            _MARKER,
            "workers",
            "plan.jsonl",
            "scatter.json",
            *(f"study.{end}" for end in _SUFFIXES),
        }
        return own >= {p.name for p in self.path.iterdir() if not p.name.startswith(".")}

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Turn write errors of the system into errors that state what the user can do."""
        try:
            yield
        except OSError as error:
            raise write_error(error, self.path) from error
