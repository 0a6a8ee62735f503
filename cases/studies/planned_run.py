# SPDX-License-Identifier: MIT
"""One planned run of a study folder, done in this process (``annelid study --only``)."""

import errno
from collections.abc import Callable
from typing import Any

from annelid.cases.run.ranks import check_size, on_first_rank
from annelid.cases.studies.failure import Failure
from annelid.cases.studies.plan import Plan, PlannedRun
from annelid.cases.studies.single_run import Job, Reply, run_job
from annelid.cases.studies.store import Store
from annelid.cases.studies.write_error import write_error
from annelid.geometry.errors import AnnelidError, InputError

__all__ = ["run_planned"]


def run_planned(plan: Plan, store: Store, name: str, *, ranks: int | None = None) -> int:
    """Do one run and record a failure; collective if started on several ranks.

    The caller needs no lock of the study folder, since the Run folder has its own.

    Args:
        plan: The plan.
        store: The study folder, which must exist.
        name: Id of the run, the beginning of its id, or ``#`` and its number from 1.
        ranks: Number of ranks that this process was started as one of; ``None`` if it is a single process
            and starts the ranks of the study itself.

    Returns:
        0: the run is finished.

    Raises:
        InputError: There is no such run, its values are not a valid case, another process works on it, or
            the ranks are not connected.
        AnnelidError: The run failed; the reason is recorded in the study folder.
    """
    run, output = plan.run(name), plan.file.study.output
    if not run.toml:
        raise InputError(f"{run.id}: {run.problem}", key=run.id)
    first, on_first = _ranks(ranks)
    on_first(lambda: store.forget_damaged([run]))
    if on_first(lambda: store.summary(run) is not None):
        return _print(f"{store.run_folder(run)} is finished") if first else 0
    on_first(lambda: store.clear_run_folder(run))
    folder = store.run_folder(run)
    size = run.ranks if ranks is None else ranks
    early = plan.file.study.stops_early
    surfaces = output.keep != "tables"
    reply = run_job(Job("run", run.toml, str(folder), surfaces, size, ranks is not None, early))
    if not first:
        return 0 if reply.kind == "done" else 1
    _record(store, run, reply)
    if output.reports:
        report = run_job(Job("report", "", str(folder)))
        if report.kind != "done":  # the run is finished even without a report
            _print(f"{run.id}: the report could not be written: {report.reason}")
    return _print(f"run folder: {folder}")


def _ranks(ranks: int | None) -> tuple[bool, Callable[[Callable[[], Any]], Any]]:
    """Whether this is the first rank, and a function that calls another one on the first rank only."""
    if ranks is None:
        return True, lambda do: do()
    from annelid.solver.mpi import MPI

    comm = MPI.COMM_WORLD
    check_size(comm.size, ranks)
    return comm.rank == 0, lambda do: on_first_rank(comm, do)


def _record(store: Store, run: PlannedRun, reply: Reply) -> None:
    match reply.kind:
        case "done":
            store.delete_failure(run)
        case "busy":
            raise InputError(reply.reason, key=run.id)
        case "disk":
            raise write_error(OSError(errno.ENOSPC, reply.reason), store.path)
        case _:
            store.record_failure(run, Failure("memory" if reply.kind == "memory" else "error", reply.reason))
            raise AnnelidError(f"{run.id} failed: {reply.reason}")


def _print(text: str) -> int:
    print(text)
    return 0
