# SPDX-License-Identifier: MIT
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
import tomli_w
from one_node import OneNode, problems_of_this_machine
from plain_tube import ROOT
from small_study import tables

from annelid.cases.cluster.run_status import run_statuses
from annelid.cases.cluster.submission_records import Records
from annelid.cases.studies.opening import open_study


@pytest.fixture(scope="session")
def node():
    """A cluster of one node; without its programs tests are skipped, or fail if the programs are required."""
    problems = problems_of_this_machine()
    if problems and os.environ.get("ANNELID_NEEDS_SLURM") == "1":
        pytest.fail("no cluster can be started: " + "; ".join(problems))
    if problems:
        pytest.skip("no cluster can be started: " + "; ".join(problems))
    with tempfile.TemporaryDirectory(prefix="annelid-") as folder, OneNode(Path(folder)) as cluster:
        yield cluster


class ClusterUser:
    """A user of the cluster, with a study file, a site file and an empty folder.

    Attributes:
        folder: Working folder of the user.
        out: The study folder.
    """

    def __init__(self, cluster, folder, name):
        self.cluster, self.folder, self.out = cluster, folder, folder / name

    def write(self, *vary, site=None, steps=2, **keys):
        study = {"title": "Small", "case": tables(steps), "vary": list(vary), "output": {"reports": False}}
        (self.folder / "small.toml").write_text(tomli_w.dumps(study | keys))
        (self.folder / "site.toml").write_text(tomli_w.dumps(site or {}))

    def annelid(self, *options):
        words = [sys.executable, "-m", "annelid", "study", "small.toml", "--out", str(self.out), *options]
        environment = {**self.cluster.environment, "PYTHONPATH": str(ROOT)}
        done = subprocess.run(
            words, cwd=self.folder, env=environment, capture_output=True, text=True, timeout=100
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def submit(self, *options, wait=60.0, collect=False):
        """Submit, wait for the end of all jobs, and return the output; by default without the collector."""
        output = self.annelid("--slurm", "--site", "site.toml", *options)
        job = self.out / "slurm" / "collector" / "job"
        if not collect and job.exists():
            self.cluster.run_slurm("scancel", job.read_text().strip())
        if wait:
            self.cluster.wait_until_empty(wait)
        return output

    def run_statuses(self):
        """The states of the runs when the queue is empty."""
        plan, store = open_study(str(self.folder / "small.toml"), self.out)
        return run_statuses(plan, store, Records(store.path), {})

    def states(self):
        return [status.state for status in self.run_statuses()]

    def submitted(self):
        """Ids of the runs of each array, oldest first."""
        return [array.runs for array in Records(self.out).arrays()]

    def summaries(self):
        """Modification time of each summary."""
        return {path.parent.name: path.stat().st_mtime_ns for path in self.out.glob("runs/*/summary.json")}

    def attempts(self):
        found = [path.stem for path in self.out.glob("slurm/attempts/*.json")]
        return {run: Records(self.out).attempt(run) for run in found}


@pytest.fixture
def cluster_user(node, tmp_path):
    return lambda name="out": ClusterUser(node, tmp_path, name)
