# SPDX-License-Identifier: MIT
"""The job that goes on with a search, without a cluster around it; runs are closed forms."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import tomli_w
from plain_tube import ROOT
from small_study import tables

from annelid.cases.cluster import next_batch as onward
from annelid.cases.cluster import queue
from annelid.cases.cluster.records import Attempt, Records
from annelid.cases.cluster.run_status import search_lines
from annelid.cases.studies.opening import create, open_study
from annelid.cases.studies.plan_file import read_plan

sys.path.append(str(ROOT / "tests" / "cases" / "studies"))
from made_runs import finish

STUDY = {
    "title": "Small",
    "case": tables(2),
    "vary": [{"key": "shape.inner_radius", "from": "4 mm", "to": "5 mm"}],
    "objectives": [{"quantity": "mean radial expansion", "aim": "minimise"}],
    "search": {"evaluations": 12, "start": 4, "batch": 4},
}


class Cluster:
    """Stands in for the queue: everything that is submitted waits.

    Attributes:
        said: Words of every sbatch.
        cancelled: Jobs that were cancelled.
        waiting: What is in the queue.
    """

    def __init__(self):
        self.said, self.cancelled, self.waiting = [], [], {}

    def submit(self, arguments):
        self.said.append(arguments)
        job = str(100 + len(self.said))
        array = [word for word in arguments if word.startswith("--array=0-")]
        indices = range(int(array[0].removeprefix("--array=0-")) + 1) if array else ["N/A"]
        self.waiting |= {(job, str(index)): "PD" for index in indices}
        return job

    def cancel(self, jobs):
        self.cancelled += jobs


@pytest.fixture
def search(tmp_path, monkeypatch):
    """A search whose first batch is in the queue: plan, store, records, cluster."""
    (tmp_path / "small.toml").write_text(tomli_w.dumps(STUDY))
    plan, store = open_study(str(tmp_path / "small.toml"), tmp_path / "out")
    create(plan, store)
    cluster = Cluster()
    for name in ("submit", "cancel"):
        monkeypatch.setattr(queue, name, getattr(cluster, name))
    monkeypatch.setattr(queue, "present", lambda: dict(cluster.waiting))
    monkeypatch.setattr(queue, "largest_array", lambda: 1001)
    records = Records(store.path)
    records.hand_in('partition = "short"\n')
    return plan, store, records, cluster


def go_on(store, monkeypatch, job="7"):
    monkeypatch.setenv("SLURM_JOB_ID", job)
    assert onward.main([str(store.path), "60", "0"]) == 0


def finish_all(plan, store):
    for number, run in enumerate(plan.runs):
        finish(store.run_folder(run), run.toml, float(number))


def test_the_next_batch_is_handed_in_with_the_same_site_and_limits(search, monkeypatch, capsys):
    plan, store, records, cluster = search
    finish_all(plan, store)
    go_on(store, monkeypatch)
    assert len(read_plan(store.path).of_point) == 8
    array, collector = cluster.said
    assert {"--array=0-3", "--partition=short", "--time=4"} <= set(array)  # one minute and three more
    assert "--dependency=afterany:101" in collector
    assert "annelid.cases.cluster.next_batch" in Path(collector[-1]).read_text()
    assert "8 points are chosen" in capsys.readouterr().out
    assert (store.path / "study.html").exists()
    told = search_lines(read_plan(store.path), records, cluster.waiting)
    assert told == ["search: 8 of 12 points are chosen; job 102 goes on when these have ended"]

    # Put back into the queue, it finds that all is handed in.
    go_on(store, monkeypatch)
    assert len(cluster.said) == 2


def test_a_job_that_was_cut_off_before_it_handed_in_its_successor_does_so_when_it_is_put_back(
    search, monkeypatch
):
    plan, store, records, cluster = search
    finish_all(plan, store)
    go_on(store, monkeypatch)
    # As it was before the last sbatch: the record names the job itself.
    (records.path / "collector" / "job").write_text("7\n")
    del cluster.waiting["102", "N/A"]
    go_on(store, monkeypatch)
    assert "--dependency=afterany:101" in cluster.said[2]
    assert records.collector_job() == "103"


def test_more_evaluations_take_up_what_is_finished_already(search, monkeypatch):
    plan, store, _, cluster = search
    finish_all(plan, store)
    go_on(store, monkeypatch)
    finish_all(read_plan(store.path), store)
    cluster.waiting.clear()
    create(plan, store)  # as if the study had been planned anew: the first points alone
    go_on(store, monkeypatch, job="8")
    assert len(read_plan(store.path).of_point) == 12


def test_a_search_that_is_cancelled_while_it_goes_on_hands_nothing_more_in(search, monkeypatch, capsys):
    plan, store, records, cluster = search
    finish_all(plan, store)
    records.cancel()
    go_on(store, monkeypatch)
    assert cluster.said == []
    records.hand_in("")
    submit = cluster.submit

    def cancelled_meanwhile(arguments):
        records.cancel()
        return submit(arguments)

    monkeypatch.setattr(queue, "submit", cancelled_meanwhile)
    go_on(store, monkeypatch)
    assert cluster.cancelled == ["101", "102"]
    assert capsys.readouterr().out.count("the search was cancelled") == 2


def test_a_run_that_is_lost_is_handed_in_again_but_not_for_ever(search, monkeypatch, capsys):
    plan, store, records, cluster = search
    finish_all(replace(plan, runs=plan.runs[1:]), store)
    lost = plan.runs[0].id
    for _ in range(3):
        before = len(cluster.said)
        go_on(store, monkeypatch)
        assert len(cluster.said) == before + 2
        job = cluster.waiting and records.batches()[-1].job
        records.keep(Attempt(lost, job, "0", "node", "then", 60.0, 100.0))
        cluster.waiting.clear()
    go_on(store, monkeypatch)
    assert f"{lost} was lost 3 times" in capsys.readouterr().out
    assert len(cluster.said) == 6


def test_a_lock_that_this_job_left_on_a_node_that_is_gone_is_freed(search, monkeypatch):
    plan, store, records, cluster = search
    finish_all(plan, store)
    lock = store.path / ".lock"
    lock.write_text(json.dumps({"pid": 1, "host": "node7", "process_start": "5"}))
    records.keep(Attempt("collector", "7", "", "node7", "then", 0.0, 0.0))
    go_on(store, monkeypatch)
    assert len(cluster.said) == 2
    assert not lock.exists()
