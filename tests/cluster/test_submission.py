# SPDX-License-Identifier: MIT
"""Job arrays, scripts and calls of sbatch, without a cluster."""

import os
import shlex
import subprocess

import pytest
import tomli_w
from small_study import pressures, tables

from annelid.cases.cluster import queue
from annelid.cases.cluster.arrays import RequestedLimits, make_job_arrays
from annelid.cases.cluster.command import submit_study
from annelid.cases.cluster.run_status import run_statuses
from annelid.cases.cluster.script import PLACEHOLDERS, fill_template
from annelid.cases.cluster.site import Container, Site
from annelid.cases.cluster.submission import make_submissions, submit_all, write_submit_script
from annelid.cases.cluster.submission_records import Attempt, Records, remove_lock_of
from annelid.cases.studies.failure import Failure
from annelid.cases.studies.opening import create_study, open_study
from annelid.geometry.errors import InputError

NASTY = "it's $(touch pwned); `touch pwned` study"


@pytest.fixture
def study(tmp_path):
    def make(*vary, name="out", **keys):
        path = tmp_path / "small.toml"
        path.write_text(tomli_w.dumps({"title": "Small", "case": tables(2), "vary": list(vary), **keys}))
        plan, store = open_study(str(path), tmp_path / name)
        create_study(plan, store)
        return plan, store

    return make


def arrays(plan, store, runs=None, site=Site(), requested=RequestedLimits(), max_size=1000):  # noqa: B008
    return make_job_arrays(
        plan, store, site, plan.runs if runs is None else runs, requested, max_size=max_size
    )


def test_one_run_compiles_first_and_large_arrays_are_split(study):
    plan, store = study(pressures(*range(1, 8)))
    found = arrays(plan, store, max_size=4)
    assert [(len(array.tasks), array.compiles_first, array.waits_for_compilation) for array in found] == [
        (1, True, False),
        (4, False, True),
        (2, False, True),
    ]
    assert sorted(task.id for array in found for task in array.tasks) == sorted(run.id for run in plan.runs)
    (alone,) = arrays(plan, store, plan.runs[:1])
    assert (alone.compiles_first, alone.waits_for_compilation) == (False, False)


def test_an_array_for_each_number_of_ranks(study):
    ranks = {"name": "ranks", "values": [2, 1, 2, 4, 1], "pair": "x"}
    plan, store = study(pressures(1, 2, 3, 4, 5) | {"pair": "x"}, ranks)
    found = arrays(plan, store)
    assert [(array.tasks[0].ranks, len(array.tasks), array.compiles_first) for array in found] == [
        (2, 1, True),
        (1, 2, False),
        (2, 1, False),
        (4, 1, False),
    ]
    assert {task.id: task.ranks for array in found for task in array.tasks} == {
        run.id: rank for run, rank in zip(plan.runs, (2, 1, 2, 4, 1), strict=True)
    }


def test_limits_of_the_command_line_the_site_and_the_study(study):
    plan, store = study(pressures(1), limits={"time": "10 min", "memory": "1 GB"})
    cases = [
        (Site(), RequestedLimits(), (600.0, 1000.0)),
        (Site(time="5 min", memory="3 GB"), RequestedLimits(), (300.0, 3000.0)),
        (Site(time="5 min", memory="3 GB"), RequestedLimits(20.0, 70.0), (20.0, 70.0)),
    ]
    for site, requested, limits in cases:
        ((task,),) = (array.tasks for array in arrays(plan, store, site=site, requested=requested))
        assert (task.seconds, task.megabytes) == limits


@pytest.mark.parametrize(
    ("kind", "limits"), [("time limit", (120.0, 100.0)), ("memory", (60.0, 150.0)), ("error", (60.0, 100.0))]
)
def test_a_limit_that_was_exceeded_is_raised(study, kind, limits):
    plan, store = study(pressures(1), limits={"time": "1 s", "memory": "50 MB"})
    records = Records(store.path)
    records.write_array([task for array in arrays(plan, store) for task in array.tasks])
    records.save_attempt(Attempt(plan.runs[0].id, "7", "0", "node", "then", 60.0, 100.0, "failed"))
    store.record_failure(plan.runs[0], Failure(kind, "so"))
    ((task,),) = (array.tasks for array in arrays(plan, store))
    assert (task.seconds, task.megabytes) == limits


