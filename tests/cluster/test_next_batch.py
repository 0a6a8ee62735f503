# SPDX-License-Identifier: MIT
"""The job that continues a search, without a cluster; results are closed forms."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import tomli_w
from plain_tube import ROOT
from small_study import tables

from annelid.cases.cluster import next_batch, queue
from annelid.cases.cluster.run_status import search_status_lines
from annelid.cases.cluster.submission_records import Attempt, Records
from annelid.cases.studies.opening import create_study, open_study
from annelid.cases.studies.plan_file import read_plan

sys.path.append(str(ROOT / "tests" / "cases" / "studies"))
from stand_in_runs import finish

STUDY = {
    "title": "Small",
    "case": tables(2),
    "vary": [{"key": "shape.inner_radius", "from": "4 mm", "to": "5 mm"}],
    "objectives": [{"quantity": "mean radial expansion", "aim": "minimise"}],
    "search": {"evaluations": 12, "start": 4, "batch": 4},
}


class Cluster:
    """A substitute for the queue: all submitted jobs are pending.

    Attributes:
        submitted: Arguments of every sbatch.
        cancelled: Cancelled jobs.
        queued: Jobs in the queue.
    """

    def __init__(self):
        self.submitted, self.cancelled, self.queued = [], [], {}

    def submit_job(self, arguments):
        self.submitted.append(arguments)
        job = str(100 + len(self.submitted))
        array = [word for word in arguments if word.startswith("--array=0-")]
        indices = range(int(array[0].removeprefix("--array=0-")) + 1) if array else ["N/A"]
        self.queued |= {(job, str(index)): "PD" for index in indices}
        return job

    def cancel_jobs(self, jobs):
        self.cancelled += jobs


@pytest.fixture
def search(tmp_path, monkeypatch):
    """A search whose first batch is in the queue: plan, store, records, cluster."""
    (tmp_path / "small.toml").write_text(tomli_w.dumps(STUDY))
    plan, store = open_study(str(tmp_path / "small.toml"), tmp_path / "out")
    create_study(plan, store)
    cluster = Cluster()
    for name in ("submit_job", "cancel_jobs"):
        monkeypatch.setattr(queue, name, getattr(cluster, name))
    monkeypatch.setattr(queue, "queued_jobs", lambda: dict(cluster.queued))
    monkeypatch.setattr(queue, "max_array_size", lambda: 1001)
    records = Records(store.path)
    records.record_submission('partition = "short"\n')
    return plan, store, records, cluster


def continue_search(store, monkeypatch, job="7"):
    monkeypatch.setenv("SLURM_JOB_ID", job)
    assert next_batch.main([str(store.path), "60", "0"]) == 0


def finish_all(plan, store):
    for number, run in enumerate(plan.runs):
        finish(store.run_folder(run), run.toml, float(number))


def test_next_batch_has_the_same_site_and_limits(search, monkeypatch, capsys):
    plan, store, records, cluster = search
    finish_all(plan, store)
    continue_search(store, monkeypatch)
    assert len(read_plan(store.path).run_of_point) == 8
    array, collector = cluster.submitted
    assert {"--array=0-3", "--partition=short", "--time=4"} <= set(array)  # one minute and three more
    assert "--dependency=afterany:101" in collector
    assert "annelid.cases.cluster.next_batch" in Path(collector[-1]).read_text()
    assert "8 points are chosen" in capsys.readouterr().out
    assert (store.path / "study.html").exists()
    lines = search_status_lines(read_plan(store.path), records, cluster.queued)
    progress = "search: 8 of 12 points are chosen"
    assert lines == [f"{progress}; job 102 continues the search when these runs have ended"]

    # If it is requeued, all jobs are already submitted.
    continue_search(store, monkeypatch)
    assert len(cluster.submitted) == 2


def test_requeued_job_submits_its_missing_successor(search, monkeypatch):
    plan, store, records, cluster = search
    finish_all(plan, store)
    continue_search(store, monkeypatch)
    # The state before the last sbatch: the recorded collector is the job itself.
    (records.path / "collector" / "job").write_text("7\n")
    del cluster.queued["102", "N/A"]
    continue_search(store, monkeypatch)
    assert "--dependency=afterany:101" in cluster.submitted[2]
    assert records.collector_job() == "103"


def test_more_evaluations_use_finished_runs(search, monkeypatch):
    plan, store, _, cluster = search
    finish_all(plan, store)
    continue_search(store, monkeypatch)
    finish_all(read_plan(store.path), store)
    cluster.queued.clear()
    create_study(plan, store)  # as if the study had been planned again: only the first points
    continue_search(store, monkeypatch, job="8")
    assert len(read_plan(store.path).run_of_point) == 12


def test_cancelled_search_submits_no_more_jobs(search, monkeypatch, capsys):
    plan, store, records, cluster = search
    finish_all(plan, store)
    records.record_cancellation()
    continue_search(store, monkeypatch)
    assert cluster.submitted == []
    records.record_submission("")
    submit = cluster.submit_job

    def cancelled_meanwhile(arguments):
        records.record_cancellation()
        return submit(arguments)

    monkeypatch.setattr(queue, "submit_job", cancelled_meanwhile)
    continue_search(store, monkeypatch)
    assert cluster.cancelled == ["101", "102"]
    assert capsys.readouterr().out.count("the search was cancelled") == 2


def test_a_lost_run_is_submitted_again_but_not_without_end(search, monkeypatch, capsys):
    plan, store, records, cluster = search
    finish_all(replace(plan, runs=plan.runs[1:]), store)
    lost = plan.runs[0].id
    for _ in range(3):
        before = len(cluster.submitted)
        continue_search(store, monkeypatch)
        assert len(cluster.submitted) == before + 2
        job = cluster.queued and records.arrays()[-1].job
        records.save_attempt(Attempt(lost, job, "0", "node", "then", 60.0, 100.0))
        cluster.queued.clear()
    continue_search(store, monkeypatch)
    assert f"{lost} was lost 3 times" in capsys.readouterr().out
    assert len(cluster.submitted) == 6


def test_lock_left_by_a_node_that_went_down_is_removed(search, monkeypatch):
    plan, store, records, cluster = search
    finish_all(plan, store)
    lock = store.path / ".lock"
    lock.write_text(json.dumps({"pid": 1, "host": "node7", "process_start": "5"}))
    records.save_attempt(Attempt("collector", "7", "", "node7", "then", 0.0, 0.0))
    continue_search(store, monkeypatch)
    assert len(cluster.submitted) == 2
    assert not lock.exists()
