# SPDX-License-Identifier: MIT
"""One task of a job array on its node: a monitored run, whose result is recorded in the study folder.

It is called as ``python -m annelid.cases.cluster.task STUDY ARRAY INDEX [JOB]``. A worker process does the
run, so that this process can record why it ended.
"""

import signal
import socket
import sys
from dataclasses import replace
from pathlib import Path
from types import FrameType

from annelid.cases.cluster.monitor import RunPostponed, run_monitored
from annelid.cases.cluster.submission_records import Attempt, Records, remove_lock_of
from annelid.cases.run.environment import prepare
from annelid.cases.studies.failure import Failure
from annelid.cases.studies.plan import PlannedRun
from annelid.cases.studies.store import Store

__all__ = ["main"]

FAILED, STOPPED = 1, 143


class _Stopped(Exception):
    """The cluster ends the job."""


def main(arguments: list[str]) -> int:
    """Do one run of a job array."""
    study, array, index = Path(arguments[0]), arguments[1], arguments[2]
    prepare()
    signal.signal(signal.SIGTERM, _stop)
    records, store = Records(study), Store(study)
    task = records.read_task(array, index)
    run = PlannedRun(task.id, task.hash, {}, task.toml, "", "")
    store.forget_damaged([run])
    if store.summary(run) is not None:
        print(f"{store.run_folder(run)} is finished")
        return 0
    job = arguments[3] if len(arguments) > 3 else ""
    last, host = records.attempt(task.id), socket.gethostname()
    if last is not None and last.ended == "" and (last.job, last.index) == (job, index):
        remove_lock_of(store.run_folder(run), last.host)  # the cluster requeued this job
    attempt = records.start_attempt(task, job, index, host)
    try:
        failure = run_monitored(task, run, store, records.path / array / "workers", int(index))
    except (_Stopped, RunPostponed) as reason:
        records.save_attempt(replace(attempt, ended="stopped"))
        print(f"{task.id} stopped: {reason}", file=sys.stderr)
        return STOPPED
    return _record(records, attempt, store, run, failure)


def _record(
    records: Records, attempt: Attempt, store: Store, run: PlannedRun, failure: Failure | None
) -> int:
    if failure is None:
        store.delete_failure(run)
    else:
        store.record_failure(run, failure)
        print(f"{run.id} failed: {failure.reason}", file=sys.stderr)
    records.save_attempt(replace(attempt, ended="done" if failure is None else "failed"))
    return 0 if failure is None else FAILED


def _stop(_: int, __: FrameType | None) -> None:
    raise _Stopped("by the cluster")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
