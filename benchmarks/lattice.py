# SPDX-License-Identifier: MIT
"""Time of a whole lattice balloon from its case file to its report: python -m benchmarks.lattice."""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

CASE = Path(__file__).parent / "lattice_balloon.toml"


def main(ranks: int = 2) -> None:
    """Run the case in a separate process, and print the time and the peak memory of the largest process."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        command = [sys.executable, "-m", "annelid", "run", str(CASE), f"{folder}/run", "--ranks", str(ranks)]
        subprocess.run(command, check=True)
        seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"{ranks} ranks: {seconds:.0f} s from case file to report, peak memory {peak:.0f} MB per process")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
