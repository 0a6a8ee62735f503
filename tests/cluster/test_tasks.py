# SPDX-License-Identifier: MIT
"""A job on its node, without a cluster."""

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

from annelid.cases.cluster.arrays import RequestedLimits, make_job_arrays
from annelid.cases.cluster.site import Site
from annelid.cases.cluster.submission_records import Records
from annelid.cases.studies.opening import create_study, open_study


@pytest.fixture
def array(tmp_path):
    """An array of one run: the run, the study folder, and a function that starts the job."""

    def make(steps=2, **site):
        path = tmp_path / "small.toml"
        output = {"reports": False}
        study = {"title": "Small", "case": tables(steps), "vary": [pressures(5)], "output": output}
        path.write_text(tomli_w.dumps(study))
        plan, store = open_study(str(path), tmp_path / "out")
        create_study(plan, store)
        for jobs in make_job_arrays(plan, store, Site(**site), plan.runs, RequestedLimits(), max_size=10):
            Records(store.path).write_array(jobs.tasks)

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


def result_of(process):
    output, _ = process.communicate(timeout=60)
    return process.returncode, output


def test_requeued_job_does_its_run_once(array):
    run, store, job = array()
    folder = store.run_folder(run)
    folder.mkdir(parents=True)
    lock = json.dumps({"pid": 1, "host": "node7", "process_start": "5"})
    (folder / ".lock").write_text(lock)
    code, output = result_of(job())
    assert code == 143  # the run is neither finished nor failed
    assert "on node7 writes to it" in output
    assert Records(store.path).attempt(run.id).ended == "stopped"

    # If the cluster requeues the job, its first attempt has ended.
    last = Records(store.path).attempt(run.id)
    Records(store.path).save_attempt(type(last)(**{**vars(last), "host": "node7", "ended": ""}))
    assert result_of(job())[0] == 0
    assert store.state(run) == "finished"
    assert Records(store.path).attempt(run.id).ended == "done"
    code, output = result_of(job())
    assert (code, output.strip()) == (0, f"{folder} is finished")


def test_ended_job_is_recorded_and_ends_its_worker(array):
    run, store, job = array(steps=5000)
    process = job()
    wait_for(lambda: store.lock_holder(run) is not None, "the run")
    worker = store.lock_holder(run)["pid"]
    process.send_signal(signal.SIGTERM)
    assert result_of(process)[0] == 143
    assert Records(store.path).attempt(run.id).ended == "stopped"
    assert store.state(run) == "waiting"
    with pytest.raises(ProcessLookupError):
        os.kill(worker, 0)


@pytest.mark.mpi
def test_memory_of_all_ranks_counts(array):
    # One process takes about 200 MB, whatever the machine; two with their launcher more than 300.
    run, store, job = array(steps=5000, memory="300 MB")
    task = store.path / "slurm" / "0001" / "0.json"
    task.write_text(json.dumps({**json.loads(task.read_text()), "ranks": 2}))
    code, output = result_of(job())
    assert code == 1
    assert store.failure(run).kind == "memory"
    assert "more than 300 MB; --retry repeats the run with a higher limit" in output


def test_a_missing_task_is_reported(array):
    _, _, job = array()
    code, output = result_of(job("7"))
    assert code == 1
    assert "7.json: is not a valid task" in output
    assert "submit the study again" in output
