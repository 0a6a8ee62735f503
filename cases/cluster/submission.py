# SPDX-License-Identifier: MIT
"""Submission of job arrays and a collector, or a script that does the same by hand."""

import math
import shlex
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from annelid.cases.cluster import queue
from annelid.cases.cluster.arrays import JobArray, RequestedLimits
from annelid.cases.cluster.script import ARRAY_TEMPLATE, COLLECTOR_TEMPLATE, fill_template, node_command
from annelid.cases.cluster.site import Site
from annelid.cases.cluster.submission_records import COLLECTOR, Records
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.store import Store
from annelid.results.atomic import write_atomically

__all__ = ["Submission", "make_collector", "make_submissions", "submit_all", "write_submit_script"]

# Time and memory of a job besides its run: for the start, the report and the process that monitors the run.
_EXTRA_SECONDS, _EXTRA_MEGABYTES = 180.0, 300.0
_COLLECTOR_MINUTES, _COLLECTOR_MEGABYTES = 60, 4000.0


@dataclass(frozen=True)
class Submission:
    """One call of sbatch.

    Attributes:
        folder: Where its script and logs are.
        script: The script.
        options: Options of sbatch, without the dependency.
        after: Indices of the submissions that must end first.
        jobs: Numbers of jobs in the queue that must also end first.
    """

    folder: Path
    script: Path
    options: tuple[str, ...]
    after: tuple[int, ...]
    jobs: tuple[str, ...] = ()

    def arguments(self, job_of: Callable[[int], str]) -> list[str]:
        """Arguments of sbatch.

        Args:
            job_of: Number of the job of a submission, by its index.
        """
        jobs = ":".join([*map(job_of, self.after), *self.jobs])
        dependency = [f"--dependency=afterany:{jobs}", "--kill-on-invalid-dep=yes"] if jobs else []
        return [*dependency, *self.options, str(self.script)]


def make_submissions(
    plan: Plan, store: Store, site: Site, arrays: Sequence[JobArray], requested: RequestedLimits | None = None
) -> list[Submission]:
    """Write the tasks and scripts of all arrays and of the collector, without submitting anything.

    Args:
        plan: The study.
        store: Its folder.
        site: Settings of the cluster.
        arrays: The arrays.
        requested: Limits of the command line, with which a search continues.

    Raises:
        InputError: The template of the site cannot be used.
    """
    submissions: list[Submission] = []
    compile_first = tuple(i for i, array in enumerate(arrays) if array.compiles_first)
    for array in arrays:
        after = compile_first if array.waits_for_compilation else ()
        submissions.append(_array_submission(store, site, array, after))
    continues = plan.file.study.search is not None and site.template is None
    search_limits = (requested or RequestedLimits()) if continues else None
    submissions.append(_collector_submission(store, site, search_limits, tuple(range(len(submissions)))))
    return submissions


def make_collector(store: Store, site: Site, requested: RequestedLimits, records: Records) -> Submission:
    """The job that continues a search after all other jobs of the study in the queue."""
    own = records.collector_job()
    jobs = [job for job in records.jobs_in(queue.queued_jobs()) if job != own]
    return replace(_collector_submission(store, site, requested, ()), jobs=tuple(jobs))


def submit_all(submissions: Sequence[Submission], records: Records) -> list[str]:
    """Submit all jobs and record their numbers.

    Returns:
        Numbers of the jobs; the collector is last.

    Raises:
        QueueError: A job was not accepted; those before it are submitted and recorded.
    """
    jobs: list[str] = []
    for submission in submissions:
        jobs.append(queue.submit_job(submission.arguments(lambda number: jobs[number])))
        records.record_job(submission.folder, jobs[-1])
    return jobs


def write_submit_script(submissions: Sequence[Submission], records: Records) -> Path:
    """Write ``submit.sh``, a shell script that does the same as :func:`submit_all`."""
    comment = "# Submits the arrays of a study and its collector, and records the numbers of the jobs."
    lines = ["#!/bin/sh", comment, "set -eu"]
    for number, submission in enumerate(submissions):
        first, *others = submission.arguments(lambda other: f"$job_{other}")
        # The shell expands only the numbers of jobs; all other words are quoted.
        words = f'"{first}" {shlex.join(others)}' if submission.after else shlex.join([first, *others])
        lines.append(f"job_{number}=$(sbatch --parsable {words} | cut -d ';' -f 1)")
        lines.append(f'echo "$job_{number}" > {shlex.quote(str(submission.folder / "job"))}')
    return write_atomically(records.path / "submit.sh", "\n".join([*lines, ""]))


def _array_submission(store: Store, site: Site, array: JobArray, after: tuple[int, ...]) -> Submission:
    records, task = Records(store.path), array.tasks[0]
    record = records.write_array(array.tasks)
    last, seconds = len(array.tasks) - 1, math.ceil(task.seconds + _EXTRA_SECONDS)
    minutes, megabytes = math.ceil(seconds / 60), math.ceil(task.megabytes + _EXTRA_MEGABYTES)
    numbers = {"last": last, "minutes": minutes, "seconds": seconds, "megabytes": megabytes}
    command = node_command(site, "annelid.cases.cluster.task", [str(store.path), record.folder.name])
    template = Path(site.template) if site.template else ARRAY_TEMPLATE
    text = fill_template(template, site, command, record.folder, {**numbers, "ranks": task.ranks})
    script = write_atomically(record.folder / "array.sh", text)
    throttle = f"%{site.at_a_time}" if site.at_a_time else ""
    options = [f"--array=0-{last}{throttle}", "--output=%a.log", f"--ntasks={task.ranks}"]
    options += ["--nodes=1"] if site.ranks == "mpiexec" else []
    options = _options(site, record.folder, options, minutes, megabytes)
    return Submission(record.folder, script, tuple(options), after)


def _collector_submission(
    store: Store, site: Site, search_limits: RequestedLimits | None, after: tuple[int, ...]
) -> Submission:
    """The job that writes the tables; with limits it also continues a search."""
    folder = Records(store.path).path / COLLECTOR
    folder.mkdir(parents=True, exist_ok=True)
    command = node_command(site, "annelid", ["study", str(store.path), "--collect"])
    if search_limits is not None:  # outside of an image, since it calls sbatch
        limits = [f"{search_limits.seconds or 0:g}", f"{search_limits.megabytes or 0:g}"]
        python = site.python or sys.executable
        command = [python, "-m", "annelid.cases.cluster.next_batch", str(store.path), *limits]
    text = fill_template(COLLECTOR_TEMPLATE, site, command, folder, {})
    script = write_atomically(folder / "collector.sh", text)
    options = ["--output=%j.log", "--ntasks=1"]
    options = _options(site, folder, options, _COLLECTOR_MINUTES, _COLLECTOR_MEGABYTES)
    return Submission(folder, script, tuple(options), after)


def _options(site: Site, folder: Path, own: Sequence[str], minutes: int, megabytes: float) -> list[str]:
    mebibytes = math.ceil(megabytes * 1e6 / 2**20)
    names = {"partition": site.partition, "account": site.account, "qos": site.qos}
    chosen = [f"--{name}={value}" for name, value in names.items() if value is not None]
    return [
        "--job-name=annelid",
        f"--chdir={folder}",
        "--open-mode=append",
        f"--time={minutes}",
        f"--mem={mebibytes}M",
        "--requeue" if site.requeue else "--no-requeue",
        *own,
        *chosen,
        *site.directives,
    ]
