# SPDX-License-Identifier: MIT
"""Arrays, scripts and calls of sbatch, without a cluster."""

import os
import shlex
import subprocess

import pytest
import tomli_w
from small_study import pressures, tables

from annelid.cases.cluster import queue
from annelid.cases.cluster.arrays import Limits, arrays_of
from annelid.cases.cluster.command import submit
from annelid.cases.cluster.records import Attempt, Records, drop_lock_of
from annelid.cases.cluster.run_status import standings
from annelid.cases.cluster.script import WORDS, fill
from annelid.cases.cluster.site import Container, Site
from annelid.cases.cluster.submission import send, steps_of, write_down
from annelid.cases.studies.opening import create, open_study
from annelid.cases.studies.store import Failure
from annelid.geometry.errors import InputError

NASTY = "it's $(touch pwned); `touch pwned` study"


@pytest.fixture
def study(tmp_path):
    def make(*vary, name="out", **keys):
        path = tmp_path / "small.toml"
        path.write_text(tomli_w.dumps({"title": "Small", "case": tables(2), "vary": list(vary), **keys}))
        plan, store = open_study(str(path), tmp_path / name)
        create(plan, store)
        return plan, store

    return make


def arrays(plan, store, runs=None, site=Site(), asked=Limits(), largest=1000):  # noqa: B008
    return arrays_of(plan, store, site, plan.runs if runs is None else runs, asked, largest=largest)


def test_one_run_of_a_kind_leads_and_large_arrays_are_split(study):
    plan, store = study(pressures(*range(1, 8)))
    found = arrays(plan, store, largest=4)
    assert [(len(array.orders), array.leads, array.waits) for array in found] == [
        (1, True, False),
        (4, False, True),
        (2, False, True),
    ]
    assert sorted(order.id for array in found for order in array.orders) == sorted(
        run.id for run in plan.runs
    )
    (alone,) = arrays(plan, store, plan.runs[:1])
    assert (alone.leads, alone.waits) == (False, False)


def test_an_array_for_each_number_of_ranks(study):
    ranks = {"name": "ranks", "values": [2, 1, 2, 4, 1], "pair": "x"}
    plan, store = study(pressures(1, 2, 3, 4, 5) | {"pair": "x"}, ranks)
    found = arrays(plan, store)
    assert [(array.orders[0].ranks, len(array.orders), array.leads) for array in found] == [
        (2, 1, True),
        (1, 2, False),
        (2, 1, False),
        (4, 1, False),
    ]
    assert {order.id: order.ranks for array in found for order in array.orders} == {
        run.id: rank for run, rank in zip(plan.runs, (2, 1, 2, 4, 1), strict=True)
    }


def test_limits_of_the_command_line_the_site_and_the_study(study):
    plan, store = study(pressures(1), limits={"time": "10 min", "memory": "1 GB"})
    cases = [
        (Site(), Limits(), (600.0, 1000.0)),
        (Site(time="5 min", memory="3 GB"), Limits(), (300.0, 3000.0)),
        (Site(time="5 min", memory="3 GB"), Limits(20.0, 70.0), (20.0, 70.0)),
    ]
    for site, asked, limits in cases:
        ((order,),) = (array.orders for array in arrays(plan, store, site=site, asked=asked))
        assert (order.seconds, order.megabytes) == limits


@pytest.mark.parametrize(
    ("kind", "limits"), [("time limit", (120.0, 100.0)), ("memory", (60.0, 150.0)), ("error", (60.0, 100.0))]
)
def test_more_of_what_was_too_little(study, kind, limits):
    plan, store = study(pressures(1), limits={"time": "1 s", "memory": "50 MB"})
    records = Records(store.path)
    records.new_batch([order for array in arrays(plan, store) for order in array.orders])
    records.keep(Attempt(plan.runs[0].id, "7", "0", "node", "then", 60.0, 100.0, "failed"))
    store.record(plan.runs[0], Failure(kind, "so"))
    ((order,),) = (array.orders for array in arrays(plan, store))
    assert (order.seconds, order.megabytes) == limits


