# SPDX-License-Identifier: MIT
"""Runs on several ranks of which one, the launcher or the parent dies or fails."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
import tomli_w
from child_process import start_interruptible
from plain_tube import BARE, ROOT

from annelid.cases.run import ranks
from annelid.cases.studies.single_run import Job, run_job
from annelid.geometry.errors import AnnelidError
from annelid.results.folder.folder_files import end_reason, status

# Each rank does this instead of ``python -m mpi4py -m annelid``. The first rank waits in its first state, so
# that the run cannot end before the signal; or the second rank fails.
RANK = """
import sys, time
from annelid.cases.cli.main import main
from annelid.cases.run.run_writer import RunWriter
from annelid.solver.continuation.path import Path
from annelid.solver.mpi import MPI

observe = RunWriter.observe
def observe_and_wait(writer, state):
    observe(writer, state)
    time.sleep(300)

def fail(*_, **__):
    raise MemoryError("a work array")

if sys.argv[1] == "wait":
    RunWriter.observe = observe_and_wait
elif MPI.COMM_WORLD.rank == 1:
    Path.follow = fail
sys.exit(main(sys.argv[7:]))
"""


@pytest.fixture
def on_two_ranks(tmp_path):
    """Return a function that starts a run on two ranks, which wait or of which the second fails."""
    (tmp_path / "tube.toml").write_text(tomli_w.dumps(BARE))
    (tmp_path / "rank.py").write_text(RANK)
    mpiexec = Path(sys.executable).with_name("mpiexec")
    started = []

    def start(mode):
        launcher = f"{mpiexec} -launcher fork -n {{ranks}} {sys.executable} rank.py {mode}"
        environment = {**os.environ, "PYTHONPATH": str(ROOT), ranks.LAUNCHER: launcher}
        command = [sys.executable, "-m", "annelid", "run", "tube.toml", "run", "--ranks", "2", "--no-report"]
        with open(tmp_path / "errors.txt", "wb") as errors:
            process = start_interruptible(
                command, cwd=tmp_path, env=environment, stdout=subprocess.DEVNULL, stderr=errors
            )
        started.append(process)
        return process

    yield start
    for process in started:
        process.kill()
        process.wait()


def processes_of(parent):
    """The launcher, the process that started the ranks, and the ranks of a run that has begun."""
    folder = Path(parent.cwd()) / "run"
    while not (folder / "path.csv").exists():
        assert parent.is_running(), (folder.parent / "errors.txt").read_text()
        time.sleep(0.02)
    below = parent.children(recursive=True)
    of_ranks = [p for p in below if "rank.py" in " ".join(p.cmdline()[:2])]
    return {"parent": parent, "launcher": below[0], "proxy": of_ranks[0].parent(), "rank": of_ranks[0]}, below


def ends(process):
    """Whether a process ends within a few seconds; the ranks would otherwise wait for 300 s."""
    _, alive = psutil.wait_procs([process], timeout=20)
    return not alive or process.status() == psutil.STATUS_ZOMBIE


@pytest.mark.mpi
@pytest.mark.parametrize(
    ("killed", "number", "code", "message"),
    [
        ("rank", signal.SIGKILL, 1, "a rank was ended by SIGKILL; the same command starts the run again"),
        ("launcher", signal.SIGKILL, 1, "the launcher of the ranks was ended by SIGKILL"),
        ("proxy", signal.SIGKILL, 1, "the ranks or their launcher failed with code 255"),
        pytest.param(
            "parent",
            signal.SIGTERM,
            130,
            "interrupted; the Run folder is marked as unfinished",
            marks=pytest.mark.long,
        ),
        ("parent", signal.SIGKILL, -signal.SIGKILL, ""),
    ],
)
def test_no_process_survives_the_death_of_another(on_two_ranks, tmp_path, killed, number, code, message):
    process = on_two_ranks("wait")
    named, below = processes_of(psutil.Process(process.pid))
    assert len({member.pid for member in named.values()}) == 4
    named[killed].send_signal(number)
    assert process.wait(timeout=30) == code
    assert all(ends(member) for member in below)
    errors = (tmp_path / "errors.txt").read_text()
    assert message in errors
    assert errors.count("annelid: ") == (1 if message else 0)
    assert "Traceback" not in errors
    assert status(tmp_path / "run") == "unfinished"
    assert end_reason(tmp_path / "run").startswith("interrupted" if code == 130 else message)


@pytest.mark.mpi
def test_a_rank_that_fails_ends_the_others(on_two_ranks, tmp_path):
    process = on_two_ranks("fail")
    assert process.wait(timeout=60) == 1
    errors = (tmp_path / "errors.txt").read_text()
    assert errors.count("annelid: memory ran out: a work array; use larger elements, more ranks") == 1
    assert status(tmp_path / "run") == "unfinished"
    assert end_reason(tmp_path / "run") == "a rank failed and printed the reason"


@pytest.fixture
def launched(tmp_path, monkeypatch):
    """Return a function that starts ranks with a shell command as the launcher."""

    def start(shell):
        script = tmp_path / "launcher"
        script.write_text(f"#!/bin/sh\n{shell}\n")
        script.chmod(0o755)
        monkeypatch.setenv(ranks.LAUNCHER, str(script))
        return ranks.start_ranks(2, [])

    return start


@pytest.mark.parametrize("code", [0, 1, 2])
def test_codes_of_ranks_are_passed_on(launched, code):
    assert launched(f"exit {code}") == code


@pytest.mark.parametrize(
    ("shell", "message"),
    [
        ("exit 9", "a rank was ended by SIGKILL;"),
        ("exit 139", "a rank was ended by SIGSEGV;"),
        ("kill -9 $$", "the launcher of the ranks was ended by SIGKILL;"),
        ("kill -6 $$", "the launcher of the ranks was ended by SIGABRT;"),
        ("exit 255", "the ranks or their launcher failed with code 255;"),
    ],
)
def test_other_codes_are_explained(launched, shell, message):
    with pytest.raises(AnnelidError, match=message):
        launched(shell)


def test_an_interrupted_rank_interrupts_the_run(launched):
    with pytest.raises(KeyboardInterrupt):
        launched("exit 130")


def test_a_rank_killed_for_memory_fails_for_memory(launched, tmp_path, monkeypatch):
    kills = iter(range(9))
    monkeypatch.setattr(ranks, "count_oom_kills", lambda: next(kills))
    with pytest.raises(MemoryError, match="the system killed a rank"):
        launched("exit 137")
    reply = run_job(Job("run", "", str(tmp_path / "run"), ranks=2))
    assert reply == ("memory", "memory ran out: the system killed a rank")
