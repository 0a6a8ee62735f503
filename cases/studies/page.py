# SPDX-License-Identifier: MIT
"""The page of a study in its study folder."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from annelid.cases.convert.cost import rounded_time
from annelid.cases.studies.analysis import study_data
from annelid.cases.studies.nominal import nominal_case
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import Row, StudyTable
from annelid.cases.validate.resolved import case_hash
from annelid.results.evidence.scatter import write_scatter
from annelid.results.study.page import write_study_page
from annelid.results.study.study_data import StudyData
from annelid.solver.model.quantities import quantity_of

__all__ = ["write_page"]


def write_page(plan: Plan, store: Store, table: StudyTable) -> Path:
    """Write ``study.html`` into the study folder."""
    data = replace(
        study_data(plan, table.rows),
        facts=_facts(plan, store, table.rows),
        advice=_advice(table.rows),
        searched=plan.file.study.search is not None,
    )
    if plan.file.study.tolerance:
        _write_scatter(plan, store, data)
    return write_study_page(data, store.path / "study.html")


def _write_scatter(plan: Plan, store: Store, data: StudyData) -> None:
    """Keep the scatter for the evidence in reports of runs of the nominal case."""
    nominal = nominal_case(plan.file)
    if nominal is None:
        return
    rows = []
    for spread in data.spreads:
        low, high = np.percentile(spread.values, [5, 95])
        rows.append(
            {"name": spread.quantity, "low": low, "high": high, "unit": quantity_of(spread.quantity).unit}
        )
    parts, met = sum(y.parts for y in data.yields), sum(y.conforming for y in data.yields)
    write_scatter(store.path, case_hash(nominal), parts=parts, met=met, quantities=rows)


def _facts(plan: Plan, store: Store, rows: list[Row]) -> dict[str, str]:
    study = plan.file.study
    columns = [[row.get(key, 0.0) for row in rows] for key in ("time [s]", "disk [MB]")]
    seconds, disk = np.nansum(np.array(columns, dtype=float), axis=1)
    keep = study.output.keep
    kept = {"tables": "only tables", "surfaces": "tables and surfaces"}.get(keep, f"also fields ({keep})")
    facts = {
        "base case": study.case if isinstance(study.case, str) else "in the study file",
        "runs": f"{len(plan.runs)}, for {len(plan.run_of_point)} points",
        "computing time": rounded_time(float(seconds)),
        "disk use": f"{disk:.1f} MB in Run folders; kept: {kept}",
        "study folder": store.path.name,
    }
    if study.sampling is not None:
        sampling = study.sampling
        facts["sampling"] = f"{sampling.method}, {sampling.samples} samples, seed {sampling.seed}"
    return facts


def _advice(rows: list[Row]) -> tuple[str, ...]:
    advice = []
    if any(row["status"] == "waiting" for row in rows):
        advice.append("Start the same command again to do the remaining runs.")
    if {"time limit", "memory"} & {str(row.get("outcome")) for row in rows if row["status"] == "failed"}:
        advice.append(
            "To repeat runs that exceeded a limit, use --retry with a higher --time-limit or --memory-limit."
        )
    return tuple(advice)