def test_sbatch_is_given_a_list_and_knows_what_to_wait_for(study, monkeypatch):
    plan, store = study(pressures(1, 2, 3), name=NASTY, ranks=2)
    site = Site(partition="short", directives=("--constraint=a b",), at_a_time=5)
    calls = []

    def call(*words):
        calls.append(words)
        return f"{len(calls)};cluster\n"

    monkeypatch.setattr(queue, "_call", call)
    records = Records(store.path)
    assert send(steps_of(plan, store, site, arrays(plan, store)), records) == ["1", "2", "3"]
    first, second, collector = calls
    assert {"--array=0-0%5", "--ntasks=2", "--nodes=1", "--partition=short", "--constraint=a b"} <= set(first)
    assert {"--requeue", "--time=63", f"--chdir={store.path}/slurm/0001"} <= set(first)
    assert not [word for word in first if "dependency" in word]
    assert {"--dependency=afterany:1", "--kill-on-invalid-dep=yes", "--array=0-1%5"} <= set(second)
    assert "--dependency=afterany:1:2" in collector
    assert [batch.job for batch in records.batches()] == ["1", "2"]
    assert sorted(records.jobs()) == ["1", "2", "3"]


def test_what_cannot_be_submitted_leaves_the_rest_known(study, monkeypatch):
    plan, store = study(pressures(1, 2, 3))
    store.record(plan.runs[2], Failure("error", "so"))
    answers = iter(["41\n"])

    def call(*words):
        try:
            return next(answers)
        except StopIteration:
            raise queue.QueueError("sbatch refused: too many jobs") from None

    monkeypatch.setattr(queue, "_call", call)
    monkeypatch.setattr(queue, "present", dict)
    monkeypatch.setattr(queue, "largest_array", lambda: 1001)
    with pytest.raises(queue.QueueError, match="too many jobs"):
        submit(plan, store, None, asked=Limits(), retry=True)
    queued = {("41", "0"): "PD"}
    found = standings(plan, store, Records(store.path), queued)
    assert [at.word for at in found] == ["queued", "new", "failed"]  # with why it failed before


def test_scripts_run_what_they_say_whatever_the_names(study, tmp_path):
    plan, store = study(pressures(1), name=NASTY)
    say = tmp_path / "say it.sh"
    say.write_text('#!/bin/sh\nprintf "%s\\n" "$NOTE" "$@"\n')
    say.chmod(0o755)
    site = Site(python=str(say), environment={"NOTE": "'; touch pwned; '$(touch pwned)"})
    step, collector = steps_of(plan, store, site, arrays(plan, store))
    environment = {**os.environ, "SLURM_ARRAY_TASK_ID": "0", "SLURM_ARRAY_JOB_ID": "12"}
    run = subprocess.run(
        ["bash", str(step.script)], env=environment, cwd=tmp_path, capture_output=True, text=True, check=True
    )
    wanted = [
        site.environment["NOTE"],
        "-m",
        "annelid.cases.cluster.task",
        str(store.path),
        "0001",
        "0",
        "12",
    ]
    assert run.stdout.splitlines() == wanted
    assert (
        shlex.join([str(say), "-m", "annelid", "study", str(store.path), "--collect"])
        in collector.script.read_text()
    )
    assert not list(tmp_path.rglob("pwned"))


def test_the_file_that_submits_by_hand_does_the_same(study, tmp_path):
    plan, store = study(pressures(1, 2), name=NASTY)
    records = Records(store.path)
    steps = steps_of(plan, store, Site(), arrays(plan, store))
    path = write_down(steps, records)
    stand_in = tmp_path / "bin" / "sbatch"
    stand_in.parent.mkdir()
    stand_in.write_text(
        f'#!/bin/sh\nprintf "%s\\n" "$@" == >> {shlex.quote(str(tmp_path / "said"))}\necho "8;x"\n'
    )
    stand_in.chmod(0o755)
    environment = {**os.environ, "PATH": f"{stand_in.parent}:{os.environ['PATH']}"}
    subprocess.run(["sh", str(path)], env=environment, cwd=tmp_path, check=True)
    said = (tmp_path / "said").read_text().split("==\n")
    wanted = [["--parsable", *step.arguments(lambda number: "8")] for step in steps]
    assert [words.splitlines() for words in said if words] == wanted
    assert [batch.job for batch in records.batches()] == ["8", "8"]
    assert not list(tmp_path.rglob("pwned"))


def test_a_command_in_an_image(study):
    plan, store = study(pressures(1))
    site = Site(container=Container(image="/my images/a.sif", options=("--bind", "/scratch")))
    script = steps_of(plan, store, site, arrays(plan, store))[0].script.read_text()
    start = "apptainer exec --bind /scratch '/my images/a.sif' /opt/annelid/venv/bin/python"
    assert f"exec {start} -m annelid.cases.cluster.task " in script


def test_a_template_for_another_scheduler(study, tmp_path, capsys):
    plan, store = study(pressures(1, 2, 3), ranks=3, limits={"time": "10 min", "memory": "1 GB"})
    example = tmp_path / "my.sh"
    example.write_text(
        "#X @ranks@ @last@ @minutes@ @seconds@ @megabytes@ @partition@ @folder@\n@command@ $I\n"
    )
    (tmp_path / "site.toml").write_text('template = "my.sh"\npartition = "q"\n')
    with pytest.raises(InputError, match="submit to by hand; add --dry-run"):
        submit(plan, store, tmp_path / "site.toml", asked=Limits())
    assert submit(plan, store, tmp_path / "site.toml", asked=Limits(), dry=True) == 0
    assert "submit the arrays, then the collector" in capsys.readouterr().out
    head = (store.path / "slurm" / "0002" / "array.sh").read_text().splitlines()[0]
    assert head == f"#X 3 1 13 780 1300 q {store.path / 'slurm' / '0002'}"


def test_the_shipped_templates_use_only_words_that_mean_something(tmp_path):
    from annelid.cases.cluster import script

    numbers = dict.fromkeys(script.NUMBERS, 1)
    for template in script.ARRAY.parent.glob("*.sh"):
        text = fill(template, Site(), ["x"], tmp_path, numbers)
        assert not [word for word in WORDS if f"@{word}@" in text]
    for text, said in [("@comand@", "@comand@ means nothing"), ("true", "@command@ is missing")]:
        (tmp_path / "bad.sh").write_text(text)
        with pytest.raises(InputError, match=said):
            fill(tmp_path / "bad.sh", Site(), ["x"], tmp_path, numbers)


def test_the_example_for_pbs_is_a_script_that_runs_the_run_of_its_number(tmp_path):
    # Directives: PBS Professional User's Guide, qsub -J, -l select, -l walltime (from memory).
    from annelid.cases.cluster import script

    numbers = {**dict.fromkeys(script.NUMBERS, 1), "last": 4, "ranks": 2, "megabytes": 900, "seconds": 90}
    folder = tmp_path / NASTY.replace("/", "_")
    folder.mkdir()
    site = Site(partition="q", environment={"NOTE": NASTY})
    example = script.ARRAY.parent / "pbs_array.sh"
    job = tmp_path / "job.sh"
    job.write_text(fill(example, site, ["printf", "%s|", NASTY], folder, numbers))
    directives = [line for line in job.read_text().splitlines() if line.startswith("#PBS ")]
    assert directives[1:] == [
        "#PBS -J 0-4",
        "#PBS -l select=1:ncpus=2:mpiprocs=2:mem=900mb",
        "#PBS -l walltime=90",
        "#PBS -q q",
    ]
    given = {"PATH": os.environ["PATH"], "PBS_ARRAY_INDEX": "3", "PBS_JOBID": "12[3].host"}
    done = subprocess.run(["bash", job], env=given, capture_output=True, text=True, check=True, cwd=tmp_path)
    assert done.stdout == f"{NASTY}|3|12[3].host|"
    assert not list(tmp_path.rglob("pwned"))


def test_a_path_that_slurm_would_rewrite_is_refused(study):
    plan, store = study(pressures(1), name="100 %j")
    with pytest.raises(
        InputError, match="Slurm would read '%' in its path as a mark; choose another with --out"
    ):
        submit(plan, store, None, asked=Limits(), dry=True)


def test_without_slurm_the_way_out_is_named(study, monkeypatch, tmp_path):
    plan, store = study(pressures(1))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(
        queue.QueueError, match="squeue was not found: there is no Slurm here; --dry-run writes"
    ):
        submit(plan, store, None, asked=Limits())


def test_only_the_lock_of_a_host_that_is_gone_is_dropped(tmp_path):
    lock = tmp_path / ".lock"
    lock.write_text('{"pid": 1, "host": "node7", "process_start": "5"}')
    drop_lock_of(tmp_path, "node8")
    assert lock.exists()
    drop_lock_of(tmp_path, "node7")
    assert not lock.exists()


def test_a_run_that_someone_else_works_on_is_not_handed_in(study):
    plan, store = study(pressures(1, 2))
    folder = store.run_folder(plan.runs[0])
    folder.mkdir(parents=True)
    (folder / ".lock").write_text('{"pid": 1, "host": "desk4", "process_start": "5"}')
    found = standings(plan, store, Records(store.path), {})
    assert [(at.word, at.detail) for at in found] == [("running", "process 1 on desk4"), ("new", "")]
