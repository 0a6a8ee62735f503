# SPDX-License-Identifier: MIT
"""What a job does on its node, without a cluster around it."""

import json
import os
import signal
import subprocess
import sys

import pytest
import tomli_w
from one_node import wait_for
from plain_tube import ROOT
from small_study import pressures, tables

from annelid.cases.cluster.arrays import Limits, arrays_of
from annelid.cases.cluster.records import Records
from annelid.cases.cluster.site import Site
from annelid.cases.studies.opening import create, open_study


@pytest.fixture
def batch(tmp_path):
    """A study of one run with its order written: the run, the store, and a function that starts the job."""

    def make(steps=2, **site):
        path = tmp_path / "small.toml"
        output = {"reports": False}
        study = {"title": "Small", "case": tables(steps), "vary": [pressures(5)], "output": output}
        path.write_text(tomli_w.dumps(study))
        plan, store = open_study(str(path), tmp_path / "out")
        create(plan, store)
        for array in arrays_of(plan, store, Site(**site), plan.runs, Limits(), largest=10):
            Records(store.path).new_batch(array.orders)

        def job(index="0", **environment):
            names = {"PYTHONPATH": str(ROOT), **environment}
            words = [sys.executable, "-m", "annelid.cases.cluster.task", str(store.path), "0001", index, "12"]
            return subprocess.Popen(
                words,
                env={**os.environ, **names},
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
            )

        return plan.runs[0], store, job

    return make


def ended(process):
    said, _ = process.communicate(timeout=60)
    return process.returncode, said


def test_a_job_does_its_run_once_and_frees_what_its_first_try_locked(batch):
    run, store, job = batch()
    folder = store.run_folder(run)
    folder.mkdir(parents=True)
    lock = json.dumps({"pid": 1, "host": "node7", "process_start": "5"})
    (folder / ".lock").write_text(lock)
    code, said = ended(job())
    assert code == 143  # no fault of the run: it stays to be done
    assert "on node7 writes to it" in said
    assert Records(store.path).attempt(run.id).ended == "stopped"

    # Put back into the queue by the cluster, the same job knows that its first try is over.
    gone = Records(store.path).attempt(run.id)
    Records(store.path).keep(type(gone)(**{**vars(gone), "host": "node7", "ended": ""}))
    assert ended(job())[0] == 0
    assert store.state(run) == "finished"
    assert Records(store.path).attempt(run.id).ended == "done"
    code, said = ended(job())
    assert (code, said.strip()) == (0, f"{folder} is finished")


def test_a_job_that_the_cluster_ends_says_so_and_leaves_nobody(batch):
    run, store, job = batch(steps=5000)
    process = job()
    wait_for(lambda: store.holder(run) is not None, "the run")
    worker = store.holder(run)["pid"]
    process.send_signal(signal.SIGTERM)
    assert ended(process)[0] == 143
    assert Records(store.path).attempt(run.id).ended == "stopped"
    assert store.state(run) == "waiting"
    with pytest.raises(ProcessLookupError):
        os.kill(worker, 0)


def test_memory_of_all_ranks_counts(batch):
    # One process takes about 200 MB, whatever the machine; two with their launcher more than 300.
    run, store, job = batch(steps=5000, memory="300 MB")
    order = store.path / "slurm" / "0001" / "0.json"
    order.write_text(json.dumps({**json.loads(order.read_text()), "ranks": 2}))
    code, said = ended(job())
    assert code == 1
    assert store.failure(run).kind == "memory"
    assert "more than 300 MB; --retry gives it more" in said


def test_an_order_that_is_not_there_is_said(batch):
    _, _, job = batch()
    code, said = ended(job("7"))
    assert code == 1
    assert "7.json: holds no order" in said
    assert "submit the study again" in said
