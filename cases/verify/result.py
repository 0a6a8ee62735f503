# SPDX-License-Identifier: MIT
"""From the folder of a verification to its record and files."""

import itertools
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from annelid.cases.convert.body import body_of
from annelid.cases.convert.cost import cost_of, rounded_time
from annelid.cases.convert.display import display_units_of
from annelid.cases.run.environment import version
from annelid.cases.schema.case import Case
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.store import Store
from annelid.cases.validate.resolved import case_hash
from annelid.cases.verify.bars import FinishedRun, barred_verdicts, quantity_bars, relative_sizes
from annelid.cases.verify.refinement import MESH, QUADRATURE, STEPS, TOLERANCE, RefinedRun
from annelid.geometry.errors import AnnelidError, InputError
from annelid.results.verification.page import write_bars, write_verification_page
from annelid.results.verification.record import Verification

__all__ = ["cost_lines", "verification_of", "write_results"]

_LEAST_RATIO = 1.2  # of the element sizes of two meshes


def verification_of(
    case: Case, runs: Sequence[RefinedRun], plan: Plan, store: Store, *, asked: Case | None = None
) -> Verification:
    """Read the finished runs of a verification.

    Args:
        case: The case, with the sizes of its mesh.
        runs: The runs.
        plan: The same as a study.
        store: Its folder.
        asked: The case whose accuracy the mesh was chosen for; its runs have these bars, too.

    Raises:
        AnnelidError: The run of the case itself is not finished, so that there is nothing to give a bar to.
    """
    planned = [plan.runs[number] for number in plan.run_of_point]
    finished = [FinishedRun(run, store.summary(p)) for run, p in zip(runs, planned, strict=True)]
    if finished[0].summary is None:
        failure = store.failure(planned[0])
        reason = f": {failure.reason}" if failure else ""
        raise AnnelidError(f"the run of the case itself is not finished{reason}")
    bars = quantity_bars(finished)
    sizes = relative_sizes(finished)
    rows = [
        _run_row(f, sizes.get(f.run.name), store.failure(p), store.run_folder(p).name)
        for f, p in zip(finished, planned, strict=True)
    ]
    return Verification(
        case.title,
        case_hash(case if asked is None else asked),
        version(),
        tuple(rows),
        tuple(bars),
        tuple(barred_verdicts(finished[0].summary, bars)),
        tuple(_remarks(finished, sizes)),
    )


def _run_row(finished: FinishedRun, size: float | None, failure: Any, folder: str) -> dict[str, Any]:
    summary = finished.summary
    facts = (summary or {}).get("facts", {})
    return {
        "run": finished.run.name,
        "cells": facts.get("mesh", {}).get("cells", "–"),
        "element size": "–" if size is None else size,
        "states": (summary or {}).get("states", "–"),
        "time": facts.get("cost", {}).get("time", "–"),
        "state": "finished" if summary else "failed" if failure else "not finished",
        "outcome": summary["outcome"]["text"] if summary else failure.reason if failure else "",
        "folder": folder,
    }


def _remarks(runs: Sequence[FinishedRun], sizes: dict[str, float]) -> Iterator[str]:
    """What is not shown."""
    base = runs[0].summary
    assert base is not None
    for family, words in (
        (MESH, "finer or coarser meshes"),
        (STEPS, "smaller steps"),
        (TOLERANCE, "a tighter tolerance"),
        (QUADRATURE, "a higher degree of quadrature"),
    ):
        summaries = [f.summary for f in runs if f.run.family == family and f.summary]
        if not summaries:
            yield f"No run with {words} is finished."
        elif any(s["outcome"]["kind"] != base["outcome"]["kind"] for s in summaries):
            yield f"Some runs with {words} end in another way than the case; their values do not count."
    ordered = sorted(sizes.values())
    if any(fine * _LEAST_RATIO > coarse for fine, coarse in itertools.pairwise(ordered)):
        yield "Two meshes are nearly alike, so the order is not reliable."


def write_results(verification: Verification, case: Case, store: Store) -> Path:
    """Write ``verification.json``, ``bars.csv`` and the page; return the path of the page."""
    with store.writing():
        verification.write(store.path)
        write_bars(verification, store.path / "bars.csv")
        page = store.path / "verification.html"
        return write_verification_page(verification, display_units_of(case), page)


def cost_lines(runs: Sequence[RefinedRun], plan: Plan, store: Store, workers: int) -> list[str]:
    """Return the runs with the sizes of their meshes, and the expected time and memory, as text.

    Raises:
        InputError: A mesh cannot be refined.
    """
    lines, total, memory, cells = [], 0.0, 0.0, {}
    for run, number in zip(runs, plan.run_of_point, strict=True):
        planned = plan.runs[number]
        if not planned.toml:
            lines.append(f"  {run.name}: {planned.problem}")
            continue
        case = planned.case()
        cost = cost_of(case, body_of(case))
        cells[run.name] = cost.cells
        state = store.state(planned)
        seconds = cost.seconds + cost.overhead
        lines.append(
            f"  {run.name:22} {cost.cells:8} cells {cost.unknowns['all']:9} unknowns  "
            f"{'at least' if cost.is_least else 'about':>8} {rounded_time(seconds):>10}  "
            f"{cost.memory:6.0f} MB  {state}"
        )
        if state == "waiting":
            total, memory = total + seconds, max(memory, cost.memory)
    _check_refined(runs, cells)
    end = f"to do: about {rounded_time(total / max(workers, 1))}, up to {memory:.0f} MB for one run"
    return [
        *lines,
        f"{end}; equations with another degree of quadrature are compiled once"
        if total
        else "all runs are done",
    ]


def _check_refined(runs: Sequence[RefinedRun], cells: dict[str, int]) -> None:
    for run in runs:
        finer = run.family == MESH and run.factor < 1 and run.name in cells
        if finer and cells[run.name] <= cells[runs[0].name]:
            text = "the mesh of this case cannot be refined: half the element size gives no more elements"
            raise InputError(text, key="mesh")
