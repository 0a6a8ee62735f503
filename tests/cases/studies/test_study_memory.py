# SPDX-License-Identifier: MIT
"""The memory limit of a worker and the ranks that it starts."""

import resource
import subprocess
import sys

import numpy as np
import pytest
from plain_tube import ROOT

import annelid.cases.run.ranks
from annelid.cases.studies.single_run import Job, run_job

LIMIT = 64 << 30  # far above the memory of the tests


@pytest.fixture
def limited():
    """Limit the memory of this process; gives the limit that ranks must have instead."""
    before = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (LIMIT, before[1]))
    yield before[1]
    resource.setrlimit(resource.RLIMIT_AS, before)


def test_ranks_do_not_inherit_the_limit_of_their_worker(limited, tmp_path, monkeypatch):
    seen = []

    def started(count, arguments):
        seen.append((count, resource.getrlimit(resource.RLIMIT_AS)[0]))
        return 11

    monkeypatch.setattr(annelid.cases.run.ranks, "start_ranks", started)
    reply = run_job(Job("run", "", str(tmp_path / "run"), ranks=2))
    assert seen == [(2, limited)]
    assert reply.kind == "error"
    assert "on 2 ranks ended with code 11" in reply.reason
    assert resource.getrlimit(resource.RLIMIT_AS)[0] == LIMIT  # the worker keeps its own limit


def test_the_peak_memory_of_a_process_is_not_that_of_its_parent():
    large = np.ones(50_000_000)  # 400 MB in this process
    code = "from annelid.cases.run.memory import peak_memory; print(peak_memory())"
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert 10 < float(done.stdout) < 200 < large.nbytes / 1e6
