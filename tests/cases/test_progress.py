# SPDX-License-Identifier: MIT
import io

import numpy as np

from annelid.cases.run.progress import Bar, Lines, describe, progress_for
from annelid.solver.display import DisplayUnit, DisplayUnits
from annelid.solver.records import Equilibrium, Measure

MMHG = DisplayUnits({"pressure": (DisplayUnit("mmHg", 7500.61683),)})


def state(stage="fill", parameter=0.5, unstable=0):
    return Equilibrium(
        index=1,
        stage=stage,
        parameter=parameter,
        loads={"pressure": Measure(0.004, "MPa"), "voltage low": Measure(0.0, "kV")},
        iterations=4,
        residual=1e-9,
        factorisations=1,
        unstable_modes=unstable,
        unstable_modes_controlled=unstable,
        quantities={},
        displacement=np.zeros((1, 2)),
        fields={},
    )


def error_stream(monkeypatch, *, terminal):
    """Put a stream, of a terminal or not, in place of the error stream."""
    stream = io.StringIO()
    stream.isatty = lambda: terminal
    monkeypatch.setattr("sys.stderr", stream)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "120")
    return stream


def test_a_state_is_described_in_one_line():
    assert describe(state(), MMHG).replace("\xa0", " ") == "fill 0.500  pressure 30 mmHg  (4 iterations)"
    assert describe(state(unstable=2), MMHG).endswith("(4 iterations, 2 unstable)")


def test_progress_in_a_file_is_lines(monkeypatch):
    errors = error_stream(monkeypatch, terminal=False)
    with progress_for(["fill", "energise"], MMHG) as progress:
        assert isinstance(progress, Lines)
        progress.show(state())
    assert errors.getvalue().endswith(f" s  {describe(state(), MMHG)}\n")
    assert "\x1b" not in errors.getvalue()


def test_progress_on_a_terminal_is_a_bar_over_all_stages(monkeypatch):
    errors = error_stream(monkeypatch, terminal=True)
    with progress_for(["fill", "energise"], MMHG) as progress:
        assert isinstance(progress, Bar)
        progress.show(state("fill", 1.0))
        progress._bar.refresh()
        assert "50 %" in errors.getvalue()
        progress.show(state("energise", 1.0))
        progress._bar.refresh()
    assert "100 %" in errors.getvalue()
    assert describe(state("energise", 1.0), MMHG) in errors.getvalue()
