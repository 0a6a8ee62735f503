# SPDX-License-Identifier: MIT
"""Time and memory of comparing a scan: python -m benchmarks.scans; writes results_scans.md.

The library case ``tapered_tube`` is run, and invented scans of it are compared with its last state, each in
a process of its own with one thread. The target is a million points in less than 30 s and 2 GB.
"""

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from benchmarks.__main__ import HERE, environment

SPACINGS = {"50 thousand": 1.0, "1 million": 0.2155}  # of the example scanner
_MEASURE = """
import json, resource, sys
from annelid.cases.cli.main import main
code = main(sys.argv[1:])
used = resource.getrusage(resource.RUSAGE_SELF)
print(json.dumps([code, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024]))
"""


def invent(run: Path, path: Path, factor: float) -> int:
    """Write an invented scan with another spacing; return the number of its points."""
    import annelid.solver  # noqa: F401  orders the libraries
    from annelid.compare.invented.invented_files import write_invented_scan
    from annelid.compare.invented.invented_scan import invent_scan
    from annelid.compare.invented.scanned_surface import surface_of_run
    from annelid.compare.invented.scanner import example_scanner
    from annelid.results.folder.run_record import open_run

    surface = surface_of_run(open_run(run), None, behind="lumen")
    scanner = example_scanner(surface, 1)
    cloud, truth = invent_scan(surface, replace(scanner, spacing=factor * scanner.spacing))
    write_invented_scan(cloud, truth, path)
    return len(cloud.points)


def main() -> None:
    """Measure and write the table."""
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        annelid = [sys.executable, "-m", "annelid", "run", "tapered_tube", str(folder / "run"), "--no-report"]
        subprocess.run(annelid, cwd=HERE.parent, env=environment(), check=True, capture_output=True)
        for label, factor in SPACINGS.items():
            scan = folder / f"invented_{label.split()[0]}.ply"
            count = invent(folder / "run", scan, factor)
            command = [
                sys.executable,
                "-c",
                _MEASURE,
                "compare",
                str(folder / "run"),
                str(scan),
                "--unit",
                "mm",
            ]
            done = subprocess.run(
                command, cwd=HERE.parent, env=environment(), check=True, capture_output=True, text=True
            )
            code, seconds, memory = json.loads(done.stdout.splitlines()[-1])
            assert code == 0
            rows.append(f"| {count:,} | {seconds:.1f} s | {memory:.0f} MB |")
    text = (
        "# Comparing a scan with a run\n\nThe whole command `annelid compare` with its page, on one core. "
        f"The machine had a load of {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors.\n\n"
        "| points | processor time | largest memory |\n|---|---|---|\n" + "\n".join(rows) + "\n"
    )
    (HERE / "results_scans.md").write_text(text)
    print(text)


if __name__ == "__main__":
    main()
