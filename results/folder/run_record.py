# SPDX-License-Identifier: MIT
"""Reading a Run folder: what reports, pictures and comparisons are made from."""

import tomllib
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
    CASE,
    PATH,
    PROFILES,
    PROVENANCE,
    PVD,
    SUMMARY,
    Status,
    read_json,
    status,
)
from annelid.results.folder.records import Verdict
from annelid.results.folder.tables import PathTable, read_path, read_profiles
from annelid.solver.records import Margin, Outcome, Profile


@dataclass(frozen=True)
class RunRecord:
    """A Run folder, read piece by piece as it is asked for."""

    path: Path

    @property
    def status(self) -> Status:
        """``"finished"`` or ``"unfinished"``, as it is now."""
        return status(self.path)

    @cached_property
    def case(self) -> Mapping[str, Any]:
        """The resolved case.

        Raises:
            InputError: It cannot be read.
        """
        try:
            return tomllib.loads((self.path / CASE).read_text())
        except (OSError, tomllib.TOMLDecodeError) as reason:
            raise InputError(f"{self.path / CASE}: cannot be read ({reason}); run the case again.") from None

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
        return tuple(Verdict.from_mapping(data) for data in self.summary.get("verdicts", ()))

    @cached_property
    def table(self) -> PathTable:
        """The path, one row an equilibrium."""
        return read_path(self.path / PATH)

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
        return str(self.case.get("title") or self.path.resolve().name)

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
            raise InputError(f"run folder {self.path}: keeps no fields; run the case with its fields kept.")
        wanted = max(kept) if state is None else state
        if wanted < 0:
            wanted = sorted(kept)[wanted] if -wanted <= len(kept) else wanted
        if wanted not in kept:
            raise InputError(f"state {state}: its fields are not kept; there are {_ranges(sorted(kept))}.")
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
