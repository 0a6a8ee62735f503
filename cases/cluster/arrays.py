# SPDX-License-Identifier: MIT
"""Which arrays the missing runs of a study become: one for each number of ranks and each pair of limits."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from annelid.cases.cluster.records import Order, Records
from annelid.cases.cluster.site import Site
from annelid.cases.studies.plan import Plan, Planned
from annelid.cases.studies.store import Store

__all__ = ["Array", "Limits", "arrays_of"]

_MEMORY = 2000.0  # MB, where neither command line nor site nor study says


@dataclass(frozen=True)
class Limits:
    """What a run may take; ``None`` where nothing is said.

    Attributes:
        seconds: Time.
        megabytes: Memory, all ranks together.
    """

    seconds: float | None = None
    megabytes: float | None = None


@dataclass(frozen=True)
class Array:
    """Runs that are submitted together.

    Attributes:
        orders: The runs, all with the same ranks and limits.
        leads: Whether others wait for its end, since it compiles the equations that they need.
        waits: Whether it waits for the arrays that lead.
    """

    orders: tuple[Order, ...]
    leads: bool
    waits: bool


def arrays_of(
    plan: Plan, store: Store, site: Site, runs: Sequence[Planned], asked: Limits, *, largest: int
) -> list[Array]:
    """Sort missing runs into arrays, those that lead first.

    Args:
        plan: The study.
        store: Its folder.
        site: What the cluster wants to be told.
        runs: The missing runs.
        asked: Limits of the command line; they go before those of site and study.
        largest: Most runs in an array.
    """
    records, leaders = Records(store.path), _leaders(plan, store, runs)
    groups: dict[tuple[bool, bool, int, float, float], list[Order]] = {}
    for run in runs:
        order = _order(plan, store, site, run, asked, records)
        leads = leaders.get(run.kind) == run.id
        key = (not leads, run.kind in leaders and not leads, order.ranks, order.seconds, order.megabytes)
        groups.setdefault(key, []).append(order)
    return [
        Array(tuple(part), leads=not key[0], waits=key[1])
        for key, orders in sorted(groups.items())
        for part in _parts(orders, largest)
    ]


def _leaders(plan: Plan, store: Store, runs: Sequence[Planned]) -> dict[str, str]:
    """One run, by its kind, of every kind that no finished run has compiled yet, where others need it too."""
    warm = {run.kind for run in plan.runs if store.summary(run) is not None}
    of_kind: dict[str, list[Planned]] = {}
    for run in runs:
        of_kind.setdefault(run.kind, []).append(run)
    return {kind: same[0].id for kind, same in of_kind.items() if kind not in warm and len(same) > 1}


def _parts(orders: Sequence[Order], largest: int) -> Iterator[Sequence[Order]]:
    for begin in range(0, len(orders), largest):
        yield orders[begin : begin + largest]


def _order(plan: Plan, store: Store, site: Site, run: Planned, asked: Limits, records: Records) -> Order:
    study = plan.file.study
    seconds, megabytes = _limits(plan, store, site, run, asked, records)
    return Order(
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
    plan: Plan, store: Store, site: Site, run: Planned, asked: Limits, records: Records
) -> tuple[float, float]:
    """Time and memory of a run: never less than at its last try, and more if they were too little."""
    said = plan.file.study.limits
    seconds, megabytes = site.time or said.time, site.memory or said.memory or _MEMORY
    attempt, failure = records.attempt(run.id), store.failure(run)
    if attempt is not None:
        seconds, megabytes = max(seconds, attempt.seconds), max(megabytes, attempt.megabytes)
    if failure is not None and failure.kind == "time limit":
        seconds *= site.more.time
    if failure is not None and failure.kind == "memory":
        megabytes *= site.more.memory
    return asked.seconds or seconds, asked.megabytes or megabytes