def test_sbatch_gets_a_list_of_arguments_and_dependencies(study, monkeypatch):
    plan, store = study(pressures(1, 2, 3), name=NASTY, ranks=2)
    site = Site(partition="short", directives=("--constraint=a b",), at_a_time=5)
    calls = []

    def call(*words):
        calls.append(words)
        return f"{len(calls)};cluster\n"

    monkeypatch.setattr(queue, "_call", call)
    records = Records(store.path)
    assert submit_all(make_submissions(plan, store, site, arrays(plan, store)), records) == ["1", "2", "3"]
    first, second, collector = calls
    assert {"--array=0-0%5", "--ntasks=2", "--nodes=1", "--partition=short", "--constraint=a b"} <= set(first)
    assert {"--requeue", "--time=63", f"--chdir={store.path}/slurm/0001"} <= set(first)
    assert not [word for word in first if "dependency" in word]
    assert {"--dependency=afterany:1", "--kill-on-invalid-dep=yes", "--array=0-1%5"} <= set(second)
    assert "--dependency=afterany:1:2" in collector
    assert [array.job for array in records.arrays()] == ["1", "2"]
    assert sorted(records.jobs()) == ["1", "2", "3"]


def test_jobs_before_a_refused_one_are_recorded(study, monkeypatch):
    plan, store = study(pressures(1, 2, 3))
    store.record_failure(plan.runs[2], Failure("error", "so"))
    answers = iter(["41\n"])

    def call(*words):
        try:
            return next(answers)
        except StopIteration:
            raise queue.QueueError("sbatch refused: too many jobs") from None

    monkeypatch.setattr(queue, "_call", call)
    monkeypatch.setattr(queue, "queued_jobs", dict)
    monkeypatch.setattr(queue, "max_array_size", lambda: 1001)
    with pytest.raises(queue.QueueError, match="too many jobs"):
        submit_study(plan, store, None, requested=RequestedLimits(), retry=True)
    queued = {("41", "0"): "PD"}
    found = run_statuses(plan, store, Records(store.path), queued)
    assert [status.state for status in found] == ["queued", "new", "failed"]  # with the recorded failure


def test_scripts_quote_all_names(study, tmp_path):
    plan, store = study(pressures(1), name=NASTY)
    script = tmp_path / "print it.sh"
    script.write_text('#!/bin/sh\nprintf "%s\\n" "$NOTE" "$@"\n')
    script.chmod(0o755)
    site = Site(python=str(script), environment={"NOTE": "'; touch pwned; '$(touch pwned)"})
    submission, collector = make_submissions(plan, store, site, arrays(plan, store))
    environment = {**os.environ, "SLURM_ARRAY_TASK_ID": "0", "SLURM_ARRAY_JOB_ID": "12"}
    run = subprocess.run(
        ["bash", str(submission.script)],
        env=environment,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
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
        shlex.join([str(script), "-m", "annelid", "study", str(store.path), "--collect"])
        in collector.script.read_text()
    )
    assert not list(tmp_path.rglob("pwned"))


def test_the_submit_script_does_the_same(study, tmp_path):
    plan, store = study(pressures(1, 2), name=NASTY)
    records = Records(store.path)
    submissions = make_submissions(plan, store, Site(), arrays(plan, store))
    path = write_submit_script(submissions, records)
    stand_in = tmp_path / "bin" / "sbatch"
    stand_in.parent.mkdir()
    stand_in.write_text(
        f'#!/bin/sh\nprintf "%s\\n" "$@" == >> {shlex.quote(str(tmp_path / "arguments"))}\necho "8;x"\n'
    )
    stand_in.chmod(0o755)
    environment = {**os.environ, "PATH": f"{stand_in.parent}:{os.environ['PATH']}"}
    subprocess.run(["sh", str(path)], env=environment, cwd=tmp_path, check=True)
    output = (tmp_path / "arguments").read_text().split("==\n")
    wanted = [["--parsable", *submission.arguments(lambda number: "8")] for submission in submissions]
    assert [words.splitlines() for words in output if words] == wanted
    assert [array.job for array in records.arrays()] == ["8", "8"]
    assert not list(tmp_path.rglob("pwned"))


