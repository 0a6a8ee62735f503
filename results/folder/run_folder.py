# SPDX-License-Identifier: MIT
"""The Run folder: everything that a run writes, readable at any moment of the run.

Files appear whole or not at all, ``path.csv`` grows by whole rows, and ``summary.json`` is written last. A
run is finished when its summary exists and its case hash matches; anything else can be started again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import Any, Literal

from annelid.geometry.body import Body
from annelid.results.atomic import FolderLock, append_durably, write_atomically
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.fields.surfaces import deformed_surface, ply, stl
from annelid.results.fields.vtk_files import collection
from annelid.results.folder.body_file import body_to_bytes
from annelid.results.folder.critical_points import CriticalPoint
from annelid.results.folder.energies import energies_of
from annelid.results.folder.folder_files import (
    BODY,
    CASE,
    DESCRIPTION,
    FIELDS,
    KIND,
    LOG,
    PATH,
    PROFILES,
    PROVENANCE,
    PVD,
    SUMMARY,
    SURFACE,
    clean,
    now,
    refuse_foreign,
    write_json,
)
from annelid.results.folder.records import CaseDescription, Verdict
from annelid.results.folder.tables import (
    PROFILE_COLUMNS,
    csv_text,
    merge_columns,
    profile_rows,
    read_path,
    state_row,
)
from annelid.solver.display import DisplayUnits
from annelid.solver.model.quantities import quantity_of
from annelid.solver.records import Equilibrium, Outcome

KeepFields = Literal["all", "stage ends", "last", "none"]

_SURFACES = ("lumen", "outer")


class RunFolder:
    """Writer of a Run folder; a context manager that releases the lock at the end.

    Leaving the ``with`` block before :meth:`finish` leaves the folder marked as unfinished.
    """

    def __init__(
        self, path: Path, lock: FolderLock, body: Body, case_hash: str, keep_fields: KeepFields
    ) -> None:
        self.path = path
        self.case_hash = case_hash
        self._lock = lock
        self._body = body
        self._grid = FieldGrid(body)
        self._keep = keep_fields
        self._columns: list[str] = []
        self._rows: list[dict[str, object]] = []
        self._files: dict[int, str] = {}
        self._critical: list[CriticalPoint] = []
        self._turns: list[dict[str, Any]] = []
        self._last: Equilibrium | None = None

    @classmethod
    def create(
        cls,
        path: Path | str,
        *,
        case_toml: str,
        case_hash: str,
        description: CaseDescription,
        provenance: Mapping[str, Any],
        body: Body,
        keep_fields: KeepFields = "all",
        redo: bool = False,
    ) -> "RunFolder":
        """Start a run: an unfinished one of the same case starts clean.

        Args:
            path: The folder; made with its parents when absent.
            case_toml: The resolved case.
            case_hash: Its hash.
            description: What a report needs of it.
            provenance: Versions, revision, host, ranks and so on.
            body: The mesh, kept so that reports can be made from the folder alone.
            keep_fields: Which states keep their fields; ``"stage ends"`` includes the last state and the
                critical points.
            redo: Start again even when the run of this case is finished.

        Raises:
            InputError: The folder holds something else, another case, a finished run of this case, or
                another process writes to it.
        """
        folder = Path(path)
        refuse_foreign(folder, case_hash, redo=redo)
        folder.mkdir(parents=True, exist_ok=True)
        lock = FolderLock(folder)
        lock.acquire()
        try:
            # Again: another writer may have started between the check and the lock.
            refuse_foreign(folder, case_hash, redo=redo)
            clean(folder)
            stamp = {"kind": KIND, "format": 1, "case_hash": case_hash, "started": now()}
            write_json(folder / PROVENANCE, {**provenance, **stamp})
            write_atomically(folder / CASE, case_toml)
            write_json(folder / DESCRIPTION, description.to_mapping())
            write_atomically(folder / BODY, body_to_bytes(body))
            (folder / FIELDS).mkdir(exist_ok=True)
            (folder / SURFACE).mkdir(exist_ok=True)
            return cls(folder, lock, body, case_hash, keep_fields)
        except BaseException:
            lock.release()
            raise

    def log(self, line: str) -> None:
        """Add a line, with the time, to ``log.txt``."""
        with open(self.path / LOG, "a", encoding="utf-8") as file:
            file.write("".join(f"{now()}  {part}\n" for part in line.splitlines() or [""]))

    def append(self, state: Equilibrium) -> None:
        """Write one equilibrium; its row in ``path.csv`` is written last, so a row has its fields."""
        previous, self._last = self._last, state
        if previous is not None and previous.stage != state.stage:
            self._write_end(previous)
        self._append_profiles(state)
        if self._keep == "all" or (self._keep == "stage ends" and state.critical):
            self._write_fields(state)
        if state.parameter >= 1.0:
            self._write_end(state)
        if state.critical:
            self._critical.append(CriticalPoint.of_state(state))
        if state.reached_by:
            self._turns.append({"state": state.index, "stage": state.stage, "reached by": state.reached_by})
        self._append_row(state)

    def finish(
        self,
        outcome: Outcome,
        *,
        verdicts: Sequence[Verdict] = (),
        facts: Mapping[str, Any] | None = None,
    ) -> Path:
        """Write ``summary.json`` and close the folder.

        Args:
            outcome: How the path ended.
            verdicts: The requirements and whether they are met.
            facts: Facts of mesh and convergence: names and values, also grouped under headings.

        Returns:
            Path of ``summary.json``.
        """
        if self._last is not None:
            self._write_end(self._last)
            if self._keep == "last":
                self._write_fields(self._last)
        summary = {
            "case_hash": self.case_hash,
            "finished": now(),
            "outcome": asdict(outcome),
            "verdicts": [asdict(verdict) for verdict in verdicts],
            "states": len(self._rows),
            **self._final_state(),
            "critical_points": [point.to_mapping() for point in self._critical],
            "jumps_and_branches": self._turns,
            **self._energies(),
            "facts": dict(facts or {}),
            "definitions": {name: _definition(name) for name in self._reported(outcome)},
        }
        try:
            return write_json(self.path / SUMMARY, summary)
        finally:
            self.close()

    def _reported(self, outcome: Outcome) -> list[str]:
        names = list(self._last.quantities) if self._last is not None else []
        return [*names, *(margin.quantity for margin in outcome.margins)]

    def close(self) -> None:
        """Release the lock."""
        self._lock.release()

    def __enter__(self) -> "RunFolder":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _append_row(self, state: Equilibrium) -> None:
        row = state_row(state)
        columns = merge_columns(self._columns, row)
        self._rows.append(row)
        if columns == self._columns:
            append_durably(self.path / PATH, csv_text(columns, [row], header=False))
        else:
            self._columns = columns
            write_atomically(self.path / PATH, csv_text(columns, self._rows, header=True))

    def _append_profiles(self, state: Equilibrium) -> None:
        rows = profile_rows(state)
        if rows:
            file = self.path / PROFILES
            append_durably(file, csv_text(PROFILE_COLUMNS, rows, header=not file.exists()))

    def _write_fields(self, state: Equilibrium) -> None:
        if state.index in self._files:
            return
        name = f"state_{state.index:04d}.vtu"
        write_atomically(self.path / FIELDS / name, self._grid.vtu(state))
        self._files[state.index] = name
        write_atomically(self.path / PVD, collection(dict(sorted(self._files.items()))))

    def _write_end(self, state: Equilibrium) -> None:
        """Write the fields and surfaces of the last state of a stage; a second call does nothing."""
        if self._keep in ("all", "stage ends"):
            self._write_fields(state)
        for name in _SURFACES:
            stem = self.path / SURFACE / f"state_{state.index:04d}_{name}"
            if name in self._body.surfaces and not stem.with_suffix(".ply").exists():
                surface = deformed_surface(self._body, state.displacement, name)
                write_atomically(stem.with_suffix(".stl"), stl(surface))
                write_atomically(stem.with_suffix(".ply"), ply(surface))

    def _energies(self) -> dict[str, Any]:
        found = energies_of(read_path(self.path / PATH, DisplayUnits())) if self._rows else None
        return {"energies": found.to_mapping()} if found is not None else {}

    def _final_state(self) -> dict[str, Any]:
        state = self._last
        if state is None:
            return {"final_state": None}
        return {
            "final_state": {
                "state": state.index,
                "stage": state.stage,
                "parameter [1]": state.parameter,
                "unstable modes [1]": state.unstable_modes,
                "unstable modes under control [1]": state.unstable_modes_controlled,
                "loads": {f"{name} [{m.unit}]": m.value for name, m in state.loads.items()},
                "quantities": {f"{name} [{m.unit}]": m.value for name, m in state.quantities.items()},
                "places [mm]": {name: list(place) for name, place in state.places.items()},
            }
        }


def _definition(name: str) -> dict[str, str]:
    quantity = quantity_of(name)
    return {"unit": quantity.unit, "formula": quantity.formula, "meaning": quantity.meaning}
