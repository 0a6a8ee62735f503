# SPDX-License-Identifier: MIT
"""All measurements: python -m benchmarks [--quick]; writes results.md and results.csv.

Every run is a separate process with one thread. Short runs are repeated, and the one with the median path
time is kept. All solvers must give the same lumen volume.
"""

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

from benchmarks.record import Record
from benchmarks.table import write_tables
from benchmarks.tube import SIZES

HERE = Path(__file__).parent
SOLVERS = {
    "ours": "this project",
    "ours on 2 ranks": "this project, 2 ranks",
    "peer_felupe": "FElupe",
    "peer_scikit_fem": "scikit-fem",
    "peer_ngsolve": "NGSolve",
    "peer_ngsolve_tuned": "NGSolve, tuned",
}
REPEAT_BELOW = 10.0  # s of path
REPEATS = 3
SAME_VOLUME = {"tiny": 0.03, "5k": 0.002, "8k": 0.005, "15k": 0.001, "20k": 0.002, "45k": 0.001, "50k": 0.001}


def environment(**more: str) -> dict[str, str]:
    """Return the environment variables of a run, with one thread and the usual cache of forms."""
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "IGL_NUM_THREADS")
    single_thread = dict.fromkeys(names, "1")
    return {**os.environ, "UCX_TLS": os.environ.get("UCX_TLS", "self,sm,tcp"), **single_thread, **more}


def run_once(solver: str, model: str, size: str, **more: str) -> Record:
    """Do one run in a separate process."""
    module = solver.split()[0]
    command = [sys.executable, "-m", f"benchmarks.{module}", model, size]
    if solver.endswith("2 ranks"):
        own = Path(sys.executable).with_name("mpiexec")
        mpiexec = str(own) if own.exists() else shutil.which("mpiexec") or "mpiexec"
        start = [mpiexec, "-launcher", "fork", "-n", "2", sys.executable, "-m", "mpi4py"]
        command = [*start, *command[1:]]
    done = subprocess.run(
        command, cwd=HERE.parent, env=environment(**more), stdout=subprocess.PIPE, check=True
    )
    return Record(**json.loads(done.stdout.decode().splitlines()[-1]))


def measure(solver: str, model: str, size: str) -> Record:
    """Do a run, and repeat it if it is short; return the one with the median path time."""
    runs = [run_once(solver, model, size)]
    while runs[0].path < REPEAT_BELOW and len(runs) < REPEATS:
        runs.append(run_once(solver, model, size))
    middle = statistics.median_low([run.path for run in runs])
    record = next(run for run in runs if run.path == middle)
    record.solver = SOLVERS[solver]
    return record


def compilation(model: str) -> float:
    """Return the compile time of a model, s: difference of set-ups with an empty and a full cache."""
    with tempfile.TemporaryDirectory() as folder:
        cold, warm = (run_once("ours", model, "tiny", ANNELID_CACHE=folder).set_up for _ in range(2))
    return cold - warm


def check_agreement(records: list[Record]) -> None:
    """Check that all solvers solved the same problem.

    Raises:
        AssertionError: A lumen volume differs from that of the first solver by more than the tolerance.
    """
    for record in records:
        first = next(r for r in records if (r.model, r.size) == (record.model, record.size))
        difference = (1 + record.volume_change) / (1 + first.volume_change) - 1
        assert abs(difference) < SAME_VOLUME[record.size], (
            f"{record.solver}, {record.model} {record.size}: lumen volume differs by {difference:.2%}"
        )


def main() -> None:
    """Measure everything, and print and write the results."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="the smallest size of each model only")
    parser.add_argument("--models", nargs="+", choices=list(SIZES), default=list(SIZES))
    parser.add_argument("--sizes", nargs="+", help="only these sizes, for instance 45k 50k")
    parser.add_argument("--solvers", nargs="+", choices=list(SOLVERS), default=list(SOLVERS))
    parser.add_argument("--results", type=Path, default=HERE, help="folder for results.md and results.csv")
    options = parser.parse_args()
    load = os.getloadavg()[0]
    compiled = {}
    for model in options.models:
        run_once("ours", model, "tiny")  # fills the cache
        compiled[model] = compilation(model)
        print(f"{model}: forms compiled in {compiled[model]:.1f} s", file=sys.stderr, flush=True)
    records: list[Record] = []
    options.results.mkdir(parents=True, exist_ok=True)
    for model in options.models:
        sizes = [size for size in SIZES[model] if size != "tiny" and size in (options.sizes or SIZES[model])]
        for size in sizes[: 1 if options.quick else None]:
            for solver in options.solvers:
                record = measure(solver, model, size)
                print(json.dumps(asdict(record)), file=sys.stderr, flush=True)
                records.append(record)
            text = write_tables(
                records, compiled, load, options.results
            )  # kept if the measurement is interrupted
    check_agreement(records)
    print(text)


if __name__ == "__main__":
    main()
