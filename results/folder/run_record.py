# SPDX-License-Identifier: MIT
"""Reading a Run folder: what reports, pictures and comparisons are made from."""

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
from annelid.results.folder.records import CaseDescription, Verdict
from annelid.results.folder.tables import PathTable, read_path, read_profiles
from annelid.solver.records import Margin, Outcome, Profile


@dataclass(frozen=True)
class RunRecord:
    """A Run folder; its files are read when they are needed."""

    path: Path

    @property
    def status(self) -> Status:
        """``"finished"`` or ``"unfinished"``, as it is now."""
        return status(self.path)

    @cached_property
    def description(self) -> CaseDescription:
        """The case in words and numbers.

        Raises:
            InputError: It cannot be read.
        """
        data = read_json(self.path / DESCRIPTION)
        if data is None:
            text = f"{self.path / DESCRIPTION}: cannot be read; run the case again (--again)."
            raise InputError(text, path=str(self.path))
        return CaseDescription.from_mapping(data)

    @cached_property
    def provenance(self) -> Mapping[str, Any]:
        """Versions, revision, host, times."""
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
        """The verdicts on the requirements."""
        numbers = ("limit", "value")
        entries = self.summary.get("verdicts", ())
        return tuple(Verdict(**{**entry, **{key: float(entry[key]) for key in numbers}}) for entry in entries)

    @cached_property
    def table(self) -> PathTable:
        """The path, one row an equilibrium."""
        return read_path(self.path / PATH, self.description.units)

    @cached_property
    def critical_points(self) -> tuple[CriticalPoint, ...]:
        """The critical points found so far, in the order of the path."""
        return critical_points(self.table)

    @cached_property
    def body(self) -> Body:
        """The mesh."""
        return read_body_file(self.path / BODY)

    @property
    def title(self) -> str:
        """Title of the case, else the name of the folder."""
        return self.description.title or self.path.resolve().name

    def profiles(self, state: int) -> dict[str, Profile]:
        """Return the radial profiles of a state, by surface."""
        return read_profiles(self.path / PROFILES, state)

    @cached_property
    def field_files(self) -> dict[int, Path]:
        """File of every state whose fields were kept."""
        listing = self.path / PVD
        if not listing.exists():
            return {}
        entries = ElementTree.parse(listing).iter("DataSet")
        return {int(e.attrib["timestep"]): listing.parent / e.attrib["file"] for e in entries}

    def field_file(self, state: int | None = None) -> Path:
        """Return the field file of a state (counted from the end when negative); the last by default.

        Raises:
            InputError: The fields of that state were not kept.
        """
        kept = self.field_files
        if not kept:
            raise InputError(f"run folder {self.path}: contains no fields; run the case with output.fields.")
        wanted = max(kept) if state is None else state
        if wanted < 0:
            wanted = sorted(kept)[wanted] if -wanted <= len(kept) else wanted
        if wanted not in kept:
            raise InputError(f"state {state}: its fields were not written; allowed: {_ranges(sorted(kept))}.")
        return kept[wanted]


def open_run(path: Path | str) -> RunRecord:
    """Open a Run folder, finished or not.

    Raises:
        InputError: There is no Run folder.
    """
    folder = Path(path)
    found = status(folder)
    if found in ("absent", "not a run folder"):
        reason = "no run there" if found == "absent" else found
        raise InputError(f"run folder {folder}: {reason}.", status=found)
    return RunRecord(folder)


def _ranges(numbers: list[int]) -> str:
    if len(numbers) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{numbers[0]} to {numbers[-1]}"
    return ", ".join(map(str, numbers))
