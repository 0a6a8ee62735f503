# SPDX-License-Identifier: MIT
"""Studies on a real cluster of one node: what is handed in, what comes back, and what survives."""

import csv
import json

import pytest
from one_node import wait_for
from small_study import pressures

from annelid.cases.cluster.records import Records

LENGTHS = {"key": "mesh.along", "name": "along"}
TOO_FINE = "1e-5 mm"  # two million cells, more than the mesher makes


def last(path):
    return json.loads((path / "summary.json").read_text())["final_state"]["quantities"]


def test_an_array_with_a_failing_case_costs_that_case_alone(desk):
    user = desk("it's; $(touch pwned) study")
    user.write(
        LENGTHS | {"values": ["4 mm", TOO_FINE, "2 mm"]}, site={"environment": {"NOTE": "'; touch pwned #"}}
    )
    user.submit(collect=True)
    assert user.words() == ["finished", "failed", "finished"]
    assert "more than 1000000; make mesh.along larger" in user.standings()[1].detail
    rows = list(csv.DictReader((user.out / "study.csv").read_text().splitlines()))  # the collector wrote it
    assert [row["status"] for row in rows] == ["finished", "failed", "finished"]
    assert not list(user.folder.rglob("pwned"))

    # The same case on this machine: the one-case command is the same.
    before = user.summaries()
    (run,) = [row["run"] for row in rows if row["along [mm]"] == "4.0"]
    here = desk("here")
    here.annelid("--only", run)
    assert last(here.out / "runs" / run) == pytest.approx(last(user.out / "runs" / run), rel=1e-9, abs=1e-12)

    # Nothing is handed in twice; a value that is added is handed in alone.
    assert "nothing to hand in" in user.submit()
    user.write(LENGTHS | {"values": ["4 mm", TOO_FINE, "2 mm", "5 mm"]})
    arrays = len(user.handed_in())
    user.submit()
    assert user.words() == ["finished", "failed", "finished", "finished"]
    (new,) = user.handed_in()[arrays:]
    assert len(new) == 1
    assert new[0] not in before
    assert {run: user.summaries()[run] for run in before} == before


def test_runs_ended_by_memory_and_by_time_are_told_apart_and_get_more(desk):
    user = desk()
    site = {"time": "1 s", "memory": "60 MB", "more": {"time": 60, "memory": 20}}
    user.write(pressures(5), site=site, steps=150)
    user.submit()
    (standing,) = user.standings()
    assert standing.detail.startswith("memory: ")
    assert "more than 60 MB; --retry gives it more" in standing.detail
    user.submit("--retry")
    (standing,) = user.standings()
    assert standing.detail == "time limit: took longer than 1 s; --retry gives it more"
    user.submit("--retry")
    assert user.words() == ["finished"]
    (attempt,) = user.attempts().values()
    assert (attempt.seconds, attempt.megabytes, attempt.ended) == (60.0, 1200.0, "done")


def test_ranks_that_started_alone_are_detected_and_those_that_met_are_one_run(desk):
    user = desk()
    user.write(pressures(5), site={"ranks": "srun", "srun": ["--mpi=none"]}, ranks=2)
    user.submit()
    (standing,) = user.standings()
    assert standing.word == "failed"
    assert "2 ranks were asked for, but this run has 1" in standing.detail
    assert user.summaries() == {}
    user.write(pressures(5), site={"ranks": "srun"}, ranks=2)
    user.submit("--retry")
    # With mpiexec, and one array for each number of ranks.
    ranks = {"name": "ranks", "values": [2, 2, 1], "pair": "x"}
    user.write(pressures(5, 6, 7) | {"pair": "x"}, ranks)
    arrays = len(user.handed_in())
    user.submit()
    assert [len(runs) for runs in user.handed_in()[arrays:]] == [1, 1]
    assert user.words() == ["finished"] * 3
    provenance = [json.loads(path.read_text()) for path in user.out.glob("runs/*/provenance.json")]
    assert sorted(record["ranks"] for record in provenance) == [1, 2, 2]


