# SPDX-License-Identifier: MIT
"""A pump with two valves from its case file to its report: cycle values, requirements and figures."""

import copy

import numpy as np
import pytest
from plain_tube import TABLES
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator

from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.reported import path_quantities_of
from annelid.geometry.errors import InputError
from annelid.results.folder.cycles import cycle_rows, last_window
from annelid.results.folder.run_record import open_run
from annelid.results.report.report import write_report

FILL, PERIOD = "1 kPa", 0.5
DRAWN = np.pi * 4**2 * 20  # mm³
CIRCUIT = {
    "elements": [
        {"name": "tank", "kind": "pressure source", "node": "tank", "pressure": FILL},
        {"name": "inlet", "kind": "valve", "from": "tank", "to": "inside", "resistance": "0.1 kPa s/mL"},
        {"name": "part", "kind": "lumen", "node": "inside"},
        {"name": "outlet", "kind": "valve", "from": "inside", "to": "vessel", "resistance": "0.1 kPa s/mL"},
        {
            "name": "body",
            "kind": "windkessel",
            "node": "vessel",
            "resistance": "10 kPa s/mL",
            "compliance": "1 mL/kPa",
        },
    ],
    "initial": {"vessel": "1.4 kPa"},
}
FEEDS = [{"on": ["low", "high"], "resistance": "1 Mohm", "leak_resistance": "100 Gohm"}]
FLUID = {"viscosity": "1 Pa s", "gap": "0.1 mm", "upper": {"kind": "closed"}}


def tables(*required, flow=True, **more):
    wave = {"on": ["low", "high"], "form": "sine", "amplitude": "0.9 kV", "offset": "0.9 kV"}
    wave |= {"period": f"{PERIOD} s", "delay": f"{PERIOD / 8} s", "cycles": 2}
    beat = {"name": "beat", "waves": [wave], "steps_per_period": 48} | ({"control": "flow"} if flow else {})
    ramp = {"name": "ramp", "pressure": FILL, "voltage": {"low": "0.9 kV", "high": "0.9 kV"}, "steps": 2}
    entries = {
        "stages": [ramp, beat],
        "requirements": [{"quantity": name, key: limit} for name, key, limit in required],
        "path": {"seek_limit": 1},
        "mesh": {"along": "4 mm", "through": 1},
    }
    return copy.deepcopy(TABLES | entries | more)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    limits = (
        ("mean flow through outlet", "at_least", "0.001 mL/s"),
        ("energy balance", "at_most", "0.5 %"),
        ("stroke work", "at_least", "1 J"),
    )
    folder = tmp_path_factory.mktemp("pump") / "run"
    run_case(case_from_tables(tables(*limits, circuit=CIRCUIT, feeds=FEEDS)), folder)
    return open_run(folder)


def value(run, name):
    return next(v for key, v in run.summary["path_quantities"].items() if key.rpartition(" [")[0] == name)


def test_a_circuit_that_beats_by_itself_has_cycle_values(tmp_path):
    tank = {"name": "tank", "kind": "pressure source", "node": "tank", "times": ["0 s", "0.2 s", "0.5 s"]}
    line = {"name": "line", "kind": "resistance", "from": "tank", "to": "inside", "resistance": "1 kPa s/mL"}
    circuit = {"elements": [tank | {"values": [FILL, "1.2 kPa", FILL]}, line, CIRCUIT["elements"][2]]}
    stages = [
        {"name": "ramp", "pressure": FILL, "steps": 2},
        {"name": "beat", "control": "flow", "duration": "2 s", "steps_per_period": 16},
    ]
    run_case(case_from_tables(tables(circuit=circuit, stages=stages)), tmp_path / "run")
    run = open_run(tmp_path / "run")
    assert len(run.table) == 1 + 2 + 4 * 16
    # The lumen is filled and emptied through the line, by 0.2 kPa at most.
    assert value(run, "stroke volume") > 0
    assert value(run, "difference of cycles") < 0.05
    assert abs(value(run, "pumped volume through line")) < 0.05 * value(run, "stroke volume")


