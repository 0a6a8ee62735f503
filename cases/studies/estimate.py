# SPDX-License-Identifier: MIT
"""What a study will take, before it is started: from runs that are done, else from their sizes."""

from typing import NamedTuple

import numpy as np

from annelid.cases.convert.body import body_of
from annelid.cases.convert.cost import Cost, cost_of
from annelid.cases.schema.case import Case
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.progress import duration
from annelid.cases.studies.sample import timed_sample
from annelid.cases.studies.store import Store
from annelid.geometry.errors import AnnelidError
from annelid.results.display_units import counted

__all__ = ["Estimate", "estimate"]

_MESHED = 30  # cases that are meshed to tell the size of all
# Of a run that was watched: 190 MB with all libraries, and about 9 kB an unknown of an axisymmetric case.
_MEMORY, _MEMORY_UNKNOWN = 190.0, 9e-3


class Estimate(NamedTuple):
    """What a study will take.

    Attributes:
        unknowns: Number of unknowns of every run; 0 for a point that makes no possible case.
        seconds: Expected time of every run, in s.
        memory: Expected memory of the largest run, in MB.
        timed: Number of timed runs that the estimate stands on; 0 when it stands on sizes alone.
    """

    unknowns: tuple[int, ...]
    seconds: tuple[float, ...]
    memory: float
    timed: int

    def lines(self, waiting: list[int], workers: int) -> list[str]:
        """The estimate in words, for the runs that are left."""
        counts = [self.unknowns[i] for i in waiting if self.unknowns[i]]
        if not counts:
            return ["nothing is left to run"]
        total = sum(self.seconds[i] for i in waiting)
        source = f"from {counted(self.timed, 'timed run')}"
        if not self.timed:
            source = "from the sizes alone; none is timed yet"
        return [
            f"unknowns: {min(counts)} to {max(counts)}",
            f"time: about {duration(total / workers)} with {counted(workers, 'worker')}, {source}",
            f"memory: about {self.memory:.0f} MB a worker, {self.memory * workers:.0f} MB in all",
        ]


def estimate(plan: Plan, store: Store) -> Estimate:
    """Estimate all runs; meshes some, at most thirty, and gives runs of like drawing the same size."""
    sizes: dict[str, Cost] = {}
    cases = [run.case() if run.toml else None for run in plan.runs]
    drawings = [_drawing(case) if case else "" for case in cases]
    distinct = [d for d in dict.fromkeys(drawings) if d]
    step = max(1, -(-len(distinct) // _MESHED))
    for drawing in distinct[::step]:
        cost = _cost(cases[drawings.index(drawing)])
        if cost is not None:
            sizes[drawing] = cost
    typical = max(sizes.values(), key=lambda cost: cost.unknowns["all"], default=None)
    costs = [sizes.get(drawing, typical) if drawing else None for drawing in drawings]
    expected = np.array([0.0 if cost is None else cost.seconds for cost in costs])
    times, memory = _timed(plan, store)
    if np.isnan(times).all() and typical is not None:
        middle = drawings.index(next(d for d in drawings if sizes.get(d) is typical))
        sample = timed_sample(plan.runs[middle])
        if sample is not None:
            times[middle], memory[middle] = sample
    timed = ~np.isnan(times)
    if timed.any():
        expected *= np.median(times[timed]) / max(np.median(expected[timed]), 1e-9)
        largest = float(np.nanmax(memory))
    else:
        largest = _MEMORY + _MEMORY_UNKNOWN * (typical.unknowns["all"] if typical else 0)
    unknowns = tuple(0 if cost is None else cost.unknowns["all"] for cost in costs)
    return Estimate(unknowns, tuple(map(float, expected)), largest, int(timed.sum()))


def _cost(case: Case | None) -> Cost | None:
    assert case is not None
    try:
        return cost_of(case, body_of(case))
    except AnnelidError:
        return None


def _drawing(case: Case) -> str:
    """Everything that the mesh and the number of steps depend on."""
    stages = [(stage.name, stage.steps) for stage in case.stages]
    return repr((case.shape, case.mesh, case.electrodes, case.sections, case.electrics, stages))


def _timed(plan: Plan, store: Store) -> tuple[np.ndarray, np.ndarray]:
    """Time and memory of every finished run, NaN for the others."""
    times, memory = np.full((2, len(plan.runs)), np.nan)
    for i, run in enumerate(plan.runs):
        summary = store.summary(run)
        cost = (summary or {}).get("facts", {}).get("cost", {})
        if cost:
            times[i] = float(str(cost.get("time", "nan")).split()[0])
            memory[i] = float(str(cost.get("peak memory of the first rank", "nan")).split()[0])
    return times, memory
