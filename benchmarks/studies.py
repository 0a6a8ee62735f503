# SPDX-License-Identifier: MIT
"""Times of studies: python -m benchmarks.studies [--runs N]; writes results_studies.md.

The study varies the modulus of a tube with about 3,000 unknowns and 10 steps. It measures the runs per second
on one and two workers, the processor time of the driver, and the time to collect 10,000 copies of a real run.
"""

import argparse
import json
import os
import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path

import tomli_w

from annelid.cases.run.environment import prepare
from annelid.cases.studies.driver import run_study
from annelid.cases.studies.opening import create_study, open_study
from annelid.cases.studies.page import write_page
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.settings import Settings
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import StudyTable

HERE = Path(__file__).parent
CASE = {
    "title": "Tube",
    "shape": {
        "kind": "tube",
        "inner_radius": "4 mm",
        "length": "30 mm",
        "layers": [{"name": "wall", "thickness": "500 um"}],
    },
    "mesh": {"along": "0.35 mm", "through": 3},
    "materials": {"rubber": {"law": "neo-hookean", "shear_modulus": "0.1 MPa"}},
    "parts": [{"region": "wall", "material": "rubber"}],
    "supports": [{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "all"}],
    "stages": [{"name": "fill", "pressure": "3 kPa", "steps": 10}],
}
MODULUS = {"key": "materials.rubber.shear_modulus", "from": "0.1 MPa", "to": "0.2 MPa"}


def create_modulus_study(folder: Path, count: int, name: str) -> tuple[Plan, Store]:
    """Create a study of ``count`` moduli in a folder of the given name."""
    file = folder / f"{name}.toml"
    content = {"title": "Tube: modulus", "case": CASE, "vary": [{**MODULUS, "count": count}]}
    file.write_text(tomli_w.dumps({**content, "output": {"reports": False}}))
    return open_study(str(file), folder / name)


def time_study(folder: Path, count: int, workers: int) -> dict[str, float]:
    """Do a study with compiled forms; return its time and the processor time of its driver, s."""
    plan, store = create_modulus_study(folder, count, f"on_{workers}")
    create_study(plan, store)
    table = StudyTable(plan, store)
    before = resource.getrusage(resource.RUSAGE_SELF)
    begin = time.perf_counter()
    with store.locked():
        counts = run_study(plan, store, table, Settings(workers))
    seconds = time.perf_counter() - begin
    after = resource.getrusage(resource.RUSAGE_SELF)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    summary = store.summary(plan.runs[0]) or {}
    unknowns = summary["facts"]["solution"]["unknowns, all"]
    return {
        "seconds": seconds,
        "driver": used,
        "busy": sum(counts.seconds),
        "unknowns": unknowns,
        "done": counts.done,
    }


def time_collection(folder: Path, count: int, pattern: Path) -> tuple[float, float, float]:
    """Return the times to open the plan, to collect tables and page, and to find all states, s."""
    plan, store = create_modulus_study(folder, count, "large")
    create_study(plan, store)
    summary = json.loads((pattern / "summary.json").read_text())
    for run in plan.runs:
        run_folder = store.run_folder(run)
        shutil.copytree(pattern, run_folder, ignore=shutil.ignore_patterns("summary.json"))
        (run_folder / "summary.json").write_text(json.dumps({**summary, "case_hash": run.hash}))
    begin = time.perf_counter()
    plan, store = open_study(str(folder / "large.toml"), store.path)
    opened = time.perf_counter() - begin
    table = StudyTable(plan, store)
    table.write()
    write_page(plan, store, table)
    whole = time.perf_counter() - begin
    begin = time.perf_counter()
    assert all(store.state(run) == "finished" for run in plan.runs)
    return opened, whole, time.perf_counter() - begin


def main() -> None:
    """Measure everything, and print and write the results."""
    prepare()
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--folders", type=int, default=10_000)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=os.environ.get("ANNELID_BENCH_DIR")) as temporary:
        folder = Path(temporary)
        time_study(folder, 2, 3)  # compiles the forms
        one, two = (time_study(folder, options.runs, workers) for workers in (1, 2))
        pattern = next((folder / "on_2" / "runs").iterdir())
        opened, whole, status = time_collection(folder, options.folders, pattern)
    text = report(options.runs, one, two)
    text += (
        f"\n\nA study folder of {options.folders} runs: opening the plan takes {opened:.1f} s, collecting "
    )
    text += f"table and page {whole:.1f} s in total, finding all states {status:.1f} s.\n"
    (HERE / "results_studies.md").write_text(text)
    print(text)


def report(runs: int, one: dict[str, float], two: dict[str, float]) -> str:
    """Return the table of the throughput."""
    rate = [runs / result["seconds"] for result in (one, two)]
    used = [result["driver"] / (n * result["seconds"]) for n, result in ((1, one), (2, two))]
    idle = [1 - result["busy"] / (n * result["seconds"]) for n, result in ((1, one), (2, two))]
    about = f"{runs} runs of {one['unknowns']:.0f} unknowns in 10 steps on {os.cpu_count()} processors"
    rows = [
        ("", "1 worker", "2 workers"),
        ("---", "---", "---"),
        ("time, including the start of the workers", *(f"{f['seconds']:.1f} s" for f in (one, two))),
        ("runs per second and processor", f"{rate[0]:.2f}", f"{rate[1] / 2:.2f}"),
        ("throughput relative to one worker", "1", f"{rate[1] / rate[0]:.2f}"),
        ("fraction of processor time used by the driver", *(f"{fraction:.1%}" for fraction in used)),
        ("fraction of time that workers are idle", *(f"{fraction:.1%}" for fraction in idle)),
    ]
    return "\n".join(
        [
            "# Studies",
            "",
            f"{about}; the equations were compiled before.",
            "",
            *(f"| {' | '.join(row)} |" for row in rows),
        ]
    )


if __name__ == "__main__":
    sys.exit(main())
