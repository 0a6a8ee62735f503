# SPDX-License-Identifier: MIT
"""Looking for the best: the plan of a study grows by a batch of points whenever the last batch is done.

Nothing is kept but the plan and the Run folders: the optimiser is told of all of them before each batch, and
its seed follows from their number. So a search that was cut off goes on as if nothing had happened, here or
on a cluster.
"""

import math
import warnings
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from annelid.cases.studies.plan import Plan, Planned, extended
from annelid.cases.studies.reading import StudyFile
from annelid.cases.studies.space import Space, space_of
from annelid.cases.studies.store import Store
from annelid.geometry.errors import InputError

if TYPE_CHECKING:
    from optuna import Study as OptunaStudy

__all__ = ["begin", "continued", "grown"]

Values = Mapping[str, Any]

_NO_RESULT = 100.0  # worse than any requirement is missed


def begin(file: StudyFile) -> Plan:
    """The first points of a search, spread evenly.

    Raises:
        InputError: The study cannot be searched.
    """
    from scipy.stats import qmc

    study, search = file.study, file.study.search
    assert search is not None
    if not study.objectives:
        raise InputError(
            f"{file.path}: objectives: are missing; a search needs one to three", key="objectives"
        )
    if study.sampling is not None or study.tolerance:
        text = f"{file.path}: search: chooses its points itself; leave out sampling and tolerance"
        raise InputError(text, key="search")
    space = space_of(study)
    count = min(search.start, search.evaluations)
    names = [variable.name for variable in space.variables]
    sequence = qmc.Sobol(len(names), rng=np.random.default_rng(search.seed))
    shares = sequence.random_base2(max(1, math.ceil(math.log2(count))))[:count]
    points = [space.point(space.spread(dict(zip(names, map(float, row), strict=True)))) for row in shares]
    return extended(Plan(file, space.variables, (), (), 0), points)


def continued(plan: Plan, store: Store) -> Plan | None:
    """The plan with the next batch of points; ``None`` if there is nothing to choose now.

    Args:
        plan: A plan.
        store: Its study folder.

    Returns:
        The longer plan, not written yet; ``None`` for studies that do not search, while runs of the last
        batch are not done, and when all evaluations are used.
    """
    search = plan.file.study.search
    if search is None:
        return None
    left = search.evaluations - len(plan.of_point)
    if left <= 0 or any(store.state(run) in ("waiting", "running") for run in plan.runs):
        return None
    space = space_of(plan.file.study)
    with warnings.catch_warnings():
        from optuna.exceptions import ExperimentalWarning

        warnings.simplefilter("ignore", ExperimentalWarning)
        optimiser = _optimiser(plan, store, space)
        distributions = space.distributions()
        chosen = [optimiser.ask(distributions).params for _ in range(min(search.batch, left))]
    return extended(plan, [space.point(point) for point in chosen])


def grown(plan: Plan, store: Store) -> Plan:
    """The plan with all points that can be chosen before another run is needed."""
    while (longer := continued(plan, store)) is not None:
        plan = longer
    return plan


def _optimiser(plan: Plan, store: Store, space: Space) -> "OptunaStudy":
    """An optimiser that knows all points so far: a tree-structured Parzen estimator with constraints.

    Bergstra et al., Advances in Neural Information Processing Systems 24 (2011); several objectives and
    constraints as Ozaki et al., Journal of Artificial Intelligence Research 73 (2022) 1209, by optuna.
    """
    import optuna
    from optuna.study import StudyDirection

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    study, search = plan.file.study, plan.file.study.search
    assert search is not None
    seed = np.random.SeedSequence([search.seed, len(plan.of_point)]).generate_state(1)[0]
    sampler = optuna.samplers.TPESampler(
        multivariate=True, constant_liar=True, n_startup_trials=0, seed=int(seed)
    )
    words = {"maximise": StudyDirection.MAXIMIZE, "minimise": StudyDirection.MINIMIZE}
    directions = [words[objective.aim] for objective in study.objectives]
    optimiser = optuna.create_study(sampler=sampler, directions=directions)
    for number in plan.of_point:
        optimiser.add_trial(_trial(plan, plan.runs[number], store, space))
    return optimiser


def _trial(plan: Plan, run: Planned, store: Store, space: Space) -> Any:
    """What is known of a point: objectives and how far it misses what is required, or that it failed."""
    from optuna.trial import TrialState, create_trial

    known: dict[str, Any] = {"params": space.chosen(run.values), "distributions": space.distributions()}
    summary = store.summary(run)
    objectives = plan.file.study.objectives
    values = [_objective(summary, objective.quantity) for objective in objectives] if summary else [math.nan]
    if summary is None or not all(map(math.isfinite, values)):
        # Left out altogether, as optuna does with failed trials, they would be tried over and over.
        return create_trial(state=TrialState.PRUNED, constraints={"result": _NO_RESULT}, **known)
    missed = _missed(summary)
    if summary["outcome"].get("kind") == "stopped early":
        return create_trial(state=TrialState.PRUNED, constraints=missed, **known)
    return create_trial(values=values, constraints=missed, **known)


def _objective(summary: Values, quantity: str) -> float:
    found = (summary["final_state"] or {}).get("quantities", {})
    for key, value in found.items():
        if key.rpartition(" [")[0] == quantity:
            return _finite(value)
    return math.nan


def _missed(summary: Values) -> dict[str, float]:
    """How far every requirement is missed, in parts of its limit; 0 or less where it is met."""
    missed = {}
    for number, verdict in enumerate(summary["verdicts"]):
        limit, value = float(verdict["limit"]), _finite(verdict["value"])
        sign = -1.0 if str(verdict["condition"]).startswith("at most") else 1.0
        gap = sign * (limit - value) / (abs(limit) or 1.0)
        missed[str(number)] = gap if math.isfinite(gap) else 1.0
    last = summary["final_state"] or {}
    fell_short = summary["outcome"].get("kind") != "reached"
    unstable = _finite(last.get("unstable modes [1]", 0)) > 0
    return missed | {"reached": float(fell_short), "stable": float(unstable)}


def _finite(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan
