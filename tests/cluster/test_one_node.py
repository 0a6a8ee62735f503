# SPDX-License-Identifier: MIT
"""Studies on a real cluster of one node: what is submitted, the results, and recovery."""

import csv
import json

import pytest
from one_node import wait_for
from small_study import pressures

from annelid.cases.cluster.submission_records import Records

LENGTHS = {"key": "mesh.along", "name": "along"}
TOO_FINE = "1e-5 mm"  # two million cells, more than the mesher allows


def last(path):
    return json.loads((path / "summary.json").read_text())["final_state"]["quantities"]


@pytest.mark.slow
def test_a_failing_case_affects_no_other_case_of_its_array(cluster_user):
    user = cluster_user("it's; $(touch pwned) study")
    user.write(
        LENGTHS | {"values": ["4 mm", TOO_FINE, "2 mm"]}, site={"environment": {"NOTE": "'; touch pwned #"}}
    )
    user.submit(collect=True)
    assert user.states() == ["finished", "failed", "finished"]
    assert "more than 1000000; make mesh.along larger" in user.run_statuses()[1].detail
    rows = list(csv.DictReader((user.out / "study.csv").read_text().splitlines()))  # written by the collector
    assert [row["status"] for row in rows] == ["finished", "failed", "finished"]
    assert not list(user.folder.rglob("pwned"))

    # The same case on this machine gives the same result.
    before = user.summaries()
    (run,) = [row["run"] for row in rows if row["along [mm]"] == "4.0"]
    here = cluster_user("here")
    here.annelid("--only", run)
    assert last(here.out / "runs" / run) == pytest.approx(last(user.out / "runs" / run), rel=1e-9, abs=1e-12)

    # No run is submitted twice; if a value is added, only the new run is submitted.
    assert "no runs to submit" in user.submit()
    user.write(LENGTHS | {"values": ["4 mm", TOO_FINE, "2 mm", "5 mm"]})
    arrays = len(user.submitted())
    user.submit()
    assert user.states() == ["finished", "failed", "finished", "finished"]
    (new,) = user.submitted()[arrays:]
    assert len(new) == 1
    assert new[0] not in before
    assert {run: user.summaries()[run] for run in before} == before


@pytest.mark.long
@pytest.mark.slow
def test_exceeded_memory_and_time_get_higher_limits(cluster_user):
    user = cluster_user()
    site = {"time": "1 s", "memory": "60 MB", "more": {"time": 60, "memory": 20}}
    user.write(pressures(5), site=site, steps=150)
    user.submit()
    (status,) = user.run_statuses()
    assert status.detail.startswith("memory: ")
    assert "more than 60 MB; --retry repeats the run with a higher limit" in status.detail
    user.submit("--retry")
    (status,) = user.run_statuses()
    assert status.detail == "time limit: took longer than 1 s; --retry repeats the run with a higher limit"
    user.submit("--retry")
    assert user.states() == ["finished"]
    (attempt,) = user.attempts().values()
    assert (attempt.seconds, attempt.megabytes, attempt.ended) == (60.0, 1200.0, "done")


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.mpi
def test_ranks_without_connection_are_detected(cluster_user):
    user = cluster_user()
    user.write(pressures(5), site={"ranks": "srun", "srun": ["--mpi=none"]}, ranks=2)
    user.submit()
    (status,) = user.run_statuses()
    assert status.state == "failed"
    assert "2 ranks were requested, but this run has 1" in status.detail
    assert user.summaries() == {}
    user.write(pressures(5), site={"ranks": "srun"}, ranks=2)
    user.submit("--retry")
    # With mpiexec, and one array for each number of ranks.
    ranks = {"name": "ranks", "values": [2, 2, 1], "pair": "x"}
    user.write(pressures(5, 6, 7) | {"pair": "x"}, ranks)
    arrays = len(user.submitted())
    user.submit()
    assert [len(runs) for runs in user.submitted()[arrays:]] == [1, 1]
    assert user.states() == ["finished"] * 3
    provenance = [json.loads(path.read_text()) for path in user.out.glob("runs/*/provenance.json")]
    assert sorted(record["ranks"] for record in provenance) == [1, 2, 2]


