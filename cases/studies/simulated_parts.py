# SPDX-License-Identifier: MIT
"""The parts of a tolerance study, for comparison with scanned parts."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from annelid.cases.studies.analysis import AT_FULL_LOAD, study_data
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.plan_file import read_plan
from annelid.cases.studies.sensitivity import sobol_indices
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import StudyTable
from annelid.cases.studies.tolerance import variance_contributions
from annelid.compare.repeatability.study_parts import StudyParts
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.results.study.study_data import StudyData

__all__ = ["simulated_parts"]

_FEWEST = 3


def simulated_parts(folder: Path) -> StudyParts:
    """Return the finished parts of a tolerance study.

    Args:
        folder: The study folder.

    Raises:
        InputError: It is no folder of a tolerance study of one design, or has too few finished parts.
    """
    plan, store = read_plan(folder), Store(folder)
    study = plan.file.study
    if not study.tolerance:
        text = "is not a tolerance study (tolerance = true), so its runs are not parts of one design"
        raise InputError(f"{folder}: {text}", key="--study")
    data = study_data(plan, StudyTable(plan, store).rows)
    if any(len(column.levels) > 1 for column in data.variables if column.role == "listed"):
        text = "has parts of several designs (listed values); give a study of one design"
        raise InputError(f"{folder}: {text}", key="--study")
    full = np.flatnonzero(data.is_in(*AT_FULL_LOAD))
    if len(full) < _FEWEST:
        text = f"has {len(full)} finished parts at full load; at least {_FEWEST} are needed"
        raise InputError(f"{folder}: {text}. Start the study again to continue it", key="--study")
    return StudyParts(
        folder,
        data.title,
        tuple(store.run_folder(plan.runs[i]) for i in full),
        {column.name: column.numbers[full] for column in data.quantities},
        lambda values: _shares(plan, data, full, values),
    )


def _shares(
    plan: Plan, data: StudyData, full: IntArray, values: FloatArray
) -> tuple[Mapping[str, float], str]:
    """Share of each input in the variance of values of the parts at full load."""
    sampled = {column.name: column.numbers for column in data.variables if column.role == "sampled"}
    sampling = plan.file.study.sampling
    if sampling is not None and sampling.method == "sensitivity":
        every = np.full(len(plan.runs), np.nan)
        every[full] = values
        points = every[list(plan.run_of_point)]
        found = sobol_indices("", list(sampled), points, seed=sampling.seed)
        if found is not None and found.total is not None:
            return dict(zip(found.names, map(float, found.total), strict=True)), "total Sobol index"
    known = np.isfinite(values)
    inputs = {name: column[full][known] for name, column in sampled.items()}
    return variance_contributions(values[known], inputs), "linear fit"
