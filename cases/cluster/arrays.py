# SPDX-License-Identifier: MIT
"""Grouping of the missing runs of a study into job arrays with equal numbers of ranks and equal limits."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from annelid.cases.cluster.site import Site
from annelid.cases.cluster.submission_records import ArrayTask, Records
from annelid.cases.studies.plan import Plan, PlannedRun
from annelid.cases.studies.store import Store

__all__ = ["JobArray", "RequestedLimits", "make_job_arrays"]

_DEFAULT_MEMORY = 2000.0  # MB, without a limit in the command line, the site file and the study


@dataclass(frozen=True)
class RequestedLimits:
    """Limits of a run from the command line; ``None`` if not given.

    Attributes:
        seconds: Time.
        megabytes: Memory of all ranks together.
    """

    seconds: float | None = None
    megabytes: float | None = None


@dataclass(frozen=True)
class JobArray:
    """Runs that are submitted together as one job array.

    Attributes:
        tasks: The runs, all with the same number of ranks and the same limits.
        compiles_first: Whether it compiles equations that the runs of other arrays need too.
        waits_for_compilation: Whether it must wait for the end of the arrays that compile first.
    """

    tasks: tuple[ArrayTask, ...]
    compiles_first: bool
    waits_for_compilation: bool


def make_job_arrays(
    plan: Plan,
    store: Store,
    site: Site,
    runs: Sequence[PlannedRun],
    requested: RequestedLimits,
    *,
    max_size: int,
) -> list[JobArray]:
    """Group missing runs into job arrays; those that compile first come first.

    Args:
        plan: The study.
        store: Its folder.
        site: Settings of the cluster.
        runs: The missing runs.
        requested: Limits of the command line; they override those of the site and the study.
        max_size: Largest number of runs in an array.
    """
    records, first_of_kind = Records(store.path), _runs_that_compile(plan, store, runs)
    groups: dict[tuple[bool, bool, int, float, float], list[ArrayTask]] = {}
    for run in runs:
        task = _task(plan, store, site, run, requested, records)
        compiles = first_of_kind.get(run.kind) == run.id
        waits = run.kind in first_of_kind and not compiles
        groups.setdefault((not compiles, waits, task.ranks, task.seconds, task.megabytes), []).append(task)
    return [
        JobArray(tuple(part), compiles_first=not key[0], waits_for_compilation=key[1])
        for key, tasks in sorted(groups.items())
        for part in _parts(tasks, max_size)
    ]


def _runs_that_compile(plan: Plan, store: Store, runs: Sequence[PlannedRun]) -> dict[str, str]:
    """The first run of every kind that no finished run has compiled and that several runs need, by kind."""
    compiled = {run.kind for run in plan.runs if store.summary(run) is not None}
    of_kind: dict[str, list[PlannedRun]] = {}
    for run in runs:
        of_kind.setdefault(run.kind, []).append(run)
    return {kind: same[0].id for kind, same in of_kind.items() if kind not in compiled and len(same) > 1}


def _parts(tasks: Sequence[ArrayTask], max_size: int) -> Iterator[Sequence[ArrayTask]]:
    for begin in range(0, len(tasks), max_size):
        yield tasks[begin : begin + max_size]


def _task(
    plan: Plan, store: Store, site: Site, run: PlannedRun, requested: RequestedLimits, records: Records
) -> ArrayTask:
    study = plan.file.study
    seconds, megabytes = _limits(plan, store, site, run, requested, records)
    return ArrayTask(
        run.id,
        run.hash,
        run.toml,
        run.ranks,
        seconds,
        megabytes,
        surfaces=study.output.keep != "tables",
        report=study.output.reports,
        launcher=("srun", *site.srun, "--ntasks={ranks}") if site.ranks == "srun" else (),
        stop_early=study.stops_early,
    )


def _limits(
    plan: Plan, store: Store, site: Site, run: PlannedRun, requested: RequestedLimits, records: Records
) -> tuple[float, float]:
    """Time and memory of a run: at least those of its last attempt, and more if it exceeded them."""
    limits = plan.file.study.limits
    seconds, megabytes = site.time or limits.time, site.memory or limits.memory or _DEFAULT_MEMORY
    attempt, failure = records.attempt(run.id), store.failure(run)
    if attempt is not None:
        seconds, megabytes = max(seconds, attempt.seconds), max(megabytes, attempt.megabytes)
    if failure is not None and failure.kind == "time limit":
        seconds *= site.more.time
    if failure is not None and failure.kind == "memory":
        megabytes *= site.more.memory
    return requested.seconds or seconds, requested.megabytes or megabytes
