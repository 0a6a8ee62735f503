# SPDX-License-Identifier: MIT
"""Waves in case files, and the states along them."""

import copy
import math
import tomllib

import numpy as np
import pytest
from plain_tube import TABLES

from annelid.cases.convert.body import meshed_part_of
from annelid.cases.convert.cost import cost_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import loads_with_margin, stages_of
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables, companion_files, library_cases, read_case
from annelid.cases.validate.reported import reported
from annelid.cases.validate.resolved import coarsened, resolved_text, to_toml
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run
from annelid.solver.continuation.path import Path
from annelid.solver.model.quantities import names_for
from annelid.solver.model.stepping import Stepping

WAVE = {"on": ["low", "high"], "amplitude": "2 kV", "period": "1 s", "rise": "0.11 s", "cycles": 2}


def tables(*waves, **stage):
    more = {"name": "wave", "waves": list(waves), **stage}
    return copy.deepcopy({k: v for k, v in TABLES.items() if k != "requirements"} | {"stages": [more]})


def followed(case):
    body, pressure = meshed_part_of(case)
    states = []
    path = Path(model_of(case, body, pressure), stages_of(case), stepping=Stepping(seek_limit=1))
    outcome = path.follow(observe=states.append)
    return outcome, states


@pytest.fixture(scope="module")
def run():
    return followed(case_from_tables(tables(WAVE, steps_per_period=8)))


def by_time(states):
    return {round(state.quantities["time"].value, 9): state for state in states}


def test_states_are_on_the_corners_and_on_equal_phases(run):
    outcome, states = run
    assert outcome.kind == "reached"
    assert outcome.text.endswith("at no load at 2.5\N{NO-BREAK SPACE}s")  # the second ring starts later
    times = {round(state.quantities["time"].value, 9) for state in states}
    phases = {0.0, 0.11, 0.39, 0.5}
    corners = {round(n + delay + θ, 9) for n in (0, 1) for delay in (0.0, 0.5) for θ in phases}
    assert corners | set(np.arange(0, 2.51, 0.125)) <= times


def volts(state):
    return {name: load.value for name, load in state.loads.items()}


def test_the_second_cycle_repeats_the_first(run):
    states = by_time(run[1])
    later = [t for t in states if 1.5 <= t <= 2.0]
    assert len(later) >= 5
    for t in later:  # in the first half of the first cycle the second ring is still at rest
        now, before = states[t], states[round(t - 1.0, 9)]
        assert volts(now) == pytest.approx(volts(before), abs=1e-9)
        assert now.quantities["lumen volume"].value == pytest.approx(
            before.quantities["lumen volume"].value, rel=1e-8
        )


def test_a_wave_on_an_inflated_tube_is_measured_from_rest():
    """The clamped end and the pressure make no wave; the lumen gains what the wave displaces."""
    wave = WAVE | {"on": ["low"], "cycles": 1}
    case = tables(wave, steps_per_period=4)
    case["stages"].insert(0, {"name": "fill", "pressure": "10 mmHg", "steps": 1})
    states = followed(case_from_tables(case))[1]
    volume, occlusion, inside = (
        [s.quantities[name].value for s in states]
        for name in ("wave volume", "occlusion ratio", "lumen volume")
    )
    loaded = [s.loads["voltage low"].value > 0 for s in states]
    assert any(loaded)
    for i, on in enumerate(loaded):
        if on:
            assert volume[i] == pytest.approx(inside[i] - inside[1], rel=0.1)
            assert occlusion[i] > 0.01
        else:
            assert (volume[i], occlusion[i]) == pytest.approx((0.0, 0.0), abs=1e-5)


def test_a_state_of_a_wave_is_that_of_its_loads(run):
    state = by_time(run[1])[0.25]
    assert state.loads["voltage low"].value == pytest.approx(2.0)
    still = tables() | {"stages": [{"voltage": {"low": "2 kV"}, "steps": 2}]}
    end = followed(case_from_tables(still))[1][-1]
    assert "time" not in end.quantities
    for name in ("lumen volume", "peak stress", "charge low"):
        assert state.quantities[name].value == pytest.approx(end.quantities[name].value, rel=1e-6)


def test_the_resolved_case_is_read_again():
    case = case_from_tables(tables(WAVE))
    assert "steps_per_period = 32" in resolved_text(case)
    assert 'duration = "2.5 s"' in resolved_text(case)
    again = case_from_tables(tomllib.loads(to_toml(case)))
    assert to_toml(again) == to_toml(case)
    assert stages_of(again) == stages_of(case)


def test_what_a_wave_reports_and_costs():
    case = case_from_tables(tables(WAVE, steps_per_period=20))
    body, pressure = meshed_part_of(case)
    assert cost_of(case, body).steps == 51
    assert loads_with_margin(case) == ["voltage"]
    assert reported(case)[0] == "time"
    assert reported(case) == names_for(model_of(case, body, pressure).scope)


def test_entries_without_a_delay_move_together():
    (stage,) = stages_of(case_from_tables(tables(WAVE | {"delay": "0 s"})))
    low, high = (wave.waveform for wave in stage.waves)
    assert low == high


def test_a_file_becomes_points(tmp_path):
    (tmp_path / "wave.csv").write_text("time [s],pressure [MPa]\n0,0\n0.5,0.002\n2,0\n")
    wave = {"load": "pressure", "form": "file", "path": "wave.csv", "cycles": 3}
    case = case_from_tables(tables(wave), folder=tmp_path)
    (stage,) = stages_of(case)
    (load,) = stage.waves
    assert (load.attribute, load.entry, stage.duration) == ("pressure", "", 6.0)
    assert [load.waveform.value(t) for t in (0.25, 0.5, 1.25, 2.5)] == pytest.approx([1e-3, 2e-3, 1e-3, 2e-3])
    (tmp_path / "case.toml").write_text(
        '[[stages]]\n[[stages.waves]]\nload = "pressure"\nform = "file"\npath = "wave.csv"\n'
    )
    assert companion_files(tmp_path / "case.toml") == [tmp_path / "wave.csv"]


