# SPDX-License-Identifier: MIT
"""Handing arrays and a collector to the queue, or writing down how that would be done."""

import math
import shlex
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from cases.cluster import queue
from cases.cluster.arrays import Array
from cases.cluster.records import COLLECTOR as COLLECTOR_FOLDER
from cases.cluster.records import Records
from cases.cluster.script import ARRAY, COLLECTOR, command_of, fill
from cases.cluster.site import Site
from cases.studies.plan import Plan
from cases.studies.store import Store
from results.atomic import write_atomically

__all__ = ["Step", "send", "steps_of", "write_down"]

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
    """

    folder: Path
    script: Path
    options: tuple[str, ...]
    after: tuple[int, ...]

    def arguments(self, job_of: Callable[[int], str]) -> list[str]:
        """Arguments of sbatch, given how the number of the job of a step is written."""
        waits = ":".join(map(job_of, self.after))
        dependency = [f"--dependency=afterany:{waits}", "--kill-on-invalid-dep=yes"] if waits else []
        return [*dependency, *self.options, str(self.script)]


def steps_of(plan: Plan, store: Store, site: Site, arrays: Sequence[Array]) -> list[Step]:
    """Write orders and scripts of all arrays and of the collector; nothing is submitted.

    Raises:
        InputError: The template of the site cannot be used.
    """
    steps: list[Step] = []
    leaders = tuple(i for i, array in enumerate(arrays) if array.leads)
    for array in arrays:
        steps.append(_array_step(store, site, array, leaders if array.waits else ()))
    steps.append(_collector_step(plan, store, site, tuple(range(len(steps)))))
    return steps


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
    command = command_of(site, "cases.cluster.task", [str(store.path), batch.folder.name])
    template = Path(site.template) if site.template else ARRAY
    text = fill(template, site, command, batch.folder, {**numbers, "ranks": order.ranks})
    script = write_atomically(batch.folder / "array.sh", text)
    throttle = f"%{site.at_a_time}" if site.at_a_time else ""
    options = [f"--array=0-{last}{throttle}", "--output=%a.log", f"--ntasks={order.ranks}"]
    options += ["--nodes=1"] if site.ranks == "mpiexec" else []
    return Step(batch.folder, script, tuple(_options(site, batch.folder, options, minutes, megabytes)), after)


def _collector_step(plan: Plan, store: Store, site: Site, after: tuple[int, ...]) -> Step:
    folder = Records(store.path).path / COLLECTOR_FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    command = command_of(site, "cases", ["study", str(store.path), "--collect"])
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
