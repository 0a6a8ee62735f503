# SPDX-License-Identifier: MIT
"""Handing arrays and a collector to the queue, or writing down how that would be done."""

import math
import shlex
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from annelid.cases.cluster import queue
from annelid.cases.cluster.arrays import Array, Limits
from annelid.cases.cluster.records import COLLECTOR as COLLECTOR_FOLDER
from annelid.cases.cluster.records import Records
from annelid.cases.cluster.script import ARRAY, COLLECTOR, command_of, fill
from annelid.cases.cluster.site import Site
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.store import Store
from annelid.results.atomic import write_atomically

__all__ = ["Step", "collector_alone", "send", "steps_of", "write_down"]

# What a job takes beside its run: starting, the report, and the process that watches.
_MORE_SECONDS, _MORE_MEGABYTES = 180.0, 300.0
_COLLECTOR_MINUTES, _COLLECTOR_MEGABYTES = 60, 4000.0


@dataclass(frozen=True)
class Step:
    """One call of sbatch.

    Attributes:
        folder: Where its script and logs are.
        script: The script.
        options: Options of sbatch save the dependency.
        after: Numbers of the steps whose end it waits for.
        jobs: Numbers of jobs in the queue whose end it waits for besides.
    """

    folder: Path
    script: Path
    options: tuple[str, ...]
    after: tuple[int, ...]
    jobs: tuple[str, ...] = ()

    def arguments(self, job_of: Callable[[int], str]) -> list[str]:
        """Arguments of sbatch, given how the number of the job of a step is written."""
        waits = ":".join([*map(job_of, self.after), *self.jobs])
        dependency = [f"--dependency=afterany:{waits}", "--kill-on-invalid-dep=yes"] if waits else []
        return [*dependency, *self.options, str(self.script)]


def steps_of(
    plan: Plan, store: Store, site: Site, arrays: Sequence[Array], asked: Limits | None = None
) -> list[Step]:
    """Write orders and scripts of all arrays and of the collector; nothing is submitted.

    Args:
        plan: The study.
        store: Its folder.
        site: What the cluster wants to be told.
        arrays: The arrays.
        asked: Limits of the command line, which a search goes on with.

    Raises:
        InputError: The template of the site cannot be used.
    """
    steps: list[Step] = []
    leaders = tuple(i for i, array in enumerate(arrays) if array.leads)
    for array in arrays:
        steps.append(_array_step(store, site, array, leaders if array.waits else ()))
    onward = (asked or Limits()) if plan.file.study.search is not None and site.template is None else None
    steps.append(_collector_step(store, site, onward, tuple(range(len(steps)))))
    return steps


def collector_alone(store: Store, site: Site, asked: Limits, records: Records) -> Step:
    """The job that goes on with a search, behind all of the study in the queue but itself."""
    own = records.collector_job()
    jobs = [job for job in records.jobs_in(queue.present()) if job != own]
    return replace(_collector_step(store, site, asked, ()), jobs=tuple(jobs))


def send(steps: Sequence[Step], records: Records) -> list[str]:
    """Submit.

    Returns:
        Numbers of the jobs, the collector's last.

    Raises:
        QueueError: The cluster refused one; those before it are submitted and known.
    """
    jobs: list[str] = []
    for step in steps:
        jobs.append(queue.submit(step.arguments(lambda number: jobs[number])))
        records.submitted(step.folder, jobs[-1])
    return jobs


def write_down(steps: Sequence[Step], records: Records) -> Path:
    """Write ``submit.sh``, which does by hand what :func:`send` does."""
    about = "# Submits the arrays of a study and its collector; keeps the numbers of the jobs."
    lines = ["#!/bin/sh", about, "set -eu"]
    for number, step in enumerate(steps):
        first, *others = step.arguments(lambda other: f"$job_{other}")
        # Only the numbers of jobs are left to the shell; every other word is quoted.
        words = f'"{first}" {shlex.join(others)}' if step.after else shlex.join([first, *others])
        lines.append(f"job_{number}=$(sbatch --parsable {words} | cut -d ';' -f 1)")
        lines.append(f'echo "$job_{number}" > {shlex.quote(str(step.folder / "job"))}')
    return write_atomically(records.path / "submit.sh", "\n".join([*lines, ""]))


def _array_step(store: Store, site: Site, array: Array, after: tuple[int, ...]) -> Step:
    records, order = Records(store.path), array.orders[0]
    batch = records.new_batch(array.orders)
    last, seconds = len(array.orders) - 1, math.ceil(order.seconds + _MORE_SECONDS)
    minutes, megabytes = math.ceil(seconds / 60), math.ceil(order.megabytes + _MORE_MEGABYTES)
    numbers = {"last": last, "minutes": minutes, "seconds": seconds, "megabytes": megabytes}
    command = command_of(site, "annelid.cases.cluster.task", [str(store.path), batch.folder.name])
    template = Path(site.template) if site.template else ARRAY
    text = fill(template, site, command, batch.folder, {**numbers, "ranks": order.ranks})
    script = write_atomically(batch.folder / "array.sh", text)
    throttle = f"%{site.at_a_time}" if site.at_a_time else ""
    options = [f"--array=0-{last}{throttle}", "--output=%a.log", f"--ntasks={order.ranks}"]
    options += ["--nodes=1"] if site.ranks == "mpiexec" else []
    return Step(batch.folder, script, tuple(_options(site, batch.folder, options, minutes, megabytes)), after)


def _collector_step(store: Store, site: Site, onward: Limits | None, after: tuple[int, ...]) -> Step:
    """The job that collects; given limits it goes on with a search."""
    folder = Records(store.path).path / COLLECTOR_FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    command = command_of(site, "annelid", ["study", str(store.path), "--collect"])
    if onward is not None:  # as the command that submits: sbatch is where that runs, not in an image
        limits = [f"{onward.seconds or 0:g}", f"{onward.megabytes or 0:g}"]
        python = site.python or sys.executable
        command = [python, "-m", "annelid.cases.cluster.next_batch", str(store.path), *limits]
    script = write_atomically(folder / "collector.sh", fill(COLLECTOR, site, command, folder, {}))
    options = ["--output=%j.log", "--ntasks=1"]
    options = _options(site, folder, options, _COLLECTOR_MINUTES, _COLLECTOR_MEGABYTES)
    return Step(folder, script, tuple(options), after)


def _options(site: Site, folder: Path, own: Sequence[str], minutes: int, megabytes: float) -> list[str]:
    mebibytes = math.ceil(megabytes * 1e6 / 2**20)
    places = {"partition": site.partition, "account": site.account, "qos": site.qos}
    chosen = [f"--{name}={value}" for name, value in places.items() if value is not None]
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
