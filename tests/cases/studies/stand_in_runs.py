# SPDX-License-Identifier: MIT
"""Synthetic runs: they reply at once with a closed form, or fail in the way that the notes of the case name.

Workers import this module by its name, so its folder must be on their path.
"""

import errno
import os
import signal
import time
import tomllib
from pathlib import Path

from annelid.cases.studies.single_run import Reply
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.resolved import case_hash
from annelid.results.folder.digests import digests_of, write_sealed
from annelid.results.folder.folder_files import FOLDER_KIND, FORMAT, run_files

RADIAL = "mean radial expansion [1]"


def run_job(job):
    folder = Path(job.folder)
    if job.task == "report":
        (folder / "report.html").write_text("<p>made</p>")
        return Reply("done")
    case = tomllib.loads(job.toml)
    behaviour, _, rest = case.get("notes", "").partition(" ")
    record_attempt(folder)
    match behaviour:
        case "crash":
            os.kill(os.getpid(), signal.SIGSEGV)
        case "killed":
            os.kill(os.getpid(), signal.SIGKILL)
        case "exit":
            os._exit(3)
        case "hang":
            time.sleep(1000)
        case "slow":
            time.sleep(float(rest))
        case "hungry":
            hoard = bytearray(int(float(rest) * 1e6))
            hoard[::4096] = b"x" * len(hoard[::4096])
            time.sleep(1000)
        case "greedy":
            try:
                bytearray(int(float(rest) * 1e6))
            except MemoryError:
                return Reply("memory", "memory ran out")
        case "error":
            return Reply("error", "these values make no sense")
        case "full":
            return Reply("disk", os.strerror(errno.ENOSPC))
    if behaviour == "bowl":
        finish(folder, job.toml, bowl(case), radius(case))
        return Reply("done")
    finish(folder, job.toml, radius(case))
    return Reply("done")


def radius(case):
    return float(case["shape"]["inner_radius"].split()[0])


def bowl(case):
    """A response with its minimum at a radius of 4.6 mm and a wall of 0.3 mm."""
    wall = float(case["shape"]["layers"][0]["thickness"].split()[0])
    return (radius(case) - 4.6) ** 2 + (wall - 0.3) ** 2


def record_attempt(folder):
    """Write one line per attempt into a file beside the Run folders."""
    with open(folder.parents[1] / "attempts.txt", "a") as file:
        file.write(f"{folder.name}\n")


def finish(folder, toml, value, required=None):
    """Write the files of a finished run that studies read."""
    folder.mkdir(parents=True, exist_ok=True)
    digest = case_hash(case_from_tables(tomllib.loads(toml)))
    state = {"stage": "fill", "parameter [1]": 1.0, "unstable modes [1]": 0, "quantities": {RADIAL: value}}
    verdict = {
        "quantity": "mean radial expansion",
        "condition": "at least",
        "limit": 4.5 if required is None else 4.8,
        "unit": "1",
    }
    required = value if required is None else required
    verdict |= {"value": required, "met": required >= verdict["limit"], "where": "last state"}
    summary = {
        "case_hash": digest,
        "outcome": {"kind": "reached", "text": "reached", "stage": "fill", "parameter": 1.0, "remarks": []}
        | {"margins": [{"load": "pressure", "value": 1.5, "kind": "", "is_bound": True, "text": ""}]},
        "verdicts": [verdict],
        "path_quantities": {"opening pressure [MPa]": 2.0 * value},
        "final_state": state,
        "facts": {"cost": {"time": "0.01 s", "peak memory of the first rank": "100 MB"}},
    }
    (folder / "case.toml").write_text(toml)
    head = {"kind": FOLDER_KIND, "format": FORMAT, "case_hash": digest, "files": {}}
    write_sealed(folder / "provenance.json", head)
    write_sealed(folder / "summary.json", summary | {"files": digests_of(folder, run_files(folder))})
