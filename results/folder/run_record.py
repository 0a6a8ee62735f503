# SPDX-License-Identifier: MIT
"""Reader of the Run folder, the source of reports, pictures and comparisons."""

import json
import os
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from annelid.geometry.body import Body
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text
from annelid.results.folder.bistability import Bistability, bistability_of
from annelid.results.folder.body_file import read_body_file
from annelid.results.folder.critical_points import CriticalPoint, critical_points
from annelid.results.folder.digests import check_digests, read_sealed, unreadable
from annelid.results.folder.folder_files import (
    BODY,
    CASE,
    DESCRIPTION,
    FIELDS,
    FLOW,
    FORMAT,
    INFLATION,
    PATH,
    PROFILES,
    PROVENANCE,
    PVD,
    SUMMARY,
    SURFACE,
    Status,
    status,
)
from annelid.results.folder.lumen_tables import read_flow_history, read_lumen_history, read_profiles
from annelid.results.folder.run_records import CaseDescription, Verdict
from annelid.results.folder.tables import PathRecord, read_path
from annelid.solver.display import DisplayUnits
from annelid.solver.records import FlowAlong, LimitAhead, Margin, Outcome, Profile

_LARGEST_PVD = 10_000_000  # bytes


@dataclass(frozen=True)
class RunRecord:
    """A Run folder; its larger files are read when they are needed.

    Attributes:
        path: The folder.
        provenance: Versions, revision, host and times.
        summary: The content of ``summary.json``; empty if the run was unfinished when the folder was opened.
    """

    path: Path
    provenance: Mapping[str, Any]
    summary: Mapping[str, Any]

    @property
    def status(self) -> Status:
        """``"finished"`` or ``"unfinished"`` at this moment."""
        return status(self.path)

    @cached_property
    def description(self) -> CaseDescription:
        """The description of the case."""
        return CaseDescription.from_mapping(json.loads((self.path / DESCRIPTION).read_text()))

    @cached_property
    def outcome(self) -> Outcome | None:
        """How the path ended; ``None`` while the run is unfinished."""
        data = self.summary.get("outcome")
        if not data:
            return None
        margins = tuple(map(_margin, data.get("margins", ())))
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
        with _reading(self.path / PATH) as path:
            return read_path(path, self.description.units)

    @cached_property
    def inflation(self) -> PathRecord | None:
        """The path on which the bare skin was inflated before the first stage, if it was."""
        if not os.path.lexists(self.path / INFLATION):
            return None
        with _reading(self.path / INFLATION) as path:
            return read_path(path, self.description.units)

    @cached_property
    def units(self) -> DisplayUnits:
        """Units in which numbers of this run are shown, one for each kind of number."""
        has_path = os.path.lexists(self.path / PATH)
        return self.table.display if has_path else self.description.units

    @cached_property
    def working_state(self) -> int:
        """The state at the end of the last stage at whose end a load acts; the last of an unfinished run.

        Of a stage whose loads follow waves it is the state with the largest loads, the first of several.
        """
        working, table = self.outcome.working_stage if self.outcome else "", self.table
        if working in {window.stage for window in self.description.cycles}:
            rows = np.flatnonzero(np.array([stage == working for stage in table.stages]))
            scales = {name: float(np.abs(np.nan_to_num(table[name])).max()) for name in table.loads}
            sizes = sum(np.abs(np.nan_to_num(table[n][rows])) / s for n, s in scales.items() if s)
            return int(table["state"][rows[np.argmax(np.round(sizes, 6))]])
        return int(table["state"][table.stage_ends.get(working, -1)])

    @cached_property
    def critical_points(self) -> tuple[CriticalPoint, ...]:
        """The critical points so far, in path order."""
        return critical_points(self.table)

    @cached_property
    def bistability(self) -> Bistability | None:
        """Whether the part is bistable; ``None`` if it does not snap, or not under a single load."""
        return bistability_of(self.table)

    @cached_property
    def body(self) -> Body:
        """The mesh."""
        return read_body_file(self.path / BODY)

    @property
    def title(self) -> str:
        """Title of the case, or the name of the folder if it has none."""
        return self.description.title or self.path.resolve().name

    def lumen_history(self) -> tuple[str, dict[int, Profile]]:
        """Return the innermost surface with profiles and its profile in each state; "" if there is none."""
        with _reading(self.path / PROFILES) as path:
            return read_lumen_history(path)

    def flow_history(self) -> dict[int, FlowAlong]:
        """Return the flow along the lumen by number of the state; empty without one."""
        with _reading(self.path / FLOW) as path:
            return read_flow_history(path)

    def profiles(self, state: int) -> dict[str, Profile]:
        """Return the radial profiles of a state by surface."""
        with _reading(self.path / PROFILES) as path:
            return read_profiles(path, state)

    @cached_property
    def field_files(self) -> dict[int, Path]:
        """Field files by number of the state, for the states whose fields were stored."""
        return {state: self.path / FIELDS / name for state, (name, _) in _read_collection(self.path).items()}

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


def _margin(data: Mapping[str, Any]) -> Margin:
    limits = (LimitAhead(**{**limit, "value": float(limit["value"])}) for limit in data.get("limits", ()))
    return Margin(**{**data, "value": float(data["value"]), "limits": tuple(limits)})


def open_run(path: Path | str, *, with_fields: bool = True) -> RunRecord:
    """Open a Run folder, finished or not, and check that its files are those that the run wrote.

    Args:
        path: The folder.
        with_fields: Whether the files of fields and surfaces are checked as well.

    Raises:
        InputError: The folder is not a Run folder, or one of its files is damaged.
    """
    folder = Path(path)
    current = status(folder)
    if current == "absent" or (current == "not a run folder" and not os.path.lexists(folder / CASE)):
        reason = "contains no run" if current == "absent" else current
        raise InputError(f"run folder {folder}: {reason}.", status=current)
    provenance = read_sealed(folder / PROVENANCE)
    if provenance.get("format") != FORMAT:
        raise unreadable(folder / PROVENANCE, "was written by another version of the program")
    if not os.path.lexists(folder / SUMMARY):
        fields = _read_collection(folder).values() if with_fields else ()
        check_digests(folder, provenance["files"] | {f"{FIELDS}/{name}": digest for name, digest in fields})
        return RunRecord(folder, provenance, {})
    summary = read_sealed(folder / SUMMARY)
    if summary["case_hash"] != provenance["case_hash"]:
        raise unreadable(folder / SUMMARY, "belongs to another case")
    large = () if with_fields else (FIELDS, SURFACE)
    check_digests(folder, {n: digest for n, digest in summary["files"].items() if not n.startswith(large)})
    return RunRecord(folder, provenance, summary)


def _read_collection(folder: Path) -> dict[int, tuple[str, str]]:
    """Name and digest of the field files by number of the state."""
    with _reading(folder / PVD) as path:
        if not os.path.lexists(path):
            return {}
        entries = ElementTree.fromstring(read_text(path, most=_LARGEST_PVD)).iter("DataSet")
        return {int(e.attrib["timestep"]): (e.attrib["file"], e.attrib["sha256"]) for e in entries}


@contextmanager
def _reading(path: Path) -> Iterator[Path]:
    """Turn errors of reading a file of an unfinished run, which has no digest yet, into one for the user."""
    try:
        yield path
    except (OSError, ValueError, LookupError, TypeError, ArithmeticError, ElementTree.ParseError) as error:
        raise unreadable(path, f"cannot be read ({error})") from None


def _ranges(numbers: list[int]) -> str:
    if len(numbers) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{numbers[0]} to {numbers[-1]}"
    return ", ".join(map(str, numbers))
