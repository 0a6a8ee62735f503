# SPDX-License-Identifier: MIT
"""Estimated cost of a study, from the measured cost of finished runs, else from the sizes of the runs."""

import tomllib
from typing import NamedTuple

import numpy as np

from annelid.cases.convert.body import body_of
from annelid.cases.convert.cost import Cost, cost_of, rounded_time
from annelid.cases.schema.case import Case
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.store import Store
from annelid.cases.studies.timing import time_run
from annelid.geometry.errors import AnnelidError
from annelid.solver.display import counted

__all__ = ["CostEstimate", "estimate_cost"]

_MAX_MESHES = 30
_SIZES = ("shape", "mesh", "electrodes", "sections", "electrics")
_FIRST_MESHES = " (of the first mesh of each run, which chooses its own)"
_STEPS = ("name", "steps", "steps_per_period", "duration", "waves")


class CostEstimate(NamedTuple):
    """Estimated cost of a study.

    Attributes:
        unknowns: Number of unknowns of every run; 0 without a valid case.
        seconds: Expected time of every run in s.
        memory: Expected memory of the largest run in MB.
        timed: Number of runs with a measured cost; 0 if the estimate is based only on sizes.
        chosen: Whether runs choose their meshes, so that the numbers of unknowns are those of first meshes.
    """

    unknowns: tuple[int, ...]
    seconds: tuple[float, ...]
    memory: float
    timed: int
    chosen: bool = False

    def lines(self, waiting: list[int], workers: int) -> list[str]:
        """The estimate as text, for the runs with the given indices."""
        counts = [self.unknowns[i] for i in waiting if self.unknowns[i]]
        if not counts:
            return ["all runs are done"]
        total = sum(self.seconds[i] for i in waiting)
        source = f"from {counted(self.timed, 'timed run')}"
        if not self.timed:
            source = "from the sizes of the runs, since no run is timed yet"
        return [
            f"unknowns: {min(counts)} to {max(counts)}{_FIRST_MESHES if self.chosen else ''}",
            f"time: about {rounded_time(total / workers)} with {counted(workers, 'worker')}, {source}",
            f"memory: about {self.memory:.0f} MB per worker, {self.memory * workers:.0f} MB in total",
        ]


def estimate_cost(plan: Plan, store: Store) -> CostEstimate:
    """Estimate the cost of all runs.

    At most thirty runs of different size are meshed; the others are assumed to be as large as the largest of
    these. If no run is finished, the largest meshed run is timed: of equal first meshes the one whose mesh is
    chosen for the smallest error.
    """
    sizes: dict[str, Cost] = {}
    keys = [_size_key(run.toml) if run.toml else "" for run in plan.runs]
    distinct = [d for d in dict.fromkeys(keys) if d]
    step = max(1, -(-len(distinct) // _MAX_MESHES))
    for key in distinct[::step]:
        cost = _mesh_cost(plan.runs[keys.index(key)].case())
        if cost is not None:
            sizes[key] = cost
    asked = {key: _accuracy(plan.runs[keys.index(key)].toml) for key in sizes}
    timed_key = max(sizes, key=lambda key: (sizes[key].unknowns["all"], -asked[key]), default="")
    largest = sizes.get(timed_key)
    costs = [sizes.get(key, largest) if key else None for key in keys]
    expected = np.array([0.0 if cost is None else cost.seconds for cost in costs])
    times, memory = _measured_cost(plan, store)
    if np.isnan(times).all() and largest is not None:
        index = keys.index(timed_key)
        sample = time_run(plan.runs[index])
        if sample is not None:
            times[index], memory[index] = sample
    timed = ~np.isnan(times)
    if timed.any():
        expected *= np.median(times[timed]) / max(np.median(expected[timed]), 1e-9)
        peak_memory = float(np.nanmax(memory))
    else:
        peak_memory = largest.memory if largest else 0.0
    unknowns = tuple(0 if cost is None else cost.unknowns["all"] for cost in costs)
    seconds, chosen = tuple(map(float, expected)), any(asked.values())
    return CostEstimate(unknowns, seconds, peak_memory, int(timed.sum()), chosen)


def _mesh_cost(case: Case) -> Cost | None:
    try:
        return cost_of(case, body_of(case))
    except AnnelidError:
        return None


def _size_key(toml: str) -> str:
    """Text of everything in a resolved case that the mesh and the number of steps depend on.

    The tables are not validated again, which takes half as long as the plan of a study.
    """
    tables = tomllib.loads(toml)
    stages = [[stage.get(key) for key in _STEPS] for stage in tables["stages"]]
    return repr(([tables.get(name) for name in _SIZES], stages))


def _accuracy(toml: str) -> float:
    """The accuracy for which a resolved case chooses its mesh, 0 if it has sizes."""
    return float(tomllib.loads(toml)["mesh"].get("accuracy", 0.0))


def _measured_cost(plan: Plan, store: Store) -> tuple[np.ndarray, np.ndarray]:
    """Measured time and memory of every finished run, NaN for the others."""
    times, memory = np.full((2, len(plan.runs)), np.nan)
    for i, run in enumerate(plan.runs):
        summary = store.summary(run)
        cost = (summary or {}).get("facts", {}).get("cost", {})
        if cost:
            times[i] = float(str(cost.get("time", "nan")).split()[0])
            memory[i] = float(str(cost.get("peak memory of the first rank", "nan")).split()[0])
    return times, memory
