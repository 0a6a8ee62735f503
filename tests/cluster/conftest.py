# SPDX-License-Identifier: MIT
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
import tomli_w
from one_node import OneNode, missing
from plain_tube import ROOT
from small_study import tables

from annelid.cases.cluster.records import Records
from annelid.cases.cluster.run_status import standings
from annelid.cases.studies.opening import open_study


@pytest.fixture(scope="session")
def node():
    """A cluster of one node; without the programs it is a failure where they are promised, else a skip."""
    lacks = missing()
    if lacks and os.environ.get("ANNELID_NEEDS_SLURM") == "1":
        pytest.fail("no cluster can be started: " + "; ".join(lacks))
    if lacks:
        pytest.skip("no cluster can be started: " + "; ".join(lacks))
    with tempfile.TemporaryDirectory(prefix="annelid-") as folder, OneNode(Path(folder)) as cluster:
        yield cluster


class Desk:
    """A user at the cluster, with a study file, a site file and an empty folder.

    Attributes:
        folder: Where the user works.
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
        """Hand in, wait until all is over, and tell what was said; mostly without the job that collects."""
        said = self.annelid("--slurm", "--site", "site.toml", *options)
        job = self.out / "slurm" / "collector" / "job"
        if not collect and job.exists():
            self.cluster.say("scancel", job.read_text().strip())
        if wait:
            self.cluster.wait_until_empty(wait)
        return said

    def standings(self):
        """How the runs stand, once the queue is empty."""
        plan, store = open_study(str(self.folder / "small.toml"), self.out)
        return standings(plan, store, Records(store.path), {})

    def words(self):
        return [standing.word for standing in self.standings()]

    def handed_in(self):
        """Ids of the runs of each array, oldest first."""
        return [batch.runs for batch in Records(self.out).batches()]

    def summaries(self):
        """When each summary was written."""
        return {path.parent.name: path.stat().st_mtime_ns for path in self.out.glob("runs/*/summary.json")}

    def attempts(self):
        found = [path.stem for path in self.out.glob("slurm/attempts/*.json")]
        return {run: Records(self.out).attempt(run) for run in found}


@pytest.fixture
def desk(node, tmp_path):
    return lambda name="out": Desk(node, tmp_path, name)