@pytest.mark.parametrize(
    ("wave", "stage", "says"),
    [
        ({"on": ["low", "hihg"]}, {}, "hihg"),
        ({"on": ["low", "low"]}, {}, "contains a name twice"),
        ({"on": []}, {}, "waves[0].on: is missing"),
        ({"amplitude": "3 mm"}, {}, "write a voltage such as '3 kV'"),
        ({"amplitude": None}, {}, "waves[0].amplitude: is missing"),
        ({"period": None}, {}, "waves[0].period: is missing"),
        ({"duty": 1.5}, {}, "duty"),
        ({"rise": "0.4 s"}, {}, "rise and fall take 0.8 of the period"),
        ({"form": "sine"}, {}, "rise: does not belong to form = 'sine'"),
        ({"cycles": None}, {}, "duration: is missing: some waves have no number of cycles"),
        ({"cycles": 0}, {}, "cycles"),
        ({"wavelength": 2, "delay": "1 s"}, {}, "delay: cannot be given together with wavelength"),
        ({"wavelength": -1}, {}, "wavelength: must be above 0"),
        ({}, {"voltage": {"low": "1 kV"}}, "voltage low is given twice"),
        ({}, {"voltage": {"low": "0 kV"}}, "voltage low is given twice"),
        ({}, {"waves": [WAVE, WAVE]}, "follows two waves"),
        ({}, {"steps": 9, "steps_per_period": 9}, "steps_per_period: cannot be given together with steps"),
        ({}, {"steps_per_period": 0}, "steps_per_period: must be at least 1"),
        ({}, {"control": "arc", "arc": "1 mm"}, "waves give them"),
        ({"path": "x.csv"}, {}, "path and form = 'file' go together"),
        ({"load": "pressure"}, {}, "a wave of pressure needs no name"),
        ({"form": "file", "path": "none.csv"}, {}, "none.csv"),
        ({"direction": "left"}, {}, "direction"),
        ({"cycles": 10**9}, {}, "duration: takes 3.2e+10 steps, more than 100000"),
        (
            {"period": "1e-9 s", "rise": "1e-10 s", "cycles": None},
            {"duration": "1 s", "steps": 9},
            "cycles of a wave",
        ),
        ({"cycles": 2**63}, {}, "integers are at most"),
        ({"offset": "1 kV"}, {}, "begins at 1 kV, but the stage starts with 0 kV"),
        ({"start": "-1 s"}, {}, "start"),
        ({"period": "nan s"}, {}, "period"),
        ({"amplitude": "1e400 kV"}, {}, "amplitude"),
    ],
)
def test_faults_of_waves_are_named(wave, stage, says):
    changed = {k: v for k, v in (WAVE | wave).items() if v is not None}
    if changed.get("form") == "file":
        changed = {k: changed[k] for k in ("on", "form", "path", "cycles")}
    with pytest.raises(InputError) as error:
        case_from_tables(tables(changed, **stage))
    assert says in str(error.value)


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ({"times": ["0 s", "1 s"], "values": ["0 kV"]}, "has 1 entries for 2 times"),
        ({"times": ["0 s", "2 s", "1 s"], "values": ["0 kV", "1 kV", "0 kV"]}, "must increase"),
        ({"times": ["0 s", "1 s"], "values": ["0 kV", "1 kV"]}, "must end where it begins"),
        ({"times": ["0 s", "1 s"], "values": ["0 kV", "1 N"]}, "write a voltage"),
    ],
)
def test_faults_of_tables_are_named(points, says):
    with pytest.raises(InputError) as error:
        case_from_tables(tables({"on": "low", "form": "table", "cycles": 2, **points}))
    assert says in str(error.value)


@pytest.mark.long
@pytest.mark.slow
def test_a_wave_over_ten_rings_travels_at_its_speed(tmp_path):
    """Five rings of 10 mm in a second; the bulge of a ring from its radius as a long ring, by hand."""
    case = coarsened(read_case(library_cases()["ureter_wave"]), 3)
    result = run_case(case, tmp_path / "run")
    assert result.outcome.kind == "reached"
    values = {verdict.quantity: verdict.value for verdict in result.verdicts}
    assert all(verdict.met for verdict in result.verdicts)
    assert values["wave speed"] == pytest.approx(50.0, rel=0.02)
    assert values["difference of cycles"] < 1e-6  # nothing in the part has a memory
    run = open_run(tmp_path / "run")
    opened = np.nanmax(run.table["largest radial expansion"])
    rest = run.table["mean radial expansion"][3]
    ring = 10.0 * math.pi * 4.0**2 * ((1 + opened) ** 2 - (1 + rest) ** 2)  # mm³, with its gap
    assert ring / 2 < values["peristaltic wave volume"] < 2.5 * ring  # two rings overlap while one takes over


def test_a_limit_is_found_in_a_stage_that_takes_time():
    """A film tube pulls in under a voltage that grows evenly in time, as it does without time."""
    ends = []
    for more in ({}, {"duration": "2 s"}):
        still = tables() | {"stages": [{"name": "rise", "voltage": "9 kV", "steps": 4, **more}]}
        outcome, states = followed(case_from_tables(still))
        assert outcome.kind == "limit point"
        ends.append(states[-1].loads["voltage low"].value)
    assert ends[1] == pytest.approx(ends[0], rel=1e-6)
