# SPDX-License-Identifier: MIT
"""Estimated and true cost of the library cases: python -m benchmarks.estimates [CASE ...].

Each case is run in a process of its own, with its report, after a coarse run that compiles its forms. The
true time is that of the processor, which other work on the machine affects less than the clock. Writes
results_estimates.md.
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from annelid.cases.convert.body import body_of
from annelid.cases.convert.cost import Cost, cost_of
from annelid.cases.validate.reading import library_cases, read_case
from benchmarks.__main__ import HERE, environment

HEADER = """\
# Estimated and true cost of the library cases

`python -m benchmarks.estimates` writes this table. Times are processor times of one core in s, from the start
to the end of the report, with compiled forms. "At least" marks cases whose number of factorisations depends
on what their path meets. Memory is that of the run without its report, in MB.

| case | unknowns | factorisations estimated | true | s estimated | true | ratio | MB estimated | true |
|---|---:|---:|---:|---:|---:|---:|---:|---:|
"""


def true_cost(case: Path, folder: Path) -> tuple[float, dict[str, dict[str, str]]]:
    """Run a case; return its processor time in s and the facts of its summary."""
    command = [sys.executable, "-m", "annelid", "run", str(case)]
    quiet = {"env": environment(), "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    subprocess.run([*command, str(folder / "coarse"), "--coarse", "3", "--no-report"], **quiet)
    process = subprocess.Popen([*command, str(folder / "run")], **quiet)
    _, status, used = os.wait4(process.pid, 0)
    assert os.waitstatus_to_exitcode(status) == 0, case
    summary = json.loads((folder / "run" / "summary.json").read_text())
    return used.ru_utime + used.ru_stime, summary["facts"]


def row(name: str, cost: Cost, seconds: float, facts: dict[str, dict[str, str]]) -> str:
    """Return the row of a case."""
    estimated = cost.seconds + cost.overhead
    least = "at least " if cost.is_least else ""
    memory = facts["cost"]["peak memory of the first rank"].split()[0]
    return (
        f"| {name} | {facts['solution']['unknowns, all']} | {least}{cost.factorisations:.0f} "
        f"| {facts['solution']['factorisations']} | {least}{estimated:.1f} | {seconds:.1f} "
        f"| {estimated / seconds:.2f} | {cost.memory:.0f} | {memory} |\n"
    )


def rows(names: list[str]) -> Iterator[str]:
    """Yield the row of each case."""
    for name, path in library_cases().items():
        if names and name not in names:
            continue
        case = read_case(path)
        with tempfile.TemporaryDirectory() as folder:
            yield row(name, cost_of(case, body_of(case)), *true_cost(path, Path(folder)))


def main(names: list[str]) -> None:
    """Print the table; write it if it has all cases."""
    print(HEADER, end="")
    lines = []
    for line in rows(names):
        print(line, end="", flush=True)
        lines.append(line)
    if not names:
        (HERE / "results_estimates.md").write_text(HEADER + "".join(lines))


if __name__ == "__main__":
    main(sys.argv[1:])
