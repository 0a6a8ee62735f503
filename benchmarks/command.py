# SPDX-License-Identifier: MIT
"""Time of the whole command: python -m benchmarks.command [--profile].

This runs ``annelid run`` on an axisymmetric tube of 5,000 unknowns in 20 steps with compiled forms. It prints
the times until the summary is written and until the command ends. The target is a summary in less than 3 s.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.__main__ import HERE, environment
from benchmarks.tube import INNER_RADIUS, LENGTH, PRESSURE, SHEAR_MODULUS, WALL

REPEATS = 3
CASE = f"""
title = "Tube under pressure, clamped at both ends"
notes = "Benchmark, no device."

[shape]
kind = "tube"
inner_radius = "{INNER_RADIUS} mm"
length = "{LENGTH} mm"

[[shape.layers]]
name = "wall"
thickness = "{WALL} mm"

[mesh]
model = "axisymmetric"
along = "{LENGTH / 135:.9f} mm"
through = 3

[materials.rubber]
law = "neo-hookean"
shear_modulus = "{SHEAR_MODULUS} MPa"

[[parts]]
region = "wall"
material = "rubber"

[[supports]]
region = "end_low"
hold = "all"

[[supports]]
region = "end_high"
hold = "all"

[[stages]]
name = "inflate"
pressure = "{PRESSURE:.9f} MPa"
steps = 20
"""


def run_command(folder: Path, number: int, *, profile: bool = False) -> tuple[float, float]:
    """Run the command; return the seconds until the summary is written and until the command ends."""
    case = folder / "tube.toml"
    case.write_text(CASE)
    run = folder / f"run{number}"
    python = (
        [sys.executable, "-m", "cProfile", "-o", str(folder / "profile")] if profile else [sys.executable]
    )
    command = [*python, "-m", "annelid", "run", str(case), str(run)]
    began, start = time.time(), time.perf_counter()
    subprocess.run(command, cwd=HERE.parent, env=environment(), check=True, capture_output=True)
    ended = time.perf_counter() - start
    summary = run / "summary.json"
    assert json.loads(summary.read_text())["outcome"]["kind"] == "reached"
    return os.stat(summary).st_mtime - began, ended


def main() -> None:
    """Print the times of several runs after a first one that compiles the forms."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.command", description=__doc__.split("\n")[0])
    parser.add_argument("--profile", action="store_true", help="show where the time goes")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        run_command(folder, 0)
        for number in range(1, REPEATS + 1):
            summary, ended = run_command(folder, number)
            print(f"summary written after {summary:.2f} s, command ended after {ended:.2f} s")
        if options.profile:
            run_command(folder, REPEATS + 1, profile=True)
            import pstats

            pstats.Stats(str(folder / "profile")).sort_stats("cumtime").print_stats(70)


if __name__ == "__main__":
    main()