@pytest.mark.parametrize("requeue", [False, True])
def test_a_node_that_dies_half_way_costs_no_finished_run(desk, requeue):
    user = desk()
    node = user.cluster
    user.write(pressures(3, 4, 5, 6), site={"requeue": requeue}, steps=150)
    user.submit(wait=0)

    def working():
        return {run for run, attempt in user.attempts().items() if attempt.ended == ""}

    # The first run compiles for the others; half-way is when two of them work.
    wait_for(lambda: len(user.summaries()) == 1 and len(working()) == 2, "half of the study", 60)
    node.kill_node()
    before, lost = user.summaries(), working()
    assert lost.isdisjoint(before)
    node.say("scontrol", "update", f"nodename={node.name}", "state=down", "reason=killed")
    node.start_node()
    if requeue:
        node.start_soon()
    node.wait_until_empty(60)
    if not requeue:
        assert sorted(user.words()) == ["finished", "finished", "lost", "lost"]
        arrays = len(user.handed_in())
        user.submit()
        assert set(sum(user.handed_in()[arrays:], ())) == lost
    assert user.words() == ["finished"] * 4
    assert {run: user.summaries()[run] for run in before} == before


def test_a_study_that_is_cancelled_can_be_handed_in_again(desk):
    user = desk()
    user.write(pressures(3, 4, 5), steps=2000)
    user.submit(wait=0)
    wait_for(lambda: len(user.attempts()) == 1, "a first run", 30)
    assert "1 running, 2 queued" in user.annelid("--status").replace(
        "2 queued, 1 running", "1 running, 2 queued"
    )
    assert "cancelled: job(s)" in user.annelid("--cancel")
    user.cluster.wait_until_empty(30)
    assert sorted(user.words()) == ["never began", "never began", "stopped"]
    assert "nothing of this study is in the queue" in user.annelid("--cancel")
    arrays = len(user.handed_in())
    user.submit("--dry-run")
    assert len(sum(user.handed_in()[arrays:], ())) == 3


SEARCH = {
    "objectives": [{"quantity": "mean radial expansion", "aim": "maximise"}],
    "search": {"evaluations": 8, "start": 4, "batch": 2},
}
RANGE = {"key": "stages.fill.pressure", "name": "pressure", "from": "1 mmHg", "to": "9 mmHg"}


def test_a_search_goes_on_by_itself_also_after_it_was_cancelled(desk):
    user = desk("it's a search")
    user.write(RANGE, **SEARCH)
    assert "goes on with the search" in user.annelid("--slurm", "--site", "site.toml")
    wait_for(lambda: len(user.handed_in()) > 2, "a second batch", 60)
    told = user.annelid("--status")
    assert "6 of 8 points are chosen; job" in told
    assert "goes on when these have ended" in told
    user.annelid("--cancel")
    user.cluster.wait_until_empty(30)
    assert "6 of 8 points are chosen; nobody goes on with it: --slurm does" in user.annelid("--status")
    before = user.summaries()
    assert len(before) < 8

    user.annelid("--slurm", "--site", "site.toml")
    user.cluster.wait_until_empty(120)
    assert user.words() == ["finished"] * 8
    assert {run: user.summaries()[run] for run in before} == before
    rows = list(csv.DictReader((user.out / "study.csv").read_text().splitlines()))
    assert [row["status"] for row in rows] == ["finished"] * 8
    assert "search: 8 of 8 points are chosen" in user.annelid("--status").splitlines()
    here = desk("here")  # one machine makes the same choices
    here.annelid()
    assert set(here.summaries()) == set(user.summaries())


def test_jobs_of_a_search_that_were_cancelled_by_hand_are_not_handed_in_again(desk):
    user = desk()
    user.write(RANGE, steps=2000, **SEARCH)
    user.annelid("--slurm", "--site", "site.toml")
    wait_for(lambda: len(user.attempts()) == 1, "a first run", 30)
    jobs = Records(user.out).jobs()
    user.cluster.say("scancel", *jobs[:-1])
    user.cluster.wait_until_empty(60)
    assert len(user.handed_in()) == 2
    (log,) = (user.out / "slurm" / "collector").glob("*.log")
    assert "some of its jobs were cancelled; the search goes on when it is handed in again" in log.read_text()
