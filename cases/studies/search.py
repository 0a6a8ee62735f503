# SPDX-License-Identifier: MIT
"""Search: a batch of points is added to the plan of a study whenever the last batch is done.

The state of a search is the plan and the Run folders alone. The optimiser receives all results before each
batch, and its seed follows from the number of points. So an interrupted search continues with the same points
as an uninterrupted one, on this machine or on a cluster.
"""

import math
import warnings
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from annelid.cases.studies.plan import Plan, PlannedRun, extend_plan
from annelid.cases.studies.reading import StudyFile
from annelid.cases.studies.search_space import SearchSpace, search_space
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import number_of
from annelid.geometry.errors import InputError
from annelid.results.folder.tables import quantity_header
from annelid.solver.model.quantities import UNSTABLE_MODES

if TYPE_CHECKING:
    from optuna import Study as OptunaStudy

__all__ = ["initial_plan", "latest_plan", "next_plan"]

Summary = Mapping[str, Any]

_NO_RESULT = 100.0  # constraint violation of a run without result, larger than that of any requirement


def initial_plan(file: StudyFile) -> Plan:
    """The plan with the first points of a search, spread evenly.

    Raises:
        InputError: The study cannot be searched.
    """
    from scipy.stats import qmc

    study, search = file.study, file.study.search
    assert search is not None
    if not study.objectives:
        raise InputError(f"{file.path}: objectives: missing: a search needs one to three", key="objectives")
    if study.sampling is not None or study.tolerance:
        text = f"{file.path}: search: a search chooses its points itself; leave out sampling and tolerance"
        raise InputError(text, key="search")
    space = search_space(study)
    count = min(search.start, search.evaluations)
    names = [variable.name for variable in space.variables]
    sequence = qmc.Sobol(len(names), rng=np.random.default_rng(search.seed))
    cube = sequence.random_base2(max(1, math.ceil(math.log2(count))))[:count]
    points = [
        space.to_point(space.from_unit_cube(dict(zip(names, map(float, row), strict=True)))) for row in cube
    ]
    return extend_plan(Plan(file, space.variables, (), (), 0), points)


def next_plan(plan: Plan, store: Store) -> Plan | None:
    """Extend a plan by the next batch of points.

    Args:
        plan: A plan.
        store: Its study folder.

    Returns:
        The extended plan, not written yet; ``None`` for studies without a search, while runs of the last
        batch are not done, and after the last evaluation.
    """
    search = plan.file.study.search
    if search is None:
        return None
    left = search.evaluations - len(plan.run_of_point)
    if left <= 0 or any(store.state(run) in ("waiting", "running") for run in plan.runs):
        return None
    space = search_space(plan.file.study)
    with warnings.catch_warnings():
        from optuna.exceptions import ExperimentalWarning

        warnings.simplefilter("ignore", ExperimentalWarning)
        optimiser = _optimiser(plan, store, space)
        distributions = space.distributions()
        chosen = [optimiser.ask(distributions).params for _ in range(min(search.batch, left))]
    return extend_plan(plan, [space.to_point(point) for point in chosen])


def latest_plan(plan: Plan, store: Store) -> Plan:
    """Extend a plan by all batches that can be chosen before further runs are done."""
    while (extended := next_plan(plan, store)) is not None:
        plan = extended
    return plan


def _optimiser(plan: Plan, store: Store, space: SearchSpace) -> "OptunaStudy":
    """An optimiser with all results so far: a tree-structured Parzen estimator with constraints.

    Bergstra et al., Advances in Neural Information Processing Systems 24 (2011); several objectives and
    constraints as Ozaki et al., Journal of Artificial Intelligence Research 73 (2022) 1209, by optuna.
    """
    import optuna
    from optuna.study import StudyDirection

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    study, search = plan.file.study, plan.file.study.search
    assert search is not None
    seed = np.random.SeedSequence([search.seed, len(plan.run_of_point)]).generate_state(1)[0]
    sampler = optuna.samplers.TPESampler(
        multivariate=True, constant_liar=True, n_startup_trials=0, seed=int(seed)
    )
    direction_of = {"maximise": StudyDirection.MAXIMIZE, "minimise": StudyDirection.MINIMIZE}
    directions = [direction_of[objective.aim] for objective in study.objectives]
    optimiser = optuna.create_study(sampler=sampler, directions=directions)
    for number in plan.run_of_point:
        optimiser.add_trial(_trial(plan, plan.runs[number], store, space))
    return optimiser


def _trial(plan: Plan, run: PlannedRun, store: Store, space: SearchSpace) -> Any:
    """The result of a point: its objectives and constraint violations, or that it has no result."""
    from optuna.trial import TrialState, create_trial

    known: dict[str, Any] = {
        "params": space.to_parameters(run.values),
        "distributions": space.distributions(),
    }
    summary = store.summary(run)
    objectives = plan.file.study.objectives
    values = [_objective(summary, objective.quantity) for objective in objectives] if summary else [math.nan]
    if summary is None or not all(map(math.isfinite, values)):
        # Optuna ignores failed trials, so that the search would choose such points over and over.
        return create_trial(state=TrialState.PRUNED, constraints={"result": _NO_RESULT}, **known)
    violations = _violations(summary)
    if summary["outcome"].get("kind") == "stopped early":
        return create_trial(state=TrialState.PRUNED, constraints=violations, **known)
    return create_trial(values=values, constraints=violations, **known)


def _objective(summary: Summary, quantity: str) -> float:
    found = (summary["final_state"] or {}).get("quantities", {}) | summary.get("path_quantities", {})
    for key, value in found.items():
        if key.rpartition(" [")[0] == quantity:
            return number_of(value)
    return math.nan


def _violations(summary: Summary) -> dict[str, float]:
    """Violation of every requirement relative to its limit; 0 or less if it is met."""
    violations = {}
    for number, verdict in enumerate(summary["verdicts"]):
        limit, value = float(verdict["limit"]), number_of(verdict["value"])
        sign = -1.0 if str(verdict["condition"]).startswith("at most") else 1.0
        gap = sign * (limit - value) / (abs(limit) or 1.0)
        violations[str(number)] = gap if math.isfinite(gap) else 1.0
    last = summary["final_state"] or {}
    fell_short = summary["outcome"].get("kind") != "reached"
    unstable = number_of(last.get(quantity_header(UNSTABLE_MODES), 0)) > 0
    return violations | {"reached": float(fell_short), "stable": float(unstable)}
