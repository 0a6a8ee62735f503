# SPDX-License-Identifier: MIT
"""The table of a study: one row per run, as CSV and Parquet, readable while the study runs."""

import io
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from annelid.cases.studies.failure import Failure
from annelid.cases.studies.plan import Plan, PlannedRun
from annelid.cases.studies.store import Store
from annelid.cases.studies.values import to_internal
from annelid.results.atomic import write_atomically
from annelid.results.folder.folder_files import REPORT
from annelid.results.folder.path_rows import csv_text, merge_columns
from annelid.results.folder.tables import quantity_header
from annelid.solver.display import DisplayUnits
from annelid.solver.model.quantities import UNSTABLE_MODES, UNSTABLE_MODES_CONTROLLED, quantity_of

__all__ = [
    "ALL_REQUIREMENTS_MET",
    "REQUIREMENTS_MISSED",
    "StudyTable",
    "column_header",
    "number_of",
    "verdict_header",
]

ALL_REQUIREMENTS_MET, REQUIREMENTS_MISSED = "all requirements met", "requirements missed"

type Row = dict[str, Any]


def column_header(name: str, unit: str | None) -> str:
    """Header of a column: the name, with the unit if there is one."""
    return name if unit is None else f"{name} [{unit}]"


def verdict_header(verdict: Mapping[str, Any]) -> str:
    """Header of the column of a verdict: the requirement as text."""
    return f"met: {_requirement(verdict)}"


def _requirement(verdict: Mapping[str, Any]) -> str:
    limit = DisplayUnits().show(quantity_of(verdict["quantity"]).kind, verdict["limit"])
    where = f" {verdict['where']}" if "end of stage" in verdict.get("where", "") else ""
    text = f"{verdict['quantity']} {verdict['condition']} {limit}{where}"
    return text.replace("\N{NO-BREAK SPACE}", " ")


class StudyTable:
    """Rows of all runs of a plan, updated run by run.

    Attributes:
        plan: The plan.
        rows: One per run, in the order of the plan.
        columns: Names of all columns.
        changed: Whether a row has changed since the last :meth:`write`.
    """

    def __init__(self, plan: Plan, store: Store) -> None:
        self.plan, self._store = plan, store
        self._index: dict[str, int] = {}
        self.rows: list[Row] = []
        self.extend(plan)

    def extend(self, plan: Plan) -> None:
        """Add the new runs of a longer plan."""
        self.plan = plan
        for run in plan.runs[len(self.rows) :]:
            self._index[run.hash] = len(self.rows)
            self.rows.append(self._row(run))
        self.changed = True

    @property
    def columns(self) -> list[str]:
        """Names of all columns, in the order of the rows that have them."""
        columns: list[str] = []
        seen: set[tuple[str, ...]] = set()
        for row in sorted(self.rows, key=len, reverse=True):
            if tuple(row) not in seen:
                seen.add(tuple(row))
                columns = merge_columns(columns, row)
        tail = ["time [s]", "memory [MB]", "disk [MB]", "reason", "folder", "report"]
        return [name for name in columns if name not in tail] + tail

    def update(self, run: PlannedRun) -> None:
        """Read the row of a run again."""
        self.rows[self._index[run.hash]] = self._row(run)
        self.changed = True

    def write(self) -> None:
        """Write ``study.csv`` and ``study.parquet``, each atomically."""
        columns = self.columns
        rows = [{key: _cell(value) for key, value in row.items()} for row in self.rows]
        write_atomically(self._store.path / "study.csv", csv_text(columns, rows, header=True))
        write_atomically(self._store.path / "study.parquet", _parquet(columns, self.rows))
        self.changed = False

    def _row(self, run: PlannedRun) -> Row:
        row: Row = {"run": run.id}
        for variable in self.plan.variables:
            value = run.values[variable.name]
            row[column_header(variable.name, variable.unit)] = (
                value if variable.unit is None else to_internal(value)
            )
        summary = self._store.summary(run)
        if summary is not None:
            return row | _finished(summary, self._store.run_folder(run), self._store.path)
        failure = self._store.failure(run)
        if failure is not None:
            return row | _failed(failure)
        return row | {"status": self._store.state(run)}


def _finished(summary: Mapping[str, Any], folder: Path, study: Path) -> Row:
    outcome, last = summary["outcome"], summary["final_state"] or {}
    row: Row = {
        "status": "finished",
        "outcome": outcome.get("kind", ""),
        "outcome in words": outcome.get("text", ""),
    }
    row |= {"stage": last.get("stage", ""), "parameter [1]": number_of(last.get("parameter [1]"))}
    for header in map(quantity_header, (UNSTABLE_MODES, UNSTABLE_MODES_CONTROLLED)):
        row[header] = number_of(last.get(header))
    quantities = {key: number_of(value) for key, value in last.get("quantities", {}).items()}
    row |= {key: value for key, value in quantities.items() if key not in row}
    for margin in outcome.get("margins", ()):
        name = f"stability margin {margin['load']}"
        row |= {
            f"{name} [1]": number_of(margin["value"]),
            f"{name} is a lower bound": bool(margin["is_bound"]),
        }
    row |= {key: number_of(value) for key, value in summary.get("path_quantities", {}).items()}
    verdicts = summary["verdicts"]
    row |= {verdict_header(verdict): bool(verdict["met"]) for verdict in verdicts}
    if verdicts:
        missed = [_requirement(verdict) for verdict in verdicts if not verdict["met"]]
        row |= {ALL_REQUIREMENTS_MET: not missed, REQUIREMENTS_MISSED: "; ".join(missed)}
    cost = summary.get("facts", {}).get("cost", {})
    row["time [s]"] = number_of(str(cost.get("time", "nan")).split()[0])
    row["memory [MB]"] = number_of(str(cost.get("peak memory of the first rank", "nan")).split()[0])
    row["disk [MB]"] = round(sum(p.stat().st_size for p in folder.rglob("*") if p.is_file()) / 1e6, 3)
    row["folder"] = str(folder.relative_to(study))
    row["report"] = str((folder / REPORT).relative_to(study)) if (folder / REPORT).exists() else ""
    return row


def _failed(failure: Failure) -> Row:
    return {
        "status": "failed",
        "outcome": failure.kind,
        "time [s]": failure.seconds,
        "memory [MB]": failure.memory,
        "reason": failure.reason,
    }


def number_of(value: Any) -> float:
    """Return a number of a summary; JSON has no NaN and infinity, which are stored as text."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if isinstance(value, float) and math.isnan(value) else value


def _parquet(columns: list[str], rows: list[Row]) -> bytes:
    import pyarrow
    from pyarrow import parquet

    arrays = [_array(pyarrow, [row.get(name) for row in rows]) for name in columns]
    buffer = io.BytesIO()
    parquet.write_table(pyarrow.table(arrays, names=columns), buffer)
    return buffer.getvalue()


def _array(pyarrow: Any, values: list[Any]) -> Any:
    known = [value for value in values if value is not None]
    if all(isinstance(value, bool) for value in known) and known:
        return pyarrow.array(values, pyarrow.bool_())
    if all(isinstance(value, int | float) and not isinstance(value, bool) for value in known) and known:
        return pyarrow.array(
            [None if v is None or math.isnan(v) else float(v) for v in values], pyarrow.float64()
        )
    return pyarrow.array([None if value is None else str(value) for value in values], pyarrow.string())
