# SPDX-License-Identifier: MIT
"""Lines of commands that would be silent for long; the tests shorten the minute."""

import io
import time
from types import SimpleNamespace

import pytest
import tomli_w
from plain_tube import BARE

from annelid.cases.cli.main import main
from annelid.cases.run import check, minute_lines, run
from annelid.cases.run.minute_lines import MinuteLines
from annelid.cases.run.run_writer import RunWriter
from annelid.results.report import report


@pytest.fixture
def errors(monkeypatch):
    """The error stream of the lines, which are due at once."""
    stream = io.StringIO()
    monkeypatch.setattr(minute_lines, "sys", SimpleNamespace(stderr=stream))
    monkeypatch.setattr(minute_lines, "INTERVAL", 0.001)
    return stream


def wait_for(condition):
    deadline = time.monotonic() + 60
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.001)


def waiting(function, condition):
    """The function, which begins only when a line has appeared."""

    def wait_and_call(*arguments, **options):
        wait_for(condition)
        return function(*arguments, **options)

    return wait_and_call


def test_silent_work_is_stated_again_and_again(errors):
    with MinuteLines("meshing the part") as lines:
        wait_for(lambda: errors.getvalue().count(" s  meshing the part\n") > 2)
        lines.begin("computing the stroke of the bare skin")
        wait_for(lambda: " s  computing the stroke of the bare skin\n" in errors.getvalue())
    ended = errors.getvalue()
    time.sleep(0.01)
    assert errors.getvalue() == ended


def test_nothing_is_printed_within_the_interval(errors, monkeypatch):
    monkeypatch.setattr(minute_lines, "INTERVAL", 1e6)
    with MinuteLines("meshing the part"):
        time.sleep(0.01)
    assert errors.getvalue() == ""


def test_a_run_states_what_it_does_on_the_stream_and_in_its_log(errors, tmp_path, monkeypatch):
    case = tmp_path / "tube.toml"
    case.write_text(tomli_w.dumps(BARE))
    log = tmp_path / "run" / "log.txt"

    def has_line(text):
        return lambda: f" s  {text}\n" in errors.getvalue()

    def is_logged():
        return " s  computing beyond fill 0.000\n" in log.read_text()

    meshing = has_line("meshing the part")
    monkeypatch.setattr(run, "meshed_part_of", waiting(run.meshed_part_of, meshing))
    monkeypatch.setattr(
        run, "bare_stroke_of", waiting(run.bare_stroke_of, has_line("computing the stroke of the bare skin"))
    )
    observe = RunWriter.observe

    def observe_slowly(writer, state):
        if state.parameter:
            wait_for(is_logged)
        observe(writer, state)

    monkeypatch.setattr(RunWriter, "observe", observe_slowly)
    monkeypatch.setattr(report, "write_report", waiting(report.write_report, has_line("writing the report")))
    assert main(["run", str(case), str(tmp_path / "run")]) == 0
    assert has_line("computing beyond fill 0.000")()


def test_a_terminal_with_a_bar_gets_the_lines_only_in_the_log(errors):
    logged, lines = [], MinuteLines("computing")
    lines.log, lines.prints = logged.append, False
    with lines:
        wait_for(lambda: len(logged) > 1)
    assert not errors.getvalue()
    assert all(line.endswith(" s  computing") for line in logged)


def test_a_closed_stream_does_not_end_the_work(errors):
    with MinuteLines("computing") as lines:
        logged = []
        errors.close()
        lines.log = logged.append
        time.sleep(0.01)
    assert not lines._thread.is_alive()


def test_check_states_that_it_meshes(errors, tmp_path, monkeypatch, capsys):
    case = tmp_path / "tube.toml"
    case.write_text(tomli_w.dumps(BARE))
    stated = waiting(check.meshed_part_of, lambda: " s  meshing the part\n" in errors.getvalue())
    monkeypatch.setattr(check, "meshed_part_of", stated)
    assert main(["check", str(case)]) == 0
    assert "meshing the part" not in capsys.readouterr().out
