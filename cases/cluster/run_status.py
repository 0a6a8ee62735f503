# SPDX-License-Identifier: MIT
"""The state of every run of a study on a cluster, from Run folders, attempts and the queue."""

import socket
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from annelid.cases.cluster.queue import QueueState
from annelid.cases.cluster.submission_records import Records
from annelid.cases.studies.plan import Plan, PlannedRun
from annelid.cases.studies.store import Store

__all__ = ["RunStatus", "run_status_lines", "run_statuses", "search_status_lines"]

ClusterState = Literal[
    "finished",
    "failed",
    "impossible",
    "queued",
    "running",
    "submitted",
    "stopped",
    "lost",
    "never started",
    "new",
]

TO_SUBMIT: tuple[ClusterState, ...] = ("new", "stopped", "lost", "never started")
_MEANING = {
    "submitted": "submitted to a queue that cannot be read now",
    "stopped": "cancelled, or ended by the cluster",
    "lost": "its node went down, or its job was killed",
    "never started": "its job left the queue without an attempt",
    "new": "not submitted yet",
}


@dataclass(frozen=True)
class RunStatus:
    """State of a run.

    Attributes:
        state: The state.
        detail: The failure, or where the run is, or where its log is.
    """

    state: ClusterState
    detail: str = ""


def run_statuses(plan: Plan, store: Store, records: Records, queue: QueueState | None) -> list[RunStatus]:
    """Find the state of every run.

    Args:
        plan: The study.
        store: Its folder.
        records: What was submitted to the cluster.
        queue: Jobs in the queue; ``None`` if the queue cannot be read.
    """
    places: dict[str, tuple[str | None, str, Path]] = {}
    for array in records.arrays():
        for index, name in enumerate(array.runs):
            if array.job is not None or name not in places:
                places[name] = (array.job, str(index), array.folder)
    found = []
    for run in plan.runs:
        summary, failure = store.summary(run), store.failure(run)
        if summary is not None:
            found.append(RunStatus("finished"))
        elif failure is not None:
            state: ClusterState = "impossible" if failure.kind == "impossible" else "failed"
            found.append(RunStatus(state, f"{failure.kind}: {failure.reason}"))
        else:
            status = _unfinished(run.id, records, places.get(run.id), queue)
            other = _other_process(run, store, records) if status.state in TO_SUBMIT else None
            found.append(other or status)
    return found


def _other_process(run: PlannedRun, store: Store, records: Records) -> RunStatus | None:
    """The status of a run that a process outside the queue works on, such as a driver on this machine."""
    holder, attempt = store.lock_holder(run), records.attempt(run.id)
    if holder is None or (attempt is not None and holder["host"] == attempt.host != socket.gethostname()):
        return None
    return RunStatus("running", f"process {holder['pid']} on {holder['host']}")


def _unfinished(
    run: str, records: Records, place: tuple[str | None, str, Path] | None, queue: QueueState | None
) -> RunStatus:
    attempt = records.attempt(run)
    job, index, folder = place or (None, "", Path())
    log = f"log {folder / index}.log" if place else ""
    known = [(job, index)] if job is not None else []
    known += [(attempt.job, attempt.index)] if attempt else []
    if queue is None:
        return RunStatus("submitted", log) if known else RunStatus("new")
    for key in known:
        state = queue.get((str(key[0]), key[1]))
        if state in ("PD", "CF"):
            return RunStatus("queued", f"job {key[0]}_{key[1]}")
        if state is not None:
            where = f" on {attempt.host}" if attempt and (attempt.job, attempt.index) == key else ""
            return RunStatus("running", f"job {key[0]}_{key[1]}{where}")
    if attempt is not None and (job is None or (attempt.job, attempt.index) == (job, index)):
        return RunStatus("stopped" if attempt.ended == "stopped" else "lost", f"on {attempt.host}; {log}")
    return RunStatus("never started", log) if job is not None else RunStatus("new")


def run_status_lines(plan: Plan, statuses: list[RunStatus], *, max_runs: int = 40) -> list[str]:
    """The states as text: counts, then each run that is neither finished nor queued nor new."""
    counts = Counter(status.state for status in statuses)
    lines = [f"{len(statuses)} runs: " + ", ".join(f"{n} {state}" for state, n in counts.most_common())]
    lines += [f"  {state}: {_MEANING[state]}" for state in counts if state in _MEANING]
    omitted = ("finished", "queued", "new", "submitted")
    shown = [(run.id, s) for run, s in zip(plan.runs, statuses, strict=True) if s.state not in omitted]
    lines += [f"{run}  {status.state}  {status.detail}".rstrip() for run, status in shown[:max_runs]]
    if len(shown) > max_runs:
        lines.append(f"… and {len(shown) - max_runs} more")
    return lines


def search_status_lines(plan: Plan, records: Records, queue: QueueState | None) -> list[str]:
    """Progress of a search and the job that continues it; empty for studies without a search."""
    search = plan.file.study.search
    if search is None:
        return []
    chosen, job = len(plan.run_of_point), records.collector_job()
    progress = f"search: {chosen} of {search.evaluations} points are chosen"
    if chosen >= search.evaluations:
        return [progress]
    if queue is None:
        return [f"{progress}; the queue cannot be read"]
    if job is not None and any(job == key[0] for key in queue):
        return [f"{progress}; job {job} continues the search when these runs have ended"]
    return [f"{progress}; no job continues the search; use --slurm to continue it"]
