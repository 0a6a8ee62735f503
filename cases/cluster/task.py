# SPDX-License-Identifier: MIT
"""What a job of an array does on its node: one run, watched, with what came of it kept in the study folder.

``python -m annelid.cases.cluster.task STUDY BATCH INDEX [JOB]``. The run is done by a worker process, as on a
laptop, so that this one is left to say why it ended.
"""

import signal
import socket
import sys
from dataclasses import replace
from pathlib import Path
from types import FrameType

from annelid.cases.cluster.records import Attempt, Records, drop_lock_of
from annelid.cases.cluster.watch import NoFault, run_watched
from annelid.cases.run.environment import prepare
from annelid.cases.studies.plan import Planned
from annelid.cases.studies.store import Failure, Store

__all__ = ["main"]

FAILED, STOPPED = 1, 143


class _Stopped(Exception):
    """The cluster ends the job."""


def main(arguments: list[str]) -> int:
    """Do one run of an array."""
    study, batch, index = Path(arguments[0]), arguments[1], arguments[2]
    prepare()
    signal.signal(signal.SIGTERM, _stop)
    records, store = Records(study), Store(study)
    order = records.order(batch, index)
    run = Planned(order.id, order.hash, {}, order.toml, "", "")
    if store.summary(run) is not None:
        print(f"{store.run_folder(run)} is finished")
        return 0
    job = arguments[3] if len(arguments) > 3 else ""
    before, host = records.attempt(order.id), socket.gethostname()
    if before is not None and before.ended == "" and (before.job, before.index) == (job, index):
        drop_lock_of(store.run_folder(run), before.host)  # this same job was put back into the queue
    attempt = records.begin(order, job, index, host)
    try:
        failure = run_watched(order, run, store, records.path / batch / "workers", int(index))
    except (_Stopped, NoFault) as reason:
        records.keep(replace(attempt, ended="stopped"))
        print(f"{order.id} stopped: {reason}", file=sys.stderr)
        return STOPPED
    return _keep(records, attempt, store, run, failure)


def _keep(records: Records, attempt: Attempt, store: Store, run: Planned, failure: Failure | None) -> int:
    if failure is None:
        store.forget(run)
    else:
        store.record(run, failure)
        print(f"{run.id} failed: {failure.reason}", file=sys.stderr)
    records.keep(replace(attempt, ended="done" if failure is None else "failed"))
    return 0 if failure is None else FAILED


def _stop(_: int, __: FrameType | None) -> None:
    raise _Stopped("by the cluster")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
