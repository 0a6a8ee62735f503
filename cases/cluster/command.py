# SPDX-License-Identifier: MIT
"""The options ``--slurm``, ``--status`` and ``--cancel`` of ``annelid study``."""

import argparse
import shlex
import sys
from pathlib import Path

from annelid.cases.cluster import queue
from annelid.cases.cluster.arrays import RequestedLimits, make_job_arrays
from annelid.cases.cluster.run_status import (
    TO_SUBMIT,
    RunStatus,
    run_status_lines,
    run_statuses,
    search_status_lines,
)
from annelid.cases.cluster.site import Site, read_site, site_text
from annelid.cases.cluster.submission import Submission, make_submissions, submit_all, write_submit_script
from annelid.cases.cluster.submission_records import Records, remove_lock_of
from annelid.cases.studies.opening import create_study
from annelid.cases.studies.plan import Plan, PlannedRun
from annelid.cases.studies.store import Store
from annelid.geometry.errors import InputError

__all__ = ["cancel_study", "print_status", "run_cluster_command", "submit_study", "was_submitted"]

_DEFAULT_MAX_ARRAY_SIZE = 1000


def was_submitted(store: Store) -> bool:
    """Whether a study was ever prepared for a cluster."""
    return Records(store.path).path.is_dir()


def run_cluster_command(plan: Plan, store: Store, options: argparse.Namespace) -> int:
    """Submit a study, print its status, or cancel it, as the options of the command line request.

    Raises:
        InputError: The options contradict each other, or the site file or the study is not valid.
    """
    if options.only or options.collect:
        raise InputError("--slurm submits whole studies; leave out --only and --collect", key="--slurm")
    store = Store(store.path.resolve())
    if options.status:
        return print_status(plan, store)
    if options.cancel:
        return cancel_study(store)
    requested = RequestedLimits(options.time_limit, options.memory_limit)
    create_study(plan, store)
    read_site(options.site)  # an invalid site file must not be recorded
    with store.locked():
        Records(store.path).record_submission(site_text(options.site))
        return submit_study(
            plan, store, options.site, requested=requested, retry=options.retry, dry_run=options.dry_run
        )


def submit_study(
    plan: Plan,
    store: Store,
    site_file: Path | None,
    *,
    requested: RequestedLimits,
    retry: bool = False,
    dry_run: bool = False,
) -> int:
    """Submit the missing runs, followed by a collector.

    The caller must hold the lock of the study folder.

    Args:
        plan: The study.
        store: Its folder.
        site_file: The site file; ``None`` for the default one.
        requested: Limits of the command line.
        retry: Whether failed runs are submitted again; runs that exceeded a limit get a higher one.
        dry_run: Only write the scripts.

    Raises:
        InputError: The site file is not valid.
        QueueError: A command of Slurm failed.
    """
    site, records = read_site(site_file), Records(store.path)
    if site.template is not None and not dry_run:
        text = "template: is for other schedulers, whose jobs you submit yourself; add --dry-run"
        raise InputError(text, key="template", value=site.template)
    _check_path(store.path)
    queued = _queue_if_available(records) if dry_run else queue.queued_jobs()
    statuses = run_statuses(plan, store, records, queued)
    runs = _missing(plan, statuses, retry=retry, dry_run=dry_run)
    if not runs:
        print("\n".join(["no runs to submit", *run_status_lines(plan, statuses)]))
        return 0
    max_size = site.largest_array or (None if dry_run else queue.max_array_size()) or _DEFAULT_MAX_ARRAY_SIZE
    arrays = make_job_arrays(plan, store, site, runs, requested, max_size=max_size)
    submissions = make_submissions(plan, store, site, arrays, requested)
    if dry_run:
        scripts = [submission.script for submission in submissions]
        return _print_dry_run(site, scripts, write_submit_script(submissions, records))
    jobs = _submit(store, records, runs, submissions)
    print(f"{len(runs)} runs submitted as job(s) {', '.join(jobs[:-1])}")
    command = shlex.join(["annelid", "study", str(store.path), "--status"])
    search = " and continues the search" if plan.file.study.search is not None else ""
    print(f"job {jobs[-1]} writes the tables at the end{search}; to print the status: {command}")
    return 0


def print_status(plan: Plan, store: Store) -> int:
    """Print the state of every run."""
    records = Records(store.path)
    queued = _queue_if_available(records)
    lines = run_status_lines(plan, run_statuses(plan, store, records, queued))
    print("\n".join([*lines, *search_status_lines(plan, records, queued)]))
    return 0


def cancel_study(store: Store) -> int:
    """Cancel all jobs of a study; finished runs are kept."""
    records = Records(store.path)
    records.record_cancellation()
    jobs = records.jobs_in(queue.queued_jobs())
    queue.cancel_jobs(jobs)
    print(f"cancelled: job(s) {', '.join(jobs)}" if jobs else "no job of this study is in the queue")
    return 0


def _check_path(folder: Path) -> None:
    """Refuse a path with characters that Slurm replaces in the names of logs."""
    special = [character for character in "%\\\n" if character in str(folder)]
    if special:
        text = f"study folder {folder}: Slurm would replace {special[0]!r} in its path"
        raise InputError(f"{text}; choose another folder with --out", key="--out", value=str(folder))


def _missing(plan: Plan, statuses: list[RunStatus], *, retry: bool, dry_run: bool) -> list[PlannedRun]:
    states = (*TO_SUBMIT, *(("failed",) if retry else ()), *(("submitted",) if dry_run else ()))
    return [run for run, status in zip(plan.runs, statuses, strict=True) if status.state in states]


def _queue_if_available(records: Records) -> queue.QueueState | None:
    """Jobs in the queue, or ``None`` without a queue, which is reported only if jobs were submitted."""
    try:
        return queue.queued_jobs()
    except queue.QueueError as error:
        if records.arrays():
            print(error.message, file=sys.stderr)
        return None


def _submit(
    store: Store, records: Records, runs: list[PlannedRun], submissions: list[Submission]
) -> list[str]:
    """Delete recorded failures and locks of nodes that went down, then submit.

    If the cluster accepts only some of the jobs, the failures of the other runs are restored.
    """
    failures = {run.id: store.failure(run) for run in runs}
    for run in runs:
        attempt = records.attempt(run.id)
        if attempt is not None:
            remove_lock_of(store.run_folder(run), attempt.host)
        store.delete_failure(run)
    try:
        return submit_all(submissions, records)
    except queue.QueueError:
        folders = {submission.folder for submission in submissions}
        accepted = [array for array in records.arrays() if array.folder in folders and array.job is not None]
        submitted = {name for array in accepted for name in array.runs}
        for run in runs:
            failure = failures[run.id]
            if failure is not None and run.id not in submitted:
                store.record_failure(run, failure)
        raise


def _print_dry_run(site: Site, scripts: list[Path], submit_script: Path) -> int:
    print("\n".join(f"written: {script}" for script in scripts))
    command = f"to submit them: {shlex.join(['sh', str(submit_script)])}"
    print(f"no jobs were submitted; {'submit the arrays, then the collector' if site.template else command}")
    return 0