def test_a_command_in_an_image(study):
    plan, store = study(pressures(1))
    site = Site(container=Container(image="/my images/a.sif", options=("--bind", "/scratch")))
    script = make_submissions(plan, store, site, arrays(plan, store))[0].script.read_text()
    start = "apptainer exec --bind /scratch '/my images/a.sif' /opt/annelid/venv/bin/python"
    assert f"exec {start} -m annelid.cases.cluster.task " in script


def test_a_template_for_another_scheduler(study, tmp_path, capsys):
    plan, store = study(pressures(1, 2, 3), ranks=3, limits={"time": "10 min", "memory": "1 GB"})
    example = tmp_path / "my.sh"
    example.write_text(
        "#X @ranks@ @last@ @minutes@ @seconds@ @megabytes@ @partition@ @folder@\n@command@ $I\n"
    )
    (tmp_path / "site.toml").write_text('template = "my.sh"\npartition = "q"\n')
    with pytest.raises(InputError, match="submit yourself; add --dry-run"):
        submit_study(plan, store, tmp_path / "site.toml", requested=RequestedLimits())
    assert submit_study(plan, store, tmp_path / "site.toml", requested=RequestedLimits(), dry_run=True) == 0
    assert "submit the arrays, then the collector" in capsys.readouterr().out
    head = (store.path / "slurm" / "0002" / "array.sh").read_text().splitlines()[0]
    assert head == f"#X 3 1 13 780 1300 q {store.path / 'slurm' / '0002'}"


def test_the_shipped_templates_use_only_known_placeholders(tmp_path):
    from annelid.cases.cluster import script

    numbers = dict.fromkeys(script.NUMBERS, 1)
    for template in script.ARRAY_TEMPLATE.parent.glob("*.sh"):
        text = fill_template(template, Site(), ["x"], tmp_path, numbers)
        assert not [word for word in PLACEHOLDERS if f"@{word}@" in text]
    for text, output in [("@comand@", "@comand@ is not a placeholder"), ("true", "@command@ is missing")]:
        (tmp_path / "bad.sh").write_text(text)
        with pytest.raises(InputError, match=output):
            fill_template(tmp_path / "bad.sh", Site(), ["x"], tmp_path, numbers)


def test_the_example_for_pbs_runs_the_run_with_its_index(tmp_path):
    # Directives: PBS Professional User's Guide, qsub -J, -l select, -l walltime (from memory).
    from annelid.cases.cluster import script

    numbers = {**dict.fromkeys(script.NUMBERS, 1), "last": 4, "ranks": 2, "megabytes": 900, "seconds": 90}
    folder = tmp_path / NASTY.replace("/", "_")
    folder.mkdir()
    site = Site(partition="q", environment={"NOTE": NASTY})
    example = script.ARRAY_TEMPLATE.parent / "pbs_array.sh"
    job = tmp_path / "job.sh"
    job.write_text(fill_template(example, site, ["printf", "%s|", NASTY], folder, numbers))
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


def test_a_path_that_slurm_would_change_is_refused(study):
    plan, store = study(pressures(1), name="100 %j")
    with pytest.raises(
        InputError, match="Slurm would replace '%' in its path; choose another folder with --out"
    ):
        submit_study(plan, store, None, requested=RequestedLimits(), dry_run=True)


def test_without_slurm_the_error_names_dry_run(study, monkeypatch, tmp_path):
    plan, store = study(pressures(1))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(
        queue.QueueError, match="squeue was not found: Slurm is not installed here; --dry-run only writes"
    ):
        submit_study(plan, store, None, requested=RequestedLimits())


def test_only_the_lock_of_the_given_host_is_removed(tmp_path):
    lock = tmp_path / ".lock"
    lock.write_text('{"pid": 1, "host": "node7", "process_start": "5"}')
    remove_lock_of(tmp_path, "node8")
    assert lock.exists()
    remove_lock_of(tmp_path, "node7")
    assert not lock.exists()


def test_a_run_of_another_process_is_not_submitted(study):
    plan, store = study(pressures(1, 2))
    folder = store.run_folder(plan.runs[0])
    folder.mkdir(parents=True)
    (folder / ".lock").write_text('{"pid": 1, "host": "desk4", "process_start": "5"}')
    found = run_statuses(plan, store, Records(store.path), {})
    assert [(status.state, status.detail) for status in found] == [
        ("running", "process 1 on desk4"),
        ("new", ""),
    ]