@pytest.mark.slow
@pytest.mark.parametrize("requeue", [False, True])
def test_a_node_that_goes_down_affects_no_finished_run(cluster_user, requeue):
    user = cluster_user()
    node = user.cluster
    user.write(pressures(3, 4, 5, 6), site={"requeue": requeue}, steps=150)
    user.submit(wait=0)

    def running():
        return {run for run, attempt in user.attempts().items() if attempt.ended == ""}

    # The first run compiles for the others; the node goes down while two of them run.
    wait_for(lambda: len(user.summaries()) == 1 and len(running()) == 2, "half of the study", 60)
    node.kill_node()
    before, lost = user.summaries(), running()
    assert lost.isdisjoint(before)
    node.run_slurm("scontrol", "update", f"nodename={node.name}", "state=down", "reason=killed")
    node.start_node()
    if requeue:
        node.start_soon()
    node.wait_until_empty(60)
    if not requeue:
        assert sorted(user.states()) == ["finished", "finished", "lost", "lost"]
        arrays = len(user.submitted())
        user.submit()
        assert set(sum(user.submitted()[arrays:], ())) == lost
    assert user.states() == ["finished"] * 4
    assert {run: user.summaries()[run] for run in before} == before


@pytest.mark.long
def test_a_cancelled_study_can_be_submitted_again(cluster_user):
    user = cluster_user()
    user.write(pressures(3, 4, 5), steps=2000)
    user.submit(wait=0)
    wait_for(lambda: len(user.attempts()) == 1, "a first run", 30)
    assert "1 running, 2 queued" in user.annelid("--status").replace(
        "2 queued, 1 running", "1 running, 2 queued"
    )
    assert "cancelled: job(s)" in user.annelid("--cancel")
    user.cluster.wait_until_empty(30)
    assert sorted(user.states()) == ["never started", "never started", "stopped"]
    assert "no job of this study is in the queue" in user.annelid("--cancel")
    arrays = len(user.submitted())
    user.submit("--dry-run")
    assert len(sum(user.submitted()[arrays:], ())) == 3


SEARCH = {
    "objectives": [{"quantity": "mean radial expansion", "aim": "maximise"}],
    "search": {"evaluations": 8, "start": 4, "batch": 2},
}
RANGE = {"key": "stages.fill.pressure", "name": "pressure", "from": "1 mmHg", "to": "9 mmHg"}


@pytest.mark.long
@pytest.mark.slow
def test_search_continues_after_it_was_cancelled(cluster_user):
    user = cluster_user("it's a search")
    user.write(RANGE, **SEARCH)
    assert "continues the search" in user.annelid("--slurm", "--site", "site.toml")
    wait_for(lambda: len(user.submitted()) > 2, "a second batch", 60)
    status = user.annelid("--status")
    assert "6 of 8 points are chosen; job" in status
    assert "continues the search when these runs have ended" in status
    user.annelid("--cancel")
    user.cluster.wait_until_empty(30)
    text = "6 of 8 points are chosen; no job continues the search; use --slurm to continue it"
    assert text in user.annelid("--status")
    before = user.summaries()
    assert len(before) < 8

    user.annelid("--slurm", "--site", "site.toml")
    user.cluster.wait_until_empty(120)
    assert user.states() == ["finished"] * 8
    assert {run: user.summaries()[run] for run in before} == before
    rows = list(csv.DictReader((user.out / "study.csv").read_text().splitlines()))
    assert [row["status"] for row in rows] == ["finished"] * 8
    assert "search: 8 of 8 points are chosen" in user.annelid("--status").splitlines()
    here = cluster_user("here")  # this machine makes the same choices
    here.annelid()
    assert set(here.summaries()) == set(user.summaries())


def test_search_jobs_cancelled_by_hand_stay_cancelled(cluster_user):
    user = cluster_user()
    user.write(RANGE, steps=2000, **SEARCH)
    user.annelid("--slurm", "--site", "site.toml")
    wait_for(lambda: len(user.attempts()) == 1, "a first run", 30)
    jobs = Records(user.out).jobs()
    user.cluster.run_slurm("scancel", *jobs[:-1])
    user.cluster.wait_until_empty(60)
    assert len(user.submitted()) == 2
    (log,) = (user.out / "slurm" / "collector").glob("*.log")
    assert "some of its jobs were cancelled; submit the study again to continue the search" in log.read_text()
