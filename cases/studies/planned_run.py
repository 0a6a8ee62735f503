# SPDX-License-Identifier: MIT
"""One planned run of a study folder, in this process: what a job of a cluster does."""

import errno
from collections.abc import Callable
from typing import Any

from annelid.cases.run.ranks import check_size, on_first_rank
from annelid.cases.studies.plan import Plan, Planned
from annelid.cases.studies.single_run import Job, Reply, run_one
from annelid.cases.studies.store import Failure, Store, words_for
from annelid.geometry.errors import AnnelidError, InputError

__all__ = ["run_single"]


def run_single(plan: Plan, store: Store, wanted: str, *, ranks: int | None = None) -> int:
    """Do one run and keep why it failed, if it fails; collective if started on several ranks.

    No lock of the study is needed: the Run folder has its own.

    Args:
        plan: The plan.
        store: The study folder, which must have been created.
        wanted: Id of the run, its beginning, or ``#`` and its number from 1.
        ranks: How many ranks this process was started as one of; ``None`` if it is alone and is to start
            as many as the study asks for.

    Returns:
        0: the Run folder says that the run is finished.

    Raises:
        InputError: There is no such run, its values make no case, another process works on it, or the
            ranks did not find each other.
        AnnelidError: It failed; the study folder keeps why.
    """
    run, output = plan.run(wanted), plan.file.study.output
    if not run.toml:
        raise InputError(f"{run.id}: {run.problem}", key=run.id)
    first, on_first = _ranks(ranks)
    if on_first(lambda: store.summary(run) is not None):
        return _say(f"{store.run_folder(run)} is finished") if first else 0
    on_first(lambda: store.make_way(run))
    folder = store.run_folder(run)
    size = run.ranks if ranks is None else ranks
    keep_surfaces = output.keep != "tables" or not first  # the first rank alone clears up
    early = plan.file.study.stops_early
    reply = run_one(Job("run", run.toml, str(folder), keep_surfaces, size, ranks is not None, early))
    if not first:
        return 0 if reply.kind == "done" else 1
    _keep(store, run, reply)
    if output.reports:
        report = run_one(Job("report", "", str(folder)))
        if report.kind != "done":  # the run is done whatever becomes of its report
            _say(f"{run.id}: no report could be made: {report.reason}")
    return _say(f"run folder: {folder}")


def _ranks(ranks: int | None) -> tuple[bool, Callable[[Callable[[], Any]], Any]]:
    """Whether this is the first rank, and how to do something on the first rank only."""
    if ranks is None:
        return True, lambda do: do()
    from annelid.solver.mpi import MPI

    comm = MPI.COMM_WORLD
    check_size(comm.size, ranks)
    return comm.rank == 0, lambda do: on_first_rank(comm, do)


def _keep(store: Store, run: Planned, reply: Reply) -> None:
    match reply.kind:
        case "done":
            store.forget(run)
        case "busy":
            raise InputError(reply.reason, key=run.id)
        case "disk":
            raise words_for(OSError(errno.ENOSPC, reply.reason), store.path)
        case _:
            store.record(run, Failure("memory" if reply.kind == "memory" else "error", reply.reason))
            raise AnnelidError(f"{run.id} failed: {reply.reason}")


def _say(text: str) -> int:
    print(text)
    return 0
