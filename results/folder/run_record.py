# SPDX-License-Identifier: MIT
"""Reader of the Run folder, the source of reports, pictures and comparisons."""

import xml.etree.ElementTree as ElementTree
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from annelid.geometry.body import Body
from annelid.geometry.errors import InputError
from annelid.results.folder.body_file import read_body_file
from annelid.results.folder.critical_points import CriticalPoint, critical_points
from annelid.results.folder.folder_files import (
    BODY,
    DESCRIPTION,
    PATH,
    PROFILES,
    PROVENANCE,
    PVD,
    SUMMARY,
    Status,
    read_json,
    status,
)
from annelid.results.folder.run_records import CaseDescription, Verdict
from annelid.results.folder.tables import PathRecord, read_path, read_profiles
from annelid.solver.records import Margin, Outcome, Profile


@dataclass(frozen=True)
class RunRecord:
    """A Run folder; each of its files is read when it is needed."""

    path: Path

    @property
    def status(self) -> Status:
        """``"finished"`` or ``"unfinished"`` at this moment."""
        return status(self.path)

    @cached_property
    def description(self) -> CaseDescription:
        """The description of the case.

        Raises:
            InputError: The description cannot be read.
        """
        data = read_json(self.path / DESCRIPTION)
        if data is None:
            text = f"{self.path / DESCRIPTION}: cannot be read; run the case again (--again)."
            raise InputError(text, path=str(self.path))
        return CaseDescription.from_mapping(data)

    @cached_property
    def provenance(self) -> Mapping[str, Any]:
        """Versions, revision, host and times."""
        return read_json(self.path / PROVENANCE) or {}

    @cached_property
    def summary(self) -> Mapping[str, Any]:
        """The content of ``summary.json``; empty while the run is unfinished."""
        return read_json(self.path / SUMMARY) or {}

    @cached_property
    def outcome(self) -> Outcome | None:
        """How the path ended; ``None`` while the run is unfinished."""
        data = self.summary.get("outcome")
        if not data:
            return None
        margins = tuple(Margin(**{**m, "value": float(m["value"])}) for m in data.get("margins", ()))
        return Outcome(**{**data, "remarks": tuple(data["remarks"]), "margins": margins})

    @cached_property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Verdicts on the requirements."""
        numbers = ("limit", "value")
        entries = self.summary.get("verdicts", ())
        return tuple(Verdict(**{**entry, **{key: float(entry[key]) for key in numbers}}) for entry in entries)

    @cached_property
    def table(self) -> PathRecord:
        """The path, one row per equilibrium."""
        return read_path(self.path / PATH, self.description.units)

    @cached_property
    def critical_points(self) -> tuple[CriticalPoint, ...]:
        """The critical points so far, in path order."""
        return critical_points(self.table)

    @cached_property
    def body(self) -> Body:
        """The mesh."""
        return read_body_file(self.path / BODY)

    @property
    def title(self) -> str:
        """Title of the case, or the name of the folder if it has none."""
        return self.description.title or self.path.resolve().name

    def profiles(self, state: int) -> dict[str, Profile]:
        """Return the radial profiles of a state by surface."""
        return read_profiles(self.path / PROFILES, state)

    @cached_property
    def field_files(self) -> dict[int, Path]:
        """Field files by number of the state, for the states whose fields were stored."""
        collection = self.path / PVD
        if not collection.exists():
            return {}
        entries = ElementTree.parse(collection).iter("DataSet")
        return {int(e.attrib["timestep"]): collection.parent / e.attrib["file"] for e in entries}

    def field_file(self, state: int | None = None) -> Path:
        """Return the field file of a state, by default of the last; negative numbers count from the end.

        Raises:
            InputError: The fields of this state were not stored.
        """
        files = self.field_files
        if not files:
            raise InputError(f"run folder {self.path}: contains no fields; run the case with output.fields.")
        number = max(files) if state is None else state
        if number < 0:
            number = sorted(files)[number] if -number <= len(files) else number
        if number not in files:
            raise InputError(
                f"state {state}: its fields were not written; allowed: {_ranges(sorted(files))}."
            )
        return files[number]


def open_run(path: Path | str) -> RunRecord:
    """Open a Run folder, finished or not.

    Raises:
        InputError: The folder is not a Run folder.
    """
    folder = Path(path)
    current = status(folder)
    if current in ("absent", "not a run folder"):
        reason = "contains no run" if current == "absent" else current
        raise InputError(f"run folder {folder}: {reason}.", status=current)
    return RunRecord(folder)


def _ranges(numbers: list[int]) -> str:
    if len(numbers) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{numbers[0]} to {numbers[-1]}"
    return ", ".join(map(str, numbers))
