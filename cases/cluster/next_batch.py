# SPDX-License-Identifier: MIT
"""The last job of a batch of a search: it writes the tables, chooses the next batch and submits it.

It is called as ``python -m annelid.cases.cluster.next_batch STUDY SECONDS MEGABYTES``, with the limits of the
command line or 0. The last job of the next batch does the same, until the search is complete. All decisions
depend only on the study folder, so the cluster may requeue the job at any time.
"""

import os
import socket
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from annelid.cases.cluster import queue
from annelid.cases.cluster.arrays import RequestedLimits
from annelid.cases.cluster.command import submit_study
from annelid.cases.cluster.run_status import RunStatus, run_statuses
from annelid.cases.cluster.site import read_site
from annelid.cases.cluster.submission import make_collector, submit_all
from annelid.cases.cluster.submission_records import COLLECTOR, Attempt, Records, remove_lock_of
from annelid.cases.run.environment import prepare
from annelid.cases.studies.opening import create_study
from annelid.cases.studies.page import write_page
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.plan_file import read_plan
from annelid.cases.studies.search import latest_plan
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import StudyTable
from annelid.geometry.errors import InputError
from annelid.results.folder.folder_files import utc_now

__all__ = ["main"]

_LOCK_TIMEOUT, _LOCK_INTERVAL = 600.0, 2.0  # s; another command may hold the lock of the study folder
_MAX_ATTEMPTS = 3


def main(arguments: Sequence[str]) -> int:
    """Continue a search."""
    study, seconds, megabytes = Path(arguments[0]), float(arguments[1]), float(arguments[2])
    prepare()
    job = os.environ.get("SLURM_JOB_ID", "")
    for name in [name for name in os.environ if name.startswith("SLURM_") and name != "SLURM_CONF"]:
        del os.environ[name]  # the next jobs must not inherit the settings of this one
    store, records = Store(study), Records(study)
    _release_own_lock(store, records, job)
    with _locked(store):
        plan = read_plan(store.path)
        store.forget_damaged(plan.runs)
        table = StudyTable(plan, store)
        table.write()
        write_page(plan, store, table)
        requested = RequestedLimits(seconds or None, megabytes or None)
        print(_submit_next_batch(plan, store, records, job, requested))
    return 0


def _submit_next_batch(
    plan: Plan, store: Store, records: Records, job: str, requested: RequestedLimits
) -> str:
    """Choose and submit the next batch; returns a message with the result."""
    if records.cancelled:
        return "the search was cancelled"
    plan = latest_plan(plan, store)
    create_study(plan, store)
    statuses = run_statuses(plan, store, records, queue.queued_jobs())
    reason = _reason_to_stop(plan, statuses, records)
    if reason:
        return f"{reason}; submit the study again to continue the search"
    submit_study(plan, store, records.site_file, requested=requested)
    last = records.collector_job()
    if last == job and any(status.state in ("queued", "running") for status in statuses):
        # This job was requeued after it had submitted the runs, but before it submitted the next collector.
        submit_all([make_collector(store, read_site(records.site_file), requested, records)], records)
    if records.cancelled:  # in the meantime
        queue.cancel_jobs(records.jobs_in(queue.queued_jobs()))
        return "the search was cancelled"
    return f"{len(plan.run_of_point)} points are chosen"


def _reason_to_stop(plan: Plan, statuses: Sequence[RunStatus], records: Records) -> str:
    """Why missing runs must not be submitted again; empty if they may be."""
    states = [status.state for status in statuses]
    if "stopped" in states or "never started" in states:
        return "some of its jobs were cancelled"
    attempted = [run for array in records.arrays() if array.job is not None for run in array.runs]
    lost = [run.id for run, state in zip(plan.runs, states, strict=True) if state == "lost"]
    given_up = [run for run in lost if attempted.count(run) >= _MAX_ATTEMPTS]
    return f"{given_up[0]} was lost {_MAX_ATTEMPTS} times" if given_up else ""


def _release_own_lock(store: Store, records: Records, job: str) -> None:
    """Remove the lock that an earlier attempt of this job left on a node that went down."""
    last, host = records.attempt(COLLECTOR), socket.gethostname()
    if last is not None and last.job == job:
        remove_lock_of(store.path, last.host)
    records.save_attempt(Attempt(COLLECTOR, job, "", host, utc_now(), 0.0, 0.0))


@contextmanager
def _locked(store: Store) -> Iterator[None]:
    """Hold the lock of the study folder; wait for a while if another process holds it."""
    deadline = time.monotonic() + _LOCK_TIMEOUT
    while True:
        lock = store.locked()
        try:
            lock.__enter__()
            break
        except InputError:
            if time.monotonic() > deadline:
                raise
            time.sleep(_LOCK_INTERVAL)
    try:
        yield
    finally:
        lock.__exit__(None, None, None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