@pytest.mark.slow
def test_requirements_on_a_cycle_are_judged(run):
    assert run.outcome.kind == "reached"
    flow, balance, work = run.verdicts
    assert (flow.met, balance.met, work.met) == (True, True, False)
    assert flow.value == value(run, "mean flow through outlet") > 1.0
    assert flow.where == "on the whole path"


@pytest.mark.exact
@pytest.mark.slow
def test_the_stroke_work_is_the_area_of_the_loop(run):
    table = run.table
    rows = cycle_rows(table, last_window(run.description.cycles, table))
    P, V = table["lumen pressure"][rows], table["lumen volume"][rows]
    t = table["time"][rows]
    P_of, V_of = PchipInterpolator(t, P), PchipInterpolator(t, V)
    area = -quad(lambda x: P_of(x) * V_of(x, nu=1), t[0], t[-1], limit=500)[0]
    assert area > 0.1 * np.ptp(P) * np.ptp(V)
    assert value(run, "stroke work") == pytest.approx(area, rel=5e-3)


@pytest.mark.slow
def test_the_valves_pass_what_the_lumen_gives(run):
    table = run.table
    rows = cycle_rows(table, last_window(run.description.cycles, table))
    inlet, outlet = (value(run, f"pumped volume through {valve}") for valve in ("inlet", "outlet"))
    assert inlet - outlet == pytest.approx(
        np.diff(table["lumen volume"][rows[[0, -1]]])[0], abs=1e-10 * DRAWN
    )
    assert outlet == pytest.approx(
        value(run, "stroke volume"), rel=1e-3
    )  # nothing flows through while it fills


@pytest.mark.slow
def test_each_cycle_value_has_a_definition(run):
    for header in run.summary["path_quantities"]:
        name, _, unit = header.rpartition(" [")
        assert run.summary["definitions"][name]["unit"] == unit.rstrip("]")
    for name in ("leak loss a cycle", "resistive loss a cycle", "energy recovered a cycle"):
        assert value(run, name) > 0
    assert 0 < value(run, "efficiency") < 1


@pytest.mark.slow
def test_the_report_has_the_loop_the_flows_and_the_bar(run):
    page = write_report(run.path, with_pictures=False).read_text()
    for words in ("pressure-volume loop, area", "Mean flows of the last cycle", "electrical energy in"):
        assert words in page
    assert "<th>stroke work</th>" in page


@pytest.mark.parametrize(
    ("more", "present", "absent"),
    [
        ({"circuit": CIRCUIT}, ["stroke work", "mean flow through body peripheral"], ["leak loss a cycle"]),
        ({"fluid": FLUID}, ["pumped volume", "viscous loss a cycle"], ["mean flow through inlet"]),
        ({"feeds": FEEDS}, ["electrical energy a cycle", "leak loss a cycle"], ["stroke work", "efficiency"]),
    ],
)
def test_a_case_has_the_values_of_its_flow(more, present, absent):
    names = path_quantities_of(case_from_tables(tables(**more)))
    assert set(present) <= set(names)
    assert not set(absent) & set(names)


@pytest.mark.parametrize(
    ("name", "flow", "more", "words"),
    [
        ("stroke work", False, {}, "'stroke work' needs a fluid or a circuit in the lumen"),
        (
            "leak loss a cycle",
            True,
            {"circuit": CIRCUIT},
            "needs electrodes that are fed through a resistance",
        ),
        ("pumped volume", True, {"circuit": CIRCUIT}, "'pumped volume' needs a fluid along the lumen"),
        ("mean flow through outlt", True, {"circuit": CIRCUIT}, "did you mean 'mean flow through outlet'"),
    ],
)
def test_a_value_that_the_case_does_not_have_is_refused(name, flow, more, words):
    with pytest.raises(InputError, match=words):
        case_from_tables(tables((name, "at_least", "1"), flow=flow, **more))


def test_cycle_values_need_a_whole_cycle():
    entries = tables(("stroke volume", "at_least", "1 mL"), flow=False)
    entries["stages"].pop()
    with pytest.raises(InputError, match="needs a stage whose waves repeat for a whole cycle"):
        case_from_tables(entries)
