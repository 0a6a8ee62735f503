# SPDX-License-Identifier: MIT
"""What ``annelid study --slurm``, ``--status`` and ``--cancel`` do."""

import argparse
import shlex
import sys
from pathlib import Path

from annelid.cases.cluster import queue
from annelid.cases.cluster.arrays import Limits, arrays_of
from annelid.cases.cluster.records import Records, drop_lock_of
from annelid.cases.cluster.run_status import MISSING, Standing, lines, search_lines, standings
from annelid.cases.cluster.site import Site, read_site, text_of
from annelid.cases.cluster.submission import Step, send, steps_of, write_down
from annelid.cases.studies.opening import create
from annelid.cases.studies.plan import Plan, Planned
from annelid.cases.studies.store import Store
from annelid.geometry.errors import InputError

__all__ = ["cancel", "handed_in", "on_cluster", "status", "submit"]

_ARRAY = 1000  # where neither site nor cluster says


def handed_in(store: Store) -> bool:
    """Whether something of a study was ever written for a cluster."""
    return Records(store.path).path.is_dir()


def on_cluster(plan: Plan, store: Store, options: argparse.Namespace) -> int:
    """Hand in, say how it stands, or cancel, as the options of the command line say.

    Raises:
        InputError: The options do not go together, the site cannot be used, or the study cannot be handed in.
    """
    if options.only or options.collect:
        raise InputError("--slurm hands in whole studies; leave out --only and --collect", key="--slurm")
    store = Store(store.path.resolve())
    if options.status:
        return status(plan, store)
    if options.cancel:
        return cancel(store)
    asked = Limits(options.time_limit, options.memory_limit)
    create(plan, store)
    read_site(options.site)  # before anything is kept of it
    with store.locked():
        Records(store.path).hand_in(text_of(options.site))
        return submit(plan, store, options.site, asked=asked, retry=options.retry, dry=options.dry_run)


def submit(
    plan: Plan, store: Store, site_file: Path | None, *, asked: Limits, retry: bool = False, dry: bool = False
) -> int:
    """Hand in what is missing, and a collector behind it.

    Expects the lock of the store to be held.

    Args:
        plan: The study.
        store: Its folder.
        site_file: The site file; ``None`` for the usual one.
        asked: Limits of the command line.
        retry: Whether failed runs are handed in again, those that a limit ended with more of it.
        dry: Write the scripts, submit nothing.

    Raises:
        InputError: The site file says something that cannot be meant.
        QueueError: The queue cannot be asked, or refused.
    """
    site, records = read_site(site_file), Records(store.path)
    if site.template is not None and not dry:
        text = "template: is for other schedulers, which you submit to by hand; add --dry-run"
        raise InputError(text, key="template", value=site.template)
    _check_path(store.path)
    found = standings(plan, store, records, _queue_if_any(records) if dry else queue.present())
    runs = _missing(plan, found, retry=retry, dry=dry)
    if not runs:
        print("\n".join(["nothing to hand in", *lines(plan, found)]))
        return 0
    largest = site.largest_array or (None if dry else queue.largest_array()) or _ARRAY
    arrays = arrays_of(plan, store, site, runs, asked, largest=largest)
    steps = steps_of(plan, store, site, arrays, asked)
    if dry:
        return _told_dry(site, records, [step.script for step in steps], write_down(steps, records))
    jobs = _sent(store, records, runs, steps)
    print(f"{len(runs)} runs handed in as job(s) {', '.join(jobs[:-1])}")
    look = shlex.join(["annelid", "study", str(store.path), "--status"])
    then = " and goes on with the search" if plan.file.study.search is not None else ""
    print(f"job {jobs[-1]} makes the tables in the end{then}; how it stands: {look}")
    return 0


def status(plan: Plan, store: Store) -> int:
    """Say how every run stands."""
    records = Records(store.path)
    present = _queue_if_any(records)
    told = [*lines(plan, standings(plan, store, records, present)), *search_lines(plan, records, present)]
    print("\n".join(told))
    return 0


def cancel(store: Store) -> int:
    """Take all that was handed in out of the queue; what is finished stays."""
    records = Records(store.path)
    records.cancel()
    wanted = records.jobs_in(queue.present())
    queue.cancel(wanted)
    print(f"cancelled: job(s) {', '.join(wanted)}" if wanted else "nothing of this study is in the queue")
    return 0


def _check_path(folder: Path) -> None:
    """Slurm replaces marks in the names of logs, also in those of their folders."""
    odd = [sign for sign in "%\\\n" if sign in str(folder)]
    if odd:
        text = f"study folder {folder}: Slurm would read {odd[0]!r} in its path as a mark"
        raise InputError(f"{text}; choose another with --out", key="--out", value=str(folder))


def _missing(plan: Plan, found: list[Standing], *, retry: bool, dry: bool) -> list[Planned]:
    words = (*MISSING, *(("failed",) if retry else ()), *(("submitted",) if dry else ()))
    return [run for run, standing in zip(plan.runs, found, strict=True) if standing.word in words]


def _queue_if_any(records: Records) -> queue.Present | None:
    """What is in the queue; that there is none is told only where something was handed in."""
    try:
        return queue.present()
    except queue.QueueError as error:
        if records.batches():
            print(error.message, file=sys.stderr)
        return None


def _sent(store: Store, records: Records, runs: list[Planned], steps: list[Step]) -> list[str]:
    """Clear what the last tries left, why they failed and locks of nodes that are gone, and submit.

    Where the cluster refuses half-way, the runs that were not submitted keep why they failed.
    """
    failures = {run.id: store.failure(run) for run in runs}
    for run in runs:
        attempt = records.attempt(run.id)
        if attempt is not None:
            drop_lock_of(store.run_folder(run), attempt.host)
        store.forget(run)
    try:
        return send(steps, records)
    except queue.QueueError:
        folders = {step.folder for step in steps}
        new = [batch for batch in records.batches() if batch.folder in folders and batch.job is not None]
        handed = {name for batch in new for name in batch.runs}
        for run in runs:
            failure = failures[run.id]
            if failure is not None and run.id not in handed:
                store.record(run, failure)
        raise


def _told_dry(site: Site, records: Records, scripts: list[Path], submit_file: Path) -> int:
    print("\n".join(f"written: {script}" for script in scripts))
    by_hand = f"to submit: {shlex.join(['sh', str(submit_file)])}"
    how = "submit the arrays, then the collector" if site.template else by_hand
    print(f"nothing was submitted; {how}")
    return 0
