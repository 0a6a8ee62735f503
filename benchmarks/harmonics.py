# SPDX-License-Identifier: MIT
"""The price of harmonics in library cases: python -m benchmarks.harmonics [CASE ...].

Each axisymmetric case is run in a process of its own, with its report and compiled forms. The calls that
judge its states against waves around the axis, and that locate where harmonics turn, are measured from
outside. All times are processor times. Writes results_harmonics.md.
"""

import json
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from annelid.cases.validate.reading import library_cases, read_case
from benchmarks.__main__ import HERE, environment

HEADER = """\
# The price of harmonics

`python -m benchmarks.harmonics` writes this table. Times are processor times in s with compiled forms, `run`
from the start to the end of the report. `judging` is spent on states that are judged against waves around the
axis, `search` on the points where harmonics turn. Cases whose harmonics are refused, or off, are left out.

| case | unknowns | run | report | judging | search | share | without the report |
|---|---:|---:|---:|---:|---:|---:|---:|
"""


def measured(name: str, folder: str) -> dict[str, float]:
    """Run a case in this process; return its times in s and its unknowns."""
    from annelid.cases.cli.main import main as annelid
    from annelid.results.report import report
    from annelid.solver.continuation import harmonic_watch, margin_search, reporter

    spent: Counter[str] = Counter()

    def clock(owner: Any, attribute: str, key: str) -> None:
        call = getattr(owner, attribute)

        def timed(*args: Any, **options: Any) -> Any:
            begin = time.process_time()
            try:
                return call(*args, **options)
            finally:
                spent[key] += time.process_time() - begin

        setattr(owner, attribute, timed)

    clock(report, "write_report", "report")
    clock(harmonic_watch.HarmonicWatch, "unstable", "judging")
    clock(harmonic_watch.HarmonicWatch, "still", "judging")
    for module in (reporter, margin_search):
        clock(module, "first_turn", "search")
    assert annelid(["run", name, folder]) == 0
    facts = json.loads((Path(folder) / "summary.json").read_text())["facts"]
    unknowns = int(facts["solution"]["unknowns, all"])
    return {**spent, "run": time.process_time(), "unknowns": unknowns}


def row(name: str, times: dict[str, float]) -> str:
    """The row of a case, empty if no state was judged."""
    judging, search = times.get("judging", 0.0), times.get("search", 0.0)
    if not judging:
        return ""
    run, report = times["run"], times.get("report", 0.0)
    share, bare = ((judging + search) / whole for whole in (run, run - report))
    return (
        f"| {name} | {times['unknowns']:.0f} | {run:.1f} | {report:.1f} | {judging:.2f} | {search:.2f} "
        f"| {share:.0%} | {bare:.0%} |\n"
    )


def main(names: list[str]) -> None:
    """Print the table; write it if it has all cases."""
    if names[:1] == ["--here"]:
        print(json.dumps(measured(*names[1:])))
        return
    print(HEADER, end="")
    lines = []
    for name, path in library_cases().items():
        if (names and name not in names) or read_case(path).mesh.model != "axisymmetric":
            continue
        with tempfile.TemporaryDirectory() as folder:
            command = [sys.executable, "-m", "benchmarks.harmonics", "--here", name, f"{folder}/run"]
            quiet: dict[str, Any] = {"env": environment(), "stderr": subprocess.DEVNULL}
            output = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, **quiet).stdout
        lines.append(row(name, json.loads(output.splitlines()[-1])))
        print(lines[-1], end="", flush=True)
    if not names:
        (HERE / "results_harmonics.md").write_text(HEADER + "".join(lines))


if __name__ == "__main__":
    main(sys.argv[1:])
