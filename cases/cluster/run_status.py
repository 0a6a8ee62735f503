# SPDX-License-Identifier: MIT
"""How every run of a study stands, from Run folders and tries; the queue only says who waits or works."""

import socket
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from annelid.cases.cluster.records import Records
from annelid.cases.studies.plan import Plan, Planned
from annelid.cases.studies.store import Store

__all__ = ["Standing", "lines", "search_lines", "standings"]

Word = Literal[
    "finished",
    "failed",
    "impossible",
    "queued",
    "running",
    "submitted",
    "stopped",
    "lost",
    "never began",
    "new",
]
Queue = Mapping[tuple[str, str], str]

MISSING: tuple[Word, ...] = ("new", "stopped", "lost", "never began")
_MEANING = {
    "submitted": "handed to a queue that cannot be asked now",
    "stopped": "cancelled, or ended by the cluster",
    "lost": "its node went down, or it was killed",
    "never began": "its job has left the queue without a try",
    "new": "not handed in yet",
}


@dataclass(frozen=True)
class Standing:
    """How a run stands.

    Attributes:
        word: In a word.
        detail: Kind of failure, or where it works, or where its log is.
    """

    word: Word
    detail: str = ""


def standings(plan: Plan, store: Store, records: Records, queue: Queue | None) -> list[Standing]:
    """Look at every run.

    Args:
        plan: The study.
        store: Its folder.
        records: What was handed to the cluster.
        queue: What is in the queue; ``None`` if it cannot be asked.
    """
    places: dict[str, tuple[str | None, str, Path]] = {}
    for batch in records.batches():
        for index, name in enumerate(batch.runs):
            if batch.job is not None or name not in places:
                places[name] = (batch.job, str(index), batch.folder)
    found = []
    for run in plan.runs:
        summary, failure = store.summary(run), store.failure(run)
        if summary is not None:
            found.append(Standing("finished"))
        elif failure is not None:
            word: Word = "impossible" if failure.kind == "impossible" else "failed"
            found.append(Standing(word, f"{failure.kind}: {failure.reason}"))
        else:
            at = _unfinished(run.id, records, places.get(run.id), queue)
            found.append(_elsewhere(run, store, records) or at if at.word in MISSING else at)
    return found


def _elsewhere(run: Planned, store: Store, records: Records) -> Standing | None:
    """Whether someone works on a run who is not of the queue: a driver on this machine, say."""
    holder, attempt = store.holder(run), records.attempt(run.id)
    if holder is None or (attempt is not None and holder["host"] == attempt.host != socket.gethostname()):
        return None
    return Standing("running", f"process {holder['pid']} on {holder['host']}")


def _unfinished(
    run: str, records: Records, place: tuple[str | None, str, Path] | None, queue: Queue | None
) -> Standing:
    attempt = records.attempt(run)
    job, index, folder = place or (None, "", Path())
    log = f"log {folder / index}.log" if place else ""
    known = [(job, index)] if job is not None else []
    known += [(attempt.job, attempt.index)] if attempt else []
    if queue is None:
        return Standing("submitted", log) if known else Standing("new")
    for key in known:
        state = queue.get((str(key[0]), key[1]))
        if state in ("PD", "CF"):
            return Standing("queued", f"job {key[0]}_{key[1]}")
        if state is not None:
            where = f" on {attempt.host}" if attempt and (attempt.job, attempt.index) == key else ""
            return Standing("running", f"job {key[0]}_{key[1]}{where}")
    if attempt is not None and (job is None or (attempt.job, attempt.index) == (job, index)):
        return Standing("stopped" if attempt.ended == "stopped" else "lost", f"on {attempt.host}; {log}")
    return Standing("never began", log) if job is not None else Standing("new")


def lines(plan: Plan, found: list[Standing], *, most: int = 40) -> list[str]:
    """The standings in words: counts, then each run that is neither finished nor waiting in peace."""
    counts = Counter(standing.word for standing in found)
    told = [f"{len(found)} runs: " + ", ".join(f"{count} {word}" for word, count in counts.most_common())]
    told += [f"  {word}: {_MEANING[word]}" for word in counts if word in _MEANING]
    quiet = ("finished", "queued", "new", "submitted")
    open_ = [(run.id, at) for run, at in zip(plan.runs, found, strict=True) if at.word not in quiet]
    told += [f"{run}  {at.word}  {at.detail}".rstrip() for run, at in open_[:most]]
    if len(open_) > most:
        told.append(f"… and {len(open_) - most} more")
    return told


def search_lines(plan: Plan, records: Records, queue: Queue | None) -> list[str]:
    """How far a search is, and who chooses its next points; nothing for studies that do not search."""
    search = plan.file.study.search
    if search is None:
        return []
    chosen, job = len(plan.of_point), records.collector_job()
    far = f"search: {chosen} of {search.evaluations} points are chosen"
    if chosen >= search.evaluations:
        return [far]
    if queue is None:
        return [f"{far}; the queue cannot be asked who goes on"]
    if job is not None and any(job == key[0] for key in queue):
        return [f"{far}; job {job} goes on when these have ended"]
    return [f"{far}; nobody goes on with it: --slurm does"]
