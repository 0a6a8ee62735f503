# SPDX-License-Identifier: MIT
"""Writer of the Run folder, which is readable at any moment of the run.

Files are written atomically, ``path.csv`` grows by complete rows, and ``summary.json`` is written last. A run
is finished if its summary exists and its case hash matches; any other run can be started again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import Any

from annelid.geometry.body import Body
from annelid.results.atomic import FolderLock, append_durably, write_atomically
from annelid.results.folder.bistability import path_measures
from annelid.results.folder.body_file import body_to_bytes
from annelid.results.folder.critical_points import CriticalPoint
from annelid.results.folder.cycles import cycle_measures
from annelid.results.folder.digests import digests_of, write_sealed
from annelid.results.folder.field_files import FieldFiles, KeepFields
from annelid.results.folder.folder_files import (
    BODY,
    CASE,
    DESCRIPTION,
    FIELDS,
    FLOW,
    FOLDER_KIND,
    FORMAT,
    INFLATION,
    PATH,
    PROFILES,
    PROVENANCE,
    SUMMARY,
    SURFACE,
    append_log,
    check_writable,
    remove_run_files,
    run_files,
    utc_now,
    write_json,
)
from annelid.results.folder.lumen_tables import FLOW_COLUMNS, PROFILE_COLUMNS
from annelid.results.folder.path_rows import (
    csv_text,
    flow_rows,
    merge_columns,
    path_text,
    profile_rows,
    state_row,
    table_text,
)
from annelid.results.folder.run_records import CaseDescription, Verdict
from annelid.results.folder.summary_entries import definitions, final_state, path_entries
from annelid.results.folder.tables import read_path
from annelid.solver.records import Equilibrium, FlowAlong, Measure, Outcome, Profile


class RunFolder:
    """Writer of a Run folder; a context manager that releases the lock at the end.

    If the ``with`` block ends before :meth:`finish`, the run stays unfinished.
    """

    def __init__(
        self,
        path: Path,
        lock: FolderLock,
        body: Body,
        case_hash: str,
        keep_fields: KeepFields,
        keep_surfaces: bool,
        description: CaseDescription,
    ) -> None:
        self.path = path
        self._units = description.units
        self._cycles = description.cycles
        self._lumens: list[Profile] = []
        self._flows: list[FlowAlong | None] = []
        self.case_hash = case_hash
        self._lock = lock
        self._fields = FieldFiles(path, body, keep_fields, keep_surfaces)
        self._columns: list[str] = []
        self._rows: list[dict[str, object]] = []
        self._critical: list[CriticalPoint] = []
        self._jumps_and_branches: list[dict[str, Any]] = []
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
        inflation: Sequence[Equilibrium] = (),
        keep_fields: KeepFields = "all",
        keep_surfaces: bool = True,
        rerun: bool = False,
    ) -> "RunFolder":
        """Start a run; files of an unfinished run of the same case are removed first.

        Args:
            path: The folder; created with its parents if it does not exist.
            case_toml: The resolved case.
            case_hash: Its hash.
            description: Information about the case that a report needs.
            provenance: Versions, revision, host, number of ranks and so on.
            body: The mesh; it is stored so that the report can be created from the folder alone.
            inflation: States of the inflation of the bare skin, before the first stage.
            keep_fields: States whose fields are stored; ``"stage ends"`` includes the last state and the
                critical points.
            keep_surfaces: Whether the deformed surfaces at the ends of stages are stored.
            rerun: Start again even if the run of this case is finished.

        Raises:
            InputError: The folder contains something else, another case or a finished run of this case, or
                another process writes to it.
        """
        folder = Path(path)
        check_writable(folder, case_hash, rerun=rerun)
        folder.mkdir(parents=True, exist_ok=True)
        lock = FolderLock(folder)
        lock.acquire()
        try:
            # Another writer may have started between the first check and the lock.
            check_writable(folder, case_hash, rerun=rerun)
            remove_run_files(folder)
            header = {"kind": FOLDER_KIND, "format": FORMAT, "case_hash": case_hash, "started": utc_now()}
            write_sealed(folder / PROVENANCE, {**provenance, **header, "files": {}})  # marks a Run folder
            write_atomically(folder / CASE, case_toml)
            write_json(folder / DESCRIPTION, description.to_mapping())
            write_atomically(folder / BODY, body_to_bytes(body))
            if inflation:
                write_atomically(folder / INFLATION, path_text(inflation))
            files = digests_of(folder, (CASE, DESCRIPTION, BODY, *[INFLATION] * bool(inflation)))
            write_sealed(folder / PROVENANCE, {**provenance, **header, "files": files})
            (folder / FIELDS).mkdir(exist_ok=True)
            if keep_surfaces:
                (folder / SURFACE).mkdir(exist_ok=True)
            return cls(folder, lock, body, case_hash, keep_fields, keep_surfaces, description)
        except BaseException:
            lock.release()
            raise

    def log(self, line: str) -> None:
        """Append a line with the time to ``log.txt``."""
        append_log(self.path, line)

    def append(self, state: Equilibrium) -> None:
        """Write an equilibrium; its row in ``path.csv`` is written last, after its fields."""
        self._fields.append(self._last, state)
        self._last = state
        self._append_table(PROFILES, PROFILE_COLUMNS, profile_rows(state))
        self._append_table(FLOW, FLOW_COLUMNS, flow_rows(state))
        if self._cycles:
            self._flows.append(state.flow_along)
            if "inner" in state.profiles:
                self._lumens.append(state.profiles["inner"])
        if state.critical:
            self._critical.append(CriticalPoint.of_state(state))
        if state.reached_by:
            self._jumps_and_branches.append(
                {"state": state.index, "stage": state.stage, "reached by": state.reached_by}
            )
        self._append_row(state)

    def finish(
        self,
        outcome: Outcome,
        *,
        verdicts: Sequence[Verdict] = (),
        facts: Mapping[str, Any] | None = None,
        evidence: Sequence[Mapping[str, Any]] = (),
        adaptation: Mapping[str, Any] | None = None,
    ) -> Path:
        """Write ``summary.json`` and close the folder.

        Args:
            outcome: How the path ended.
            verdicts: The requirements and whether they are met.
            facts: Facts about mesh and convergence: values by name, or groups of them by heading.
            evidence: What is known at this time of how far the numbers can be trusted, part by part.
            adaptation: How the mesh was chosen, if it was.

        Returns:
            Path of ``summary.json``.
        """
        if self._last is not None:
            self._fields.finish(self._last)
        table = read_path(self.path / PATH, self._units) if self._rows else None
        quantities = self.path_quantities()
        names = () if self._last is None else self._last.quantities
        summary = {
            "case_hash": self.case_hash,
            "finished": utc_now(),
            "outcome": asdict(outcome),
            "verdicts": [asdict(verdict) for verdict in verdicts],
            "states": len(self._rows),
            "final_state": None if self._last is None else final_state(self._last),
            "critical_points": [point.to_mapping() for point in self._critical],
            "jumps_and_branches": self._jumps_and_branches,
            **path_entries(table, quantities),
            "facts": dict(facts or {}),
            "evidence": list(evidence),
            **({"adaptation": dict(adaptation)} if adaptation else {}),
            "definitions": definitions([*names, *(m.quantity for m in outcome.margins), *quantities]),
            "files": digests_of(self.path, run_files(self.path)),
        }
        try:
            return write_sealed(self.path / SUMMARY, summary)
        finally:
            self.close()

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

    def _append_table(self, name: str, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
        if rows:
            file = self.path / name
            append_durably(file, table_text(columns, rows, header=not file.exists()))

    def path_quantities(self) -> dict[str, Measure]:
        """Quantities of the whole path so far by name, such as the load at which the part snaps."""
        if not self._rows:
            return {}
        table = read_path(self.path / PATH, self._units)
        return path_measures(table) | cycle_measures(table, self._lumens, self._cycles, self._flows)
