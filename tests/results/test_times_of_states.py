# SPDX-License-Identifier: MIT
"""The files for ParaView of runs in which time passes."""

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from synthetic_runs import finished
from synthetic_waves import FIRST_TIMED, LAST_TIMED, STEPS, TIMES, waved

from annelid.geometry.errors import InputError
from annelid.results.folder.cycles import timed_rows
from annelid.results.folder.run_record import open_run
from annelid.results.show import show_files
from annelid.results.show.show_files import write_show
from annelid.results.views.rendering import pyvista_off_screen


@pytest.fixture
def run(tmp_path, tube):
    return waved(tmp_path / "run", tube)


def times_in(file):
    times = pyvista_off_screen().PVDReader(file).time_values
    entries = [float(e.attrib["timestep"]) for e in ElementTree.parse(file).iter("DataSet")]
    assert entries == times  # each time once, in ascending order
    return times


@pytest.mark.parametrize(
    ("times", "rows"),
    [
        ([0, 0, 0, 0.1, 0.2, 0.2], [2, 3, 4]),
        ([0, 0.1, 0.1, 0.1, 0.3], [0, 1, 4]),  # a stage without time between two in time
        ([0, 0.2, 0.1, 0.15, 0.3], [0, 1, 4]),  # a path that goes back
        ([0, 0, 0], []),
        ([], []),
    ],
)
def test_rows_in_time_have_increasing_times(times, rows):
    assert timed_rows(np.array(times, dtype=float)).tolist() == rows


@pytest.mark.parametrize("name", ["fields/over_time.pvd", "show/over_time.pvd"])
def test_states_in_time_have_the_seconds_of_the_table(run, name):
    write_show(run)
    table = open_run(run).table
    rows = np.arange(FIRST_TIMED - 1, LAST_TIMED + 1)  # with the state in which they begin
    assert times_in(run / name) == table["time"][rows].tolist() == [0.0, *TIMES]
    reader = pyvista_off_screen().PVDReader(run / name)
    reader.set_active_time_value(TIMES[3])
    grid = reader.read()[0]
    if name.startswith("show"):
        assert grid.field_data["state"][0] == FIRST_TIMED + 3
        assert grid.field_data["time [s]"][0] == TIMES[3]
    else:
        moved = np.asarray(grid["displacement [mm]"])
        reader = pyvista_off_screen().PVDReader(run / "fields/fields.pvd")
        reader.set_active_time_value(FIRST_TIMED + 3)
        np.testing.assert_array_equal(moved, reader.read()[0]["displacement [mm]"])


def test_all_states_keep_their_numbers(run):
    write_show(run)
    assert times_in(run / "fields/fields.pvd") == list(map(float, range(LAST_TIMED + 2)))
    assert times_in(run / "show/all_states.pvd")[:2] == [0.5, 1.0]
    assert sorted(open_run(run).field_files) == list(range(LAST_TIMED + 2))


def test_the_last_cycle_is_shown_before_other_states(run, monkeypatch):
    monkeypatch.setattr(show_files, "_MOST_STATES", STEPS + 6)
    write_show(run)
    shown = times_in(run / "show/over_time.pvd")
    assert {time for time in TIMES if 1.5 <= time <= 2.5} <= set(shown)
    assert len(shown) < len(TIMES)


def test_a_changed_file_of_times_is_found(run):
    file = run / "fields/over_time.pvd"
    file.write_text(file.read_text().replace("0.25", "0.26"))
    with pytest.raises(InputError, match=r"over_time\.pvd: is not as the run wrote it"):
        open_run(run)


def test_without_time_there_is_no_such_file(tmp_path, tube):
    run = finished(tmp_path / "run", tube)
    write_show(run)
    assert not list(run.glob("*/over_time.pvd"))
    write_show(waved(tmp_path / "waved", tube))
    (tmp_path / "waved/show/over_time.pvd").rename(run / "show/over_time.pvd")
    write_show(run)
    assert not list(run.glob("*/over_time.pvd"))  # that of an earlier run is removed
