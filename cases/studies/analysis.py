# SPDX-License-Identifier: MIT
"""The data of the page of a study from its table: categories, Pareto front, sensitivities, distributions."""

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from annelid.cases.convert.display import display_units_of
from annelid.cases.schema.case import Case
from annelid.cases.studies.pareto import pareto_front
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.sensitivity import rank_correlations, sobol_indices
from annelid.cases.studies.table import ALL_REQUIREMENTS_MET, Row, column_header
from annelid.cases.studies.tolerance import estimate_yield, quantity_spread
from annelid.cases.studies.values import to_internal
from annelid.cases.validate.reported import known_quantities
from annelid.results.folder.tables import quantity_header
from annelid.results.study.figures import level_label
from annelid.results.study.study_data import (
    BestRun,
    Category,
    Column,
    QuantityLimit,
    Sensitivity,
    Spread,
    StudyData,
    Yield,
)
from annelid.solver.display import DisplayUnits
from annelid.solver.model.quantities import UNSTABLE_MODES, quantity_of

__all__ = ["AT_FULL_LOAD", "best_run", "study_data"]

_DEFAULT_PLOTS = 4
AT_FULL_LOAD: tuple[Category, ...] = ("met", "missed", "unstable")
"""Categories of the runs in the statistics; results of a run that stopped belong to another load."""


def study_data(plan: Plan, rows: list[Row]) -> StudyData:
    """Collect the data of the page, except facts about the study folder.

    Args:
        plan: The study.
        rows: Rows of its table.
    """
    study = plan.file.study
    case = next(run for run in plan.runs if run.toml).case()
    data = StudyData(
        title=study.title,
        notes=study.notes,
        ids=tuple(run.id for run in plan.runs),
        categories=tuple(map(_category, rows)),
        outcomes=tuple(str(row.get("outcome") or row["status"]) for row in rows),
        messages=tuple(str(row.get("outcome in words") or row.get("reason") or "") for row in rows),
        links=tuple(str(row.get("report", "")) for row in rows),
        variables=_variables(plan, display_units_of(case)),
        quantities=_quantities(plan, case, rows),
        limits=_limits(plan, case),
        requirements=_verdicts(rows),
        objectives={objective.quantity: objective.aim for objective in study.objectives},
        best=best_run(plan, rows),
    )
    data = replace(data, front=_front(data))
    if study.tolerance:
        spreads, yields = _tolerance(plan, data)
        data = replace(data, spreads=tuple(spreads), yields=tuple(yields))
    # Not across parts of different nominal sizes; the spread of each group has its contributions.
    if len(data.yields) <= 1:
        data = replace(data, sensitivities=tuple(_sensitivities(plan, data)))
    return data


def best_run(plan: Plan, rows: list[Row]) -> BestRun | None:
    """Return the best run of a study with one objective.

    Only runs that meet all requirements count. There is no best one if none does, with several objectives,
    and for tolerances, whose runs are parts of one design.
    """
    study = plan.file.study
    allowed = [i for i, row in enumerate(rows) if _category(row) == "met"]
    if len(study.objectives) != 1 or study.tolerance or not allowed:
        return None
    (objective,) = study.objectives
    case = next(run for run in plan.runs if run.toml).case()
    column = next(c for c in _quantities(plan, case, rows) if c.name == objective.quantity)
    allowed = [i for i in allowed if math.isfinite(column.values[i])]
    if not allowed:
        return None
    sign = -1 if objective.aim == "maximise" else 1
    best = min(allowed, key=lambda i: sign * column.values[i])
    variables = [c for c in _variables(plan, display_units_of(case)) if c.role != "derived"]
    values = ", ".join(f"{c.title} {c.shown(best)}" for c in variables)
    word = "largest" if sign < 0 else "smallest"
    among = "that meet all requirements" if case.requirements else "that end in a stable state"
    shown = f"{column.shown(best)}: {values}"
    return BestRun(best, plan.runs[best].id, f"of the runs {among}", f"{word} {column.title}", shown)


def _category(row: Row) -> Category:
    if row["status"] == "failed":
        return "failed"
    if row["status"] != "finished":
        return "pending"
    if row.get("outcome") != "reached":
        return "stopped"
    if _number(row, quantity_header(UNSTABLE_MODES)) > 0:
        return "unstable"
    return "met" if row.get(ALL_REQUIREMENTS_MET, True) else "missed"


def _number(row: Row, key: str) -> float:
    value = row.get(key, math.nan)
    return float(value) if isinstance(value, int | float) else math.nan


def _variables(plan: Plan, display: DisplayUnits) -> tuple[Column, ...]:
    derived = {entry for run in plan.runs[:1] for entry in list(run.values)[len(plan.file.study.vary) :]}
    found = []
    for variable in plan.variables:
        role: Any = "derived" if variable.name in derived else "sampled" if variable.drawn else "listed"
        values = [run.values[variable.name] for run in plan.runs]
        if variable.unit is None:
            found.append(Column(variable.name, None, role, tuple(map(str, values))))
        else:
            numbers = [to_internal(value) for value in values]
            numbers = [math.nan if number is None else number for number in numbers]
            kind = display.kind_of(variable.unit, variable.key or variable.name)
            found.append(Column(variable.name, variable.unit, role, tuple(numbers), kind, display))
    return tuple(found)


def _quantities(plan: Plan, case: Case, rows: list[Row]) -> tuple[Column, ...]:
    """The given quantities, else those of objectives and requirements, else the first reported ones."""
    study, display = plan.file.study, display_units_of(case)
    names = [*(objective.quantity for objective in study.objectives), *study.quantities]
    if not study.quantities:
        names += [requirement.quantity for requirement in case.requirements]
    columns = {
        name: Column(
            name,
            quantity.unit,
            "quantity",
            tuple(_number(row, column_header(name, quantity.unit)) for row in rows),
            quantity.kind,
            display,
        )
        for name, quantity in ((name, quantity_of(name)) for name in known_quantities(case))
        if name in names or not names
    }
    if names:
        return tuple(columns[name] for name in dict.fromkeys(names) if name in columns)
    return tuple(c for c in columns.values() if len(c.levels) > 1)[:_DEFAULT_PLOTS]


def _limits(plan: Plan, case: Case) -> dict[str, tuple[QuantityLimit, ...]]:
    """Requirements on the last state, which the plots show; other stages are not plotted."""
    if any((variable.key or "").startswith("requirements") for variable in plan.variables):
        return {}
    last = case.stages[-1].name if case.stages else None
    found: dict[str, list[QuantityLimit]] = {}
    for requirement in case.requirements:
        if requirement.stage not in (None, last):
            continue
        for value, is_lower_limit in ((requirement.at_least, True), (requirement.at_most, False)):
            number = to_internal(value) if value is not None else None
            if number is not None:
                found.setdefault(requirement.quantity, []).append(QuantityLimit(number, is_lower_limit))
    return {name: tuple(limits) for name, limits in found.items()}


def _verdicts(rows: list[Row]) -> dict[str, tuple[bool | None, ...]]:
    names = dict.fromkeys(key for row in rows for key in row if key.startswith("met: "))
    return {name.removeprefix("met: "): tuple(row.get(name) for row in rows) for name in names}


def _front(data: StudyData) -> tuple[int, ...]:
    """The Pareto front of the runs that meet all requirements, or of all stable runs if none does."""
    if len(data.objectives) < 2:
        return ()
    values = np.column_stack([data.column(name).numbers for name in data.objectives])
    allowed = data.is_in("met") if "met" in data.categories else data.is_in("missed")
    values[~allowed] = np.nan
    return tuple(map(int, pareto_front(values, tuple(aim == "maximise" for aim in data.objectives.values()))))


def _sensitivities(plan: Plan, data: StudyData) -> Iterator[Sensitivity]:
    points = list(plan.run_of_point)
    sampling = plan.file.study.sampling
    numbers = [c for c in data.variables if c.role != "derived" and c.unit is not None and len(c.levels) > 1]
    for quantity in data.quantities:
        values = np.where(data.is_in(*AT_FULL_LOAD), quantity.numbers, np.nan)[points]
        found = None
        if sampling is not None and sampling.method == "sensitivity":
            names = [c.name for c in data.variables if c.role == "sampled"]
            found = sobol_indices(quantity.name, names, values, seed=sampling.seed)
        elif numbers:
            variables = np.column_stack([c.numbers for c in numbers])[points]
            found = rank_correlations(quantity.name, [c.name for c in numbers], variables, values)
        if found is not None:
            yield found


def _tolerance(plan: Plan, data: StudyData) -> tuple[list[Spread], list[Yield]]:
    listed = [c for c in data.variables if c.role == "listed"]
    spreads: list[Spread] = []
    yields: list[Yield] = []
    points = np.array(plan.run_of_point)
    for levels in itertools.product(*(c.levels for c in listed)):
        group = ", ".join(level_label(c, level) for c, level in zip(listed, levels, strict=True))
        same = [np.array([v == level for v in c.values]) for c, level in zip(listed, levels, strict=True)]
        chosen = np.logical_and.reduce(same) if same else np.ones(len(data.ids), dtype=bool)
        parts = points[chosen[points]]
        categories = np.array(data.categories)[parts]
        done = categories != "pending"
        if done.any():
            failed = int((categories == "failed").sum())
            yields.append(estimate_yield(group, categories[done] == "met", failed))
        spreads += _spreads(data, group, parts, np.isin(categories, AT_FULL_LOAD))
    return spreads, yields


def _spreads(data: StudyData, group: str, parts: Any, at_full_load: Any) -> Iterator[Spread]:
    variables: Mapping[str, Any] = {c.name: c.numbers[parts] for c in data.variables if c.role == "sampled"}
    for quantity in data.quantities:
        values = np.where(at_full_load, quantity.numbers[parts], np.nan)
        limits = data.limits.get(quantity.name, ())
        found = quantity_spread(quantity.name, group, values, limits, variables)
        if found is not None:
            yield replace(found, display=quantity.display)
