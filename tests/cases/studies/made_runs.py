# SPDX-License-Identifier: MIT
"""A stand-in for runs: answers at once with a closed form, or misbehaves as the notes of the case say.

Workers import it by its name, so this folder must be on their path.
"""

import errno
import hashlib
import json
import os
import signal
import time
import tomllib
from pathlib import Path

from annelid.cases.studies.single_run import Reply

RADIAL = "mean radial expansion [1]"


def run_one(job):
    folder = Path(job.folder)
    if job.task == "report":
        (folder / "report.html").write_text("<p>made</p>")
        return Reply("done")
    case = tomllib.loads(job.toml)
    what, _, rest = case.get("notes", "").partition(" ")
    count_attempt(folder)
    match what:
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
    if what == "bowl":
        finish(folder, job.toml, bowl(case), radius(case))
        return Reply("done")
    finish(folder, job.toml, radius(case))
    return Reply("done")


def radius(case):
    return float(case["shape"]["inner_radius"].split()[0])


def bowl(case):
    """A response with its lowest point where the radius is 4.6 mm and the wall 0.3 mm."""
    wall = float(case["shape"]["layers"][0]["thickness"].split()[0])
    return (radius(case) - 4.6) ** 2 + (wall - 0.3) ** 2


def count_attempt(folder):
    """One line an attempt, beside the Run folders: what was run more than once?"""
    with open(folder.parents[1] / "attempts.txt", "a") as file:
        file.write(f"{folder.name}\n")


def finish(folder, toml, value, required=None):
    """Leave what a finished run leaves, as far as studies look at it."""
    folder.mkdir(parents=True, exist_ok=True)
    digest = hashlib.sha256(toml.encode()).hexdigest()
    state = {"stage": "fill", "parameter [1]": 1.0, "unstable modes [1]": 0, "quantities": {RADIAL: value}}
    verdict = {
        "quantity": "mean radial expansion",
        "condition": "at least",
        "limit": 4.5 if required is None else 4.8,
    }
    verdict["unit"] = "1"
    judged = value if required is None else required
    summary = {
        "case_hash": digest,
        "outcome": {"kind": "reached", "text": "reached", "stage": "fill", "parameter": 1.0, "remarks": []}
        | {"margins": [{"load": "pressure", "value": 1.5, "kind": "", "is_bound": True, "text": ""}]},
        "verdicts": [verdict | {"value": judged, "met": judged >= verdict["limit"], "where": "last state"}],
        "final_state": state,
        "facts": {"cost": {"time": "0.01 s", "peak memory of the first rank": "100 MB"}},
    }
    (folder / "case.toml").write_text(toml)
    (folder / "provenance.json").write_text(json.dumps({"kind": "annelid run", "case_hash": digest}))
    (folder / "summary.json").write_text(json.dumps(summary))
