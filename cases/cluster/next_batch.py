# SPDX-License-Identifier: MIT
"""The last job of a batch of a search: writes the tables, then chooses the next batch and hands it in.

Called as ``python -m annelid.cases.cluster.next_batch STUDY SECONDS MEGABYTES``, with the limits of the
command line or 0. The job after it does the same until the search is through. All that it decides on lies in
the study folder, so it may be put back into the queue at any time.
"""

import os
import socket
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from annelid.cases.cluster import queue
from annelid.cases.cluster.arrays import Limits
from annelid.cases.cluster.command import submit
from annelid.cases.cluster.records import COLLECTOR, Attempt, Records, drop_lock_of
from annelid.cases.cluster.run_status import Standing, standings
from annelid.cases.cluster.site import read_site
from annelid.cases.cluster.submission import collector_alone, send
from annelid.cases.run.environment import prepare
from annelid.cases.studies.opening import create
from annelid.cases.studies.page import write_page
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.plan_file import read_plan
from annelid.cases.studies.search import grown
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import Table
from annelid.geometry.errors import InputError
from annelid.results.folder.folder_files import now

__all__ = ["main"]

_PATIENCE, _PAUSE = 600.0, 2.0  # seconds: another command may work on the study folder just now
_TRIES = 3


def main(arguments: Sequence[str]) -> int:
    """Go on with a search."""
    study, seconds, megabytes = Path(arguments[0]), float(arguments[1]), float(arguments[2])
    prepare()
    job = os.environ.get("SLURM_JOB_ID", "")
    for name in [name for name in os.environ if name.startswith("SLURM_") and name != "SLURM_CONF"]:
        del os.environ[name]  # else the next jobs would inherit what holds for this one
    store, records = Store(study), Records(study)
    _take_over(store, records, job)
    with _locked(store):
        plan = read_plan(store.path)
        table = Table(plan, store)
        table.write()
        write_page(plan, store, table)
        print(_onward(plan, store, records, job, Limits(seconds or None, megabytes or None)))
    return 0


def _onward(plan: Plan, store: Store, records: Records, job: str, asked: Limits) -> str:
    """Hand in what comes next; says what was done, or why nothing."""
    if records.cancelled:
        return "the search was cancelled"
    plan = grown(plan, store)
    create(plan, store)
    found = standings(plan, store, records, queue.present())
    ended = _in_vain(plan, found, records)
    if ended:
        return f"{ended}; the search goes on when it is handed in again"
    submit(plan, store, records.site, asked=asked)
    last = records.collector_job()
    if last == job and any(at.word in ("queued", "running") for at in found):
        # This job was put back after it had handed in runs, but no job that goes on after them.
        send([collector_alone(store, read_site(records.site), asked, records)], records)
    if records.cancelled:  # in the meantime
        queue.cancel(records.jobs_in(queue.present()))
        return "the search was cancelled"
    return f"{len(plan.of_point)} points are chosen"


def _in_vain(plan: Plan, found: Sequence[Standing], records: Records) -> str:
    """Why it would be wrong to hand in again what is missing; empty if it would not."""
    words = [at.word for at in found]
    if "stopped" in words or "never began" in words:
        return "some of its jobs were cancelled"
    tried = [run for batch in records.batches() if batch.job is not None for run in batch.runs]
    lost = [run.id for run, word in zip(plan.runs, words, strict=True) if word == "lost"]
    worn = [run for run in lost if tried.count(run) >= _TRIES]
    return f"{worn[0]} was lost {_TRIES} times" if worn else ""


def _take_over(store: Store, records: Records, job: str) -> None:
    """Free what this same job locked on a node that went down."""
    before, host = records.attempt(COLLECTOR), socket.gethostname()
    if before is not None and before.job == job:
        drop_lock_of(store.path, before.host)
    records.keep(Attempt(COLLECTOR, job, "", host, now(), 0.0, 0.0))


@contextmanager
def _locked(store: Store) -> Iterator[None]:
    """Hold the study folder; wait a while for whoever holds it now."""
    last = time.monotonic() + _PATIENCE
    while True:
        held = store.locked()
        try:
            held.__enter__()
            break
        except InputError:
            if time.monotonic() > last:
                raise
            time.sleep(_PAUSE)
    try:
        yield
    finally:
        held.__exit__(None, None, None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
