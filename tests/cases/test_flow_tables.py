# SPDX-License-Identifier: MIT
"""Circuits, fluids and feeds in case files."""

import copy
import re
import textwrap
import tomllib

import numpy as np
import pytest
import tomli_w
from plain_tube import ROOT, TABLES

from annelid.cases.convert.body import meshed_part_of
from annelid.cases.convert.cost import cost_of
from annelid.cases.convert.description import description_of
from annelid.cases.convert.flow import flow_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import stages_of
from annelid.cases.convert.waves import cycles_of
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.reported import reported
from annelid.cases.validate.resolved import case_hash, coarsened, to_toml
from annelid.geometry.errors import InputError
from annelid.results.folder.run_records import CycleWindow
from annelid.solver.continuation.path import Path
from annelid.solver.fluid.conductors import Inertance, Resistance, Valve
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.lubrication import Closed, OpenTo, Reservoir
from annelid.solver.fluid.signals import at_time
from annelid.solver.fluid.sources import FlowSource, PressureSource
from annelid.solver.fluid.stores import Chamber, Compliance, LumenStore
from annelid.solver.model.quantities import names_for
from annelid.solver.model.stepping import Stepping

MMHG = 133.322387415e-6  # MPa, the conventional value of ISO 80000-4
MMHG_S_PER_ML = MMHG / 1000  # MPa s/mm³; 1 mL is 1000 mm³
ML_PER_MMHG = 1000 / MMHG
MMHG_PER_ML = MMHG / 1000
VACUUM = 8.8541878128e-12  # F/m, CODATA 2018

LUMEN = {"name": "part", "kind": "lumen", "node": "in"}
TANK = {"name": "tank", "kind": "pressure source", "node": "tank", "pressure": "10 mmHg"}
LINE = {"name": "line", "kind": "resistance", "from": "tank", "to": "in", "resistance": "2 mmHg s/mL"}
VALVE = {"name": "valve", "kind": "valve", "from": "in", "to": "tank", "resistance": "0.05 mmHg s/mL"}
HEART = {"name": "heart", "kind": "chamber", "node": "in", "elastance": "2 mmHg/mL"}
BODY = {
    "name": "body",
    "kind": "windkessel",
    "node": "in",
    "resistance": "1 mmHg s/mL",
    "compliance": "1.3 mL/mmHg",
}
FLUID = {"viscosity": "10 Pa s", "sections": 5, "gap": "0.1 mm"}
FEED = {"on": "low", "resistance": "2 Mohm"}

WAVE = {"on": ["low", "high"], "form": "raised cosine", "amplitude": "1 kV", "period": "1 s", "cycles": 2}
FILL = {"name": "fill", "pressure": "10 mmHg", "steps": 2}
PUMP = {"name": "pump", "control": "flow", "waves": [WAVE]}
RUBBER = TABLES["materials"]["rubber"]
BASE = (LUMEN, TANK, LINE)
THREE = {"times": ["0 s", "1 s", "2 s"]}


def changed(table, **changes):
    return {key: value for key, value in (table | changes).items() if value is not None}


def tables(*elements, initial=None, stages=(FILL, PUMP), **more):
    case = {key: value for key, value in TABLES.items() if key != "requirements"} | {"stages": list(stages)}
    if elements:
        case["circuit"] = {"elements": list(elements)} | ({"initial": initial} if initial else {})
    return copy.deepcopy(case | more)


def circuit_of(*elements, **more):
    return flow_of(case_from_tables(tables(*elements, **more))).circuit


def element(table):
    return {e.name: e for e in circuit_of(*BASE, table).elements}[table["name"]]


def approx(value):
    return pytest.approx(value, rel=1e-9)


# elements


def test_the_lumen_and_lines():
    lumen, tank, line = circuit_of(*BASE).elements
    assert (type(lumen), lumen.node) == (LumenStore, "in")
    assert (type(tank), tank.node) == (PressureSource, "tank")
    assert tank.pressure == approx(10 * MMHG)
    assert (type(line), line.start, line.end) == (Resistance, "tank", "in")
    assert line.resistance == approx(2 * MMHG_S_PER_ML)


def test_a_valve():
    valve = element(VALVE)
    assert (type(valve), valve.start, valve.end) == (Valve, "in", "tank")
    assert valve.resistance == approx(0.05 * MMHG_S_PER_ML)
    assert (valve.opening, valve.smoothing, valve.leak) == (0.0, 1e-6, 1e-6)
    valve = element(VALVE | {"opening": "2 mmHg", "smoothing": "0.1 mmHg", "leak": 1e-4})
    assert (valve.opening, valve.smoothing, valve.leak) == approx((2 * MMHG, 0.1 * MMHG, 1e-4))


def test_an_inertance_and_a_compliance():
    column = {"name": "l", "kind": "inertance", "from": "in", "to": "tank", "inertance": "0.005 mmHg s2/mL"}
    found = element(column)
    assert (type(found), found.start, found.end) == (Inertance, "in", "tank")
    assert found.inertance == approx(0.005 * MMHG_S_PER_ML)
    bag = {"name": "bag", "kind": "compliance", "node": "in", "compliance": "1.3 mL/mmHg"}
    found = element(bag)
    assert (type(found), found.node, found.external) == (Compliance, "in", 0.0)
    assert found.compliance == approx(1.3 * ML_PER_MMHG)
    assert element(bag | {"external": "-5 mmHg"}).external == approx(-5 * MMHG)


def test_a_chamber():
    heart = element(HEART | {"unstressed_volume": "10 mL", "external": "-4 mmHg"})
    assert (type(heart), heart.node) == (Chamber, "in")
    assert heart.elastance == approx(2 * MMHG_PER_ML)
    assert (heart.unstressed_volume, heart.external) == approx((1e4, -4 * MMHG))


def test_a_source_of_flow():
    pump = {"name": "pump", "kind": "flow source", "from": "ground", "to": "in", "flow": "5 mL/s"}
    found = element(pump)
    assert (type(found), found.start, found.end) == (FlowSource, "ground", "in")
    assert found.rate == approx(5000.0)
    assert element(pump | {"flow": "0.3 L/min"}).rate == approx(5000.0)


@pytest.mark.parametrize(
    ("key", "table", "attribute", "unit", "values"),
    [
        ("elastance", HEART, "elastance", MMHG_PER_ML, ["0.1 mmHg/mL", "2 mmHg/mL", "0.1 mmHg/mL"]),
        ("pressure", TANK | {"name": "t", "node": "in"}, "pressure", MMHG, ["5 mmHg", "8 mmHg", "5 mmHg"]),
        (
            "flow",
            {"name": "s", "kind": "flow source", "from": "in", "to": "tank"},
            "rate",
            1000.0,
            ["0 mL/s", "4 mL/s", "0 mL/s"],
        ),
    ],
)
def test_values_over_time_repeat_and_pass_through_their_points(key, table, attribute, unit, values):
    over_time = changed(table, **{key: None}) | {"times": ["0 s", "0.3 s", "0.8 s"], "values": values}
    source = getattr(element(over_time), attribute)
    points = [float(text.split()[0]) * unit for text in values]
    for cycle in (0, 1, 7):
        found = [at_time(source, cycle * 0.8 + t) for t in (0.0, 0.3, 0.8)]
        assert found == pytest.approx(points, rel=1e-9, abs=1e-12 * unit)
    between = np.array([at_time(source, t) for t in np.linspace(0, 0.8, 101)])
    assert min(points) - 1e-12 * unit <= between.min()
    assert between.max() <= max(points) * (1 + 1e-12)


@pytest.mark.parametrize(
    ("more", "kinds"),
    [
        ({}, {"compliance": Compliance, "peripheral": Resistance}),
        (
            {"characteristic": "0.05 mmHg s/mL"},
            {"characteristic": Resistance, "compliance": Compliance, "peripheral": Resistance},
        ),
        (
            {"characteristic": "0.05 mmHg s/mL", "inertance": "0.005 mmHg s2/mL"},
            {
                "inertance": Inertance,
                "characteristic": Resistance,
                "compliance": Compliance,
                "peripheral": Resistance,
            },
        ),
    ],
    ids=["two", "three", "four"],
)
def test_windkessels_of_two_three_and_four_elements(more, kinds):
    found = {e.name: e for e in circuit_of(*BASE, BODY | more).elements}
    assert {name: type(e) for name, e in found.items() if name.startswith("body ")} == {
        f"body {part}": kind for part, kind in kinds.items()
    }
    assert found["body peripheral"].resistance == approx(MMHG_S_PER_ML)
    assert found["body peripheral"].end == "ground"
    assert found["body compliance"].compliance == approx(1.3 * ML_PER_MMHG)
    if "inertance" in more:
        ends = {
            arrangement: circuit_of(*BASE, BODY | more | {"arrangement": arrangement}).nodes
            for arrangement in ("series", "parallel")
        }
        assert "body proximal" in ends["series"]
        assert "body proximal" not in ends["parallel"]


# fluid, feeds, initial pressures


def test_a_fluid_and_its_ends():
    lumen = flow_of(case_from_tables(tables(fluid=FLUID))).lumen
    assert lumen.fluid == Fluid(viscosity=1e-5)  # 10 Pa s in MPa s
    assert (lumen.sections, lumen.gap) == (5, 0.1)
    assert lumen.lower == lumen.upper == Reservoir(0.0)
    power = FLUID | {"index": 0.6, "slowest_shear": "0.01 1/s", "density": "1.05 g/cm3"}
    ends = {"lower": {"kind": "closed"}, "upper": {"pressure": "1 kPa"}}
    lumen = flow_of(case_from_tables(tables(fluid=power | ends))).lumen
    found = (lumen.fluid.viscosity, lumen.fluid.index, lumen.fluid.slowest, lumen.fluid.density)
    assert found == approx((1e-5, 0.6, 0.01, 1.05e-9))
    assert (lumen.lower, lumen.upper) == (Closed(), Reservoir(1e-3))
    swinging = {"upper": THREE | {"values": ["1 kPa", "2 kPa", "1 kPa"]}}
    lumen = flow_of(case_from_tables(tables(fluid=FLUID | swinging))).lumen
    assert [at_time(lumen.upper.pressure, t) for t in (0, 1, 2, 5)] == approx([1e-3, 2e-3, 1e-3, 2e-3])


def test_a_fluid_ends_at_a_circuit():
    ends = {"upper": {"kind": "circuit", "node": "in"}}
    lumen = flow_of(case_from_tables(tables(TANK, LINE, fluid=FLUID | ends))).lumen
    assert lumen.upper == OpenTo("in")
    assert lumen.circuit.openings == ("in",)
    ends["lower"] = {"kind": "circuit", "node": "body distal"}  # the inner node of a windkessel
    body = BODY | {"characteristic": "0.05 mmHg s/mL"}
    lumen = flow_of(case_from_tables(tables(TANK, LINE, body, fluid=FLUID | ends))).lumen
    assert lumen.circuit.openings == ("body distal", "in")


def test_sections_are_no_finer_than_the_mesh():
    fluid = changed(FLUID, sections=None)
    assert case_from_tables(tables(fluid=fluid)).fluid.sections == 10  # elements of 2 mm in 20 mm
    fine = case_from_tables(tables(fluid=fluid, mesh={"along": "0.25 mm", "through": 1}))
    assert fine.fluid.sections == 40
    assert coarsened(fine, 4.0).fluid.sections == 20


def test_feeds_and_conductivity():
    charging = flow_of(case_from_tables(tables(feeds=[FEED]))).charging
    (feed,) = charging.feeds
    assert (feed.name, feed.source, feed.leak_resistance, feed.relaxation) == ("low", None, None, None)
    assert feed.resistance == approx(2e-3)  # Gohm
    leaking = [FEED | {"on": ["low", "high"], "leak_resistance": "3 Gohm"}]
    lossy = {"rubber": RUBBER | {"conductivity": "1e-12 S/m"}}
    charging = flow_of(case_from_tables(tables(feeds=leaking, materials=lossy))).charging
    assert [feed.name for feed in charging.feeds] == ["low", "high"]
    assert charging.feeds[1].leak_resistance == approx(3.0)
    assert charging.feeds[1].relaxation == approx(2.8 * VACUUM / 1e-12)  # ε/σ = 24.8 s


def test_initial_pressures():
    flow = flow_of(
        case_from_tables(
            tables(*BASE, BODY | {"characteristic": "0.05 mmHg s/mL"}, initial={"body distal": "80 mmHg"})
        )
    )
    assert flow.initial == {"pressure of body distal": approx(80 * MMHG)}
    y = flow.start(np.array([10 * MMHG]))
    assert y[flow.system.names.index("pressure of body distal")] == approx(80 * MMHG)
    assert y[flow.system.names.index("pressure of in")] == approx(10 * MMHG)


# the whole case

WHOLE = tables(
    TANK,
    LINE,
    VALVE,
    HEART | {"unstressed_volume": "1 mL"},
    BODY | {"characteristic": "0.05 mmHg s/mL"},
    initial={"in": "8 mmHg", "body distal": "8 mmHg"},
    fluid=FLUID | {"upper": {"kind": "circuit", "node": "in"}, "lower": {"kind": "closed"}},
    feeds=[FEED | {"leak_resistance": "3 Gohm"}],
)


def test_the_resolved_case_is_read_again():
    case = case_from_tables(WHOLE)
    again = case_from_tables(tomllib.loads(to_toml(case)))
    assert to_toml(again) == to_toml(case)
    assert flow_of(again) == flow_of(case)
    assert stages_of(again) == stages_of(case)
    thicker = case_from_tables(WHOLE | {"fluid": WHOLE["fluid"] | {"viscosity": "11 Pa s"}})
    assert case_hash(thicker) != case_hash(case)


@pytest.mark.parametrize(
    ("case", "names", "missing"),
    [
        (
            tables(*BASE, BODY),
            ["pressure at in", "flow through line", "flow through body peripheral", "loss in the circuit"],
            ["viscous loss", "Reynolds number", "energy of the sources"],
        ),
        (
            tables(fluid=FLUID),
            [
                "highest lumen pressure",
                "volume out of the upper end",
                "Womersley number",
                "work on the fluid",
            ],
            ["loss in the circuit", "pressure at in"],
        ),
        (
            tables(feeds=[FEED]),
            ["current low", "resistive loss", "leak loss", "electrical energy put in"],
            ["current high", "work on the fluid", "viscous loss"],
        ),
        (tables(stages=[FILL]), [], ["electrical energy put in", "work on the fluid"]),
    ],
    ids=["circuit", "fluid", "feeds", "none"],
)
def test_what_a_flow_reports(case, names, missing):
    case = case_from_tables(case)
    assert set(names) <= set(reported(case))
    assert not set(missing) & set(reported(case))
    assert reported(case) == names_for(model_of(case, *meshed_part_of(case)).scope)


def test_steps_divide_the_period_of_a_circuit_that_beats_by_itself():
    heart = changed(HEART, elastance=None) | THREE | {"values": ["1 mmHg/mL", "2 mmHg/mL", "1 mmHg/mL"]}
    beat = {"name": "beat", "control": "flow", "duration": "5 s"}
    case = case_from_tables(tables(*BASE, heart, stages=[FILL, beat]))
    assert stages_of(case)[-1].time_step == 2 / 32
    assert list(cycles_of(case)) == [CycleWindow("beat", 2.0, 0.0, 5.0, 0.0)]
    again = case_from_tables(tomllib.loads(to_toml(case)))
    assert stages_of(again) == stages_of(case)
    coarse = case_from_tables(tables(*BASE, heart, stages=[FILL, beat | {"steps_per_period": 8}]))
    assert stages_of(coarse)[-1].time_step == 2 / 8
    given = case_from_tables(tables(*BASE, heart, stages=[FILL, beat | {"steps": 7}]))
    assert (stages_of(given)[-1].time_step, stages_of(given)[-1].steps) == (None, 7)


def test_a_case_runs_and_its_states_have_what_was_reported():
    case = case_from_tables(WHOLE | {"stages": [FILL, PUMP | {"steps_per_period": 4}]})
    states = []
    path = Path(model_of(case, *meshed_part_of(case)), stages_of(case), stepping=Stepping(seek_limit=1))
    outcome = path.follow(observe=states.append)
    assert outcome.kind == "reached", outcome.text
    assert list(states[-1].quantities) == reported(case)
    # The voltage in a flow stage is that of the source, which the electrode follows through its resistance.
    middle = next(s for s in states if s.quantities["time"].value == pytest.approx(0.25))
    source = 0.5  # kV, of the raised cosine at a quarter of its period
    current = middle.quantities["current low"].value
    assert abs(current) > 1e-3
    assert source - middle.quantities["electrode voltage low"].value == pytest.approx(2e-3 * current)
    low = middle.quantities["electrode voltage low"].value
    assert low < source
    assert middle.loads["voltage high"].value != low


def test_a_flow_costs_more_than_its_stage_without_one():
    stage, path = {"name": "wave", "waves": [WAVE]}, {"harmonics": "none"}  # not judged in a viscous flow
    costs = [
        cost_of(case, meshed_part_of(case)[0])
        for case in map(
            case_from_tables,
            (
                tables(stages=[FILL, stage], path=path),
                tables(*BASE, path=path),
                tables(fluid=FLUID),
                tables(fluid=FLUID | {"sections": 10}),
            ),
        )
    ]
    assert len({cost.steps for cost in costs}) == 1
    seconds = [cost.seconds for cost in costs]
    assert seconds == sorted(set(seconds))


def test_the_description_names_elements_fluid_and_feeds():
    described = description_of(case_from_tables(WHOLE)).statements
    statements = {
        s.heading: tuple(text.replace("\N{NO-BREAK SPACE}", " ") for text in s.sentences) for s in described
    }
    tank, line, valve, heart, body, begins = statements["Circuit"]
    assert tank == "tank: pressure source at tank, pressure 10 mmHg."
    assert line == "line: resistance from tank to in, resistance 2 mmHg s/mL."
    assert valve == "valve: valve from in to tank, resistance 0.05 mmHg s/mL."
    assert heart.startswith("heart: chamber at in, elastance 2 mmHg/mL, unstressed volume 1")
    assert "compliance 1.3 mL/mmHg, characteristic 0.05 mmHg s/mL" in body
    assert begins.startswith("Pressures at the start: in 8")
    flow, lower, upper = statements["Fluid"]
    assert "viscosity 10 Pa s" in flow  # as in the file
    assert "index" not in flow
    assert (lower, upper) == ("Lower end: closed.", "Upper end: at in of the circuit.")
    assert statements["Feeds"] == ("low: resistance 2 Mohm, leak resistance 3000 Mohm.",)
    assert "the flow answers" in statements["Stages"][1]


@pytest.mark.parametrize(
    ("table", "rings"), [("circuit", ["belt"]), ("fluid", ["ring_1", "ring_2"])], ids=["circuit", "fluid"]
)
def test_the_examples_of_the_guide_are_valid(table, rings):
    page = (ROOT / "cases" / "README.md").read_text(encoding="utf-8")
    block = re.search(rf"\n((?:    \[{table}\])(?:\n(?:    .*)?)+)", page)[1]
    example = tomllib.loads(textwrap.dedent(block))
    edges = [("2 mm", "8 mm"), ("10 mm", "18 mm")]
    electrodes = [
        {"name": name, "region": "wall", "from": low, "to": high}
        for name, (low, high) in zip(rings, edges, strict=False)
    ]
    case = case_from_tables(tables(electrodes=electrodes) | example)
    assert flow_of(case).lumen is not None
    assert [stage.control for stage in case.stages] == ["load", "flow"]


# faults

RESERVOIR = {"upper": THREE | {"values": ["1 kPa", "2 mm", "1 kPa"]}}
AT_NODE = {"upper": {"kind": "circuit", "node": "tnk"}}
ROD = {"name": "rod", "kind": "cylinder", "surface": "lumen", "radius": "1 mm"}
SPHERE = {
    "kind": "balloon",
    "layers": TABLES["shape"]["layers"],
    "meridian": {"kind": "sphere", "radius": "9 mm"},
}
CLOSED_BALLOON = {
    "shape": SPHERE,
    "electrodes": [],
    "sections": [],
    "supports": [{"region": "outer", "hold": "rigid motion"}],
    "stages": [FILL, {"name": "pump", "control": "flow", "duration": "1 s"}],
}
CORE = {"kind": "sleeve", "core_radius": "4 mm", "length": "20 mm", "layers": TABLES["shape"]["layers"]}


def line(**changes):
    return LUMEN, TANK, changed(LINE, **changes)


def tank(**changes):
    return LUMEN, changed(TANK, **changes), LINE


def heart(**changes):
    return *BASE, changed(HEART, **changes)


def valve(**changes):
    return *BASE, changed(VALVE, **changes)


ELEMENTS = {
    "floating": (
        line(**{"from": "a", "to": "b"}),
        "circuit.elements: nodes a, b have no path to a given pressure",
    ),
    "valve without flow": (
        valve(to="out"),
        "circuit.elements[valve].to: is 'out', from which nothing goes on",
    ),
    "valve without source": (
        valve(**{"from": "out"}),
        "circuit.elements[valve].from: is 'out', from which nothing",
    ),
    "names": ((*BASE, LINE), "circuit.elements[line].name: 'line' names 2 elements of the circuit"),
    "windkessels": ((*BASE, BODY, BODY), "circuit.elements[body].name: 'body' names 2 elements"),
    "no lumen": ((TANK, changed(LINE, to="ground")), "circuit.elements: have no lumen among them: add one"),
    "two lumens": (
        (*BASE, LUMEN | {"name": "x"}),
        "circuit.elements[x].node: is 'in': the circuit has a lumen",
    ),
    "two sources": (
        (*BASE, TANK | {"name": "x"}),
        "circuit.elements[x].node: is 'tank': its node has one already",
    ),
    "missing": (line(resistance=None), "circuit.elements[line].resistance: is missing: kind = 'resistance'"),
    "missing start": (line(**{"from": None}), "circuit.elements[line].from: is missing"),
    "superfluous": (
        line(compliance="1 mL/mmHg"),
        "circuit.elements[line].compliance: does not belong to kind",
    ),
    "superfluous end": (
        tank(to="in"),
        "circuit.elements[tank].to: does not belong to kind = 'pressure source'",
    ),
    "negative": (
        line(resistance="-1 mmHg s/mL"),
        "circuit.elements[line].resistance: '-1 mmHg s/mL' is out of range; it must be a flow resistance",
    ),
    "unit": (line(resistance="1 mmHg"), "circuit.elements[line].resistance: '1 mmHg' is in"),
    "same nodes": (line(to="tank"), "circuit.elements[line].to: is 'tank', and so is the start"),
    "ground": (tank(node="ground"), "circuit.elements[tank].node: is ground"),
    "kind": (
        line(kind="resistanse"),
        "circuit.elements[line].kind: 'resistanse' is not allowed (did you mean",
    ),
    "no kind": (line(kind=None), "circuit.elements[line].kind: missing: expected kind of element"),
    "no name": (line(name=None), "circuit.elements[#3].name: missing"),
    "odd name": (line(name="a b"), "circuit.elements[a b].name: 'a b' is not a name"),
    "opening": (valve(opening="-1 kPa"), "circuit.elements[valve].opening: must be at least 0 MPa"),
    "leak": (valve(leak=1), "circuit.elements[valve].leak: must be above 0 and below 1"),
    "smoothing": (
        valve(smoothing="0 Pa"),
        "circuit.elements[valve].smoothing: must be above 0 MPa, got 0 MPa",
    ),
    "inertance alone": (
        (*BASE, BODY | {"inertance": "0.005 mmHg s2/mL"}),
        "circuit.elements[body].inertance: needs a characteristic resistance",
    ),
    "arrangement": (
        (*BASE, BODY | {"arrangement": "serial"}),
        "circuit.elements[body].arrangement: 'serial' is not allowed (did you mean 'series'?)",
    ),
    "no elastance": (
        heart(elastance=None),
        "circuit.elements[heart].elastance: is missing, and so are times",
    ),
    "unit of values": (
        heart(elastance=None, **THREE, values=["1 mmHg/mL", "1 mmHg", "1 mmHg/mL"]),
        "circuit.elements[heart].values: '1 mmHg' is in",
    ),
    "elastance": (
        heart(elastance=None, **THREE, values=["1 mmHg/mL", "-1 mmHg/mL", "1 mmHg/mL"]),
        "circuit.elements[heart].values: must be above 0 MPa/mm3, got '-1 mmHg/mL'",
    ),
    "twice": (
        tank(**THREE, values=["1 kPa"] * 3),
        "circuit.elements[tank].pressure: cannot be given together with times and",
    ),
    "number of values": (
        tank(pressure=None, **THREE, values=["1 kPa", "2 kPa"]),
        "circuit.elements[tank].values: has 2 entries for 3 times",
    ),
    "descending": (
        tank(pressure=None, times=["0 s", "2 s", "1 s"], values=["1 kPa", "2 kPa", "1 kPa"]),
        "circuit.elements[tank].times: must increase, from 0 s",
    ),
    "jump": (
        tank(pressure=None, **THREE, values=["1 kPa", "2 kPa", "3 kPa"]),
        "circuit.elements[tank].values: must end as it begins",
    ),
    "bare number": (
        tank(pressure=None, **THREE, values=[1, 2, 1]),
        "circuit.elements[tank].values: 1 has no unit",
    ),
}


@pytest.mark.parametrize("fault", ELEMENTS)
def test_faults_of_elements_are_named(fault):
    elements, says = ELEMENTS[fault]
    assert_refused(tables(*elements), says)


def stages(*more, **pump):
    return {"stages": [FILL, PUMP | pump, *more]}


FAULTS = {
    "no circuit": (tables(fluid=FLUID | AT_NODE), "fluid.upper.node: 'tnk' is a node of no circuit"),
    "unknown node": (
        tables(TANK, LINE, fluid=FLUID | AT_NODE),
        "fluid.upper.node: 'tnk' is not a node of the circuit (did you mean 'tank'?); nodes: in, tank",
    ),
    "ground": (
        tables(TANK, LINE, fluid=FLUID | {"lower": {"kind": "circuit", "node": "ground"}}),
        "fluid.lower.node: 'ground' is not a node of the circuit",
    ),
    "no node": (
        tables(TANK, LINE, HEART, fluid=FLUID | {"lower": {"kind": "circuit"}}),
        "fluid.lower.node: is missing: name a node of the circuit",
    ),
    "unconnected": (tables(TANK, LINE, HEART, fluid=FLUID), "circuit: is at no end of the fluid"),
    "lumen and fluid": (
        tables(*BASE, fluid=FLUID | {"upper": {"kind": "circuit", "node": "in"}}),
        "circuit.elements[part].kind: 'lumen' cannot be combined with [fluid]",
    ),
    "closed end": (
        tables(fluid=FLUID | {"upper": {"kind": "closed", "pressure": "1 kPa"}}),
        "fluid.upper.pressure: does not belong to kind = 'closed'",
    ),
    "node of a reservoir": (
        tables(fluid=FLUID | {"upper": {"node": "in"}}),
        "fluid.upper.node: does not belong",
    ),
    "kind of end": (
        tables(fluid=FLUID | {"upper": {"kind": "open"}}),
        "fluid.upper.kind: 'open' is not allowed",
    ),
    "unit at an end": (tables(fluid=FLUID | RESERVOIR), "fluid.upper.values: '2 mm' is in"),
    "times at an end": (
        tables(fluid=FLUID | {"upper": {"values": ["1 kPa", "2 kPa", "1 kPa"]}}),
        "fluid.upper.values: has 3 entries for 0 times",
    ),
    "shut shape": (
        tables(**CLOSED_BALLOON, fluid=FLUID | {"lower": {"kind": "closed"}}),
        "fluid.upper.kind: the lumen of this shape is closed there",
    ),
    "no viscosity": (tables(fluid=changed(FLUID, viscosity=None)), "fluid.viscosity: missing"),
    "viscosity": (tables(fluid=FLUID | {"viscosity": "0 Pa s"}), "fluid.viscosity: '0 Pa s' is out of range"),
    "index": (tables(fluid=FLUID | {"index": 0}), "fluid.index: must be above 0, got 0"),
    "no sections": (
        tables(fluid=FLUID | {"sections": 0}),
        "fluid.sections: must be a whole number of at least 1",
    ),
    "sections": (
        tables(fluid=FLUID | {"sections": 11}),
        "fluid.sections: 11 are more than the 10 elements along the lumen",
    ),
    "gap": (
        tables(fluid=FLUID | {"gap": "4 mm"}),
        "fluid.gap: must be below the radius of the lumen, 4 mm, got 4 mm",
    ),
    "obstacle": (
        tables(fluid=FLUID, contacts=[ROD | {"kind": "cone", "height": "0 mm", "angle": "5 deg"}]),
        "fluid: flows around a cylinder on the axis, but 'rod' is none that the lumen surrounds",
    ),
    "cylinder around": (
        tables(fluid=FLUID, contacts=[ROD | {"part_is": "inside"}]),
        "fluid: flows around a cylinder on the axis, but 'rod' is none that the lumen surrounds",
    ),
    "plate beside a cylinder": (
        tables(
            fluid=FLUID,
            contacts=[ROD],
            supports=[{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "plate"}],
        ),
        "fluid: flows around 'rod' between ends that keep their place, but 'end_high' moves",
    ),
    "free end": (
        tables(
            *BASE, supports=[{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "free"}]
        ),
        "circuit: needs ends of the lumen that do not move freely along the axis, but 'end_high' does",
    ),
    "no lumen": (
        tables(
            *BASE,
            shape=CORE,
            parts=[*TABLES["parts"], {"region": "core", "material": "rubber"}],
            stages=[PUMP],
        ),
        "circuit: this shape has no lumen: leave it out",
    ),
    "initial of no node": (
        tables(*BASE, initial={"aorta": "80 mmHg"}),
        "circuit.initial.aorta: is not a node of the circuit; nodes: in, tank",
    ),
    "initial of a source": (
        tables(*BASE, initial={"tank": "80 mmHg"}),
        "circuit.initial.tank: has no compliance or chamber",
    ),
    "initial of the lumen": (
        tables(*BASE, HEART, initial={"in": "80 mmHg"}),
        "circuit.initial.in: is the node of the lumen, which starts at the pressure of the stage before",
    ),
    "unit of an initial pressure": (
        tables(*BASE, initial={"in": "80 mL"}),
        "circuit.initial.in: '80 mL' is in milliliter",
    ),
    "unknown feed": (
        tables(feeds=[FEED | {"on": ["low", "hgh"]}]),
        "feeds[#1].on: 'hgh' is not an electrode (did you mean 'high'?)",
    ),
    "fed twice": (
        tables(feeds=[FEED, FEED | {"on": ["high", "low"]}]),
        "feeds[#2].on: 'low' is fed twice: leave one feed out",
    ),
    "feed of nothing": (tables(feeds=[FEED | {"on": []}]), "feeds[#1].on: needs at least 1 entry, got 0"),
    "feed without resistance": (tables(feeds=[{"on": "low"}]), "feeds[#1].resistance: missing"),
    "conductivity": (
        tables(feeds=[FEED], materials={"rubber": RUBBER | {"conductivity": "0 S/m"}}),
        "materials.rubber.conductivity: '0 S/m' is out of range; it must be a conductivity above 0",
    ),
    "no duration": (
        tables(*BASE, stages=[FILL, {"name": "pump", "control": "flow", "voltage": {"low": "1 kV"}}]),
        "stages[pump].duration: is missing: a flow takes time",
    ),
    "pressure": (
        tables(*BASE, **stages(pressure="1 kPa")),
        "stages[pump].pressure: the pressure in the lumen is found: leave it out",
    ),
    "pressure wave": (
        tables(
            *BASE,
            **stages(
                waves=[
                    {"load": "pressure", "form": "sine", "amplitude": "1 kPa", "period": "1 s", "cycles": 1}
                ]
            ),
        ),
        "stages[pump].pressure: the pressure in the lumen is found: leave it out",
    ),
    "load after": (
        tables(*BASE, **stages(FILL | {"name": "more"})),
        "stages[more].control: 'load' follows a stage with control = 'flow': put it before that stage",
    ),
    "no tables": (tables(), "stages[pump].control: 'flow' needs a circuit, a fluid or feeds"),
    "no stage": (
        tables(*BASE, stages=[FILL]),
        "stages: the circuit, the fluid or the feeds answer in no stage",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_of_flows_are_named(fault):
    assert_refused(*FAULTS[fault])


def assert_refused(case, says):
    """One sentence, which begins as it should."""
    with pytest.raises(InputError) as error:
        case_from_tables(case)
    _, *sentences = str(error.value).splitlines()
    assert len(sentences) == 1
    assert sentences[0].strip().startswith(says)


def test_a_fault_ends_with_code_2_and_writes_nothing(annelid, tmp_path):
    (tmp_path / "case.toml").write_text(tomli_w.dumps(tables(*line(to="tank"))))
    for command in ("check", "run"):
        done = annelid(command, "case.toml")
        assert done.returncode == 2
        assert "circuit.elements[line].to: is 'tank', and so is the start" in done.stderr
        assert "Traceback" not in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["case.toml"]
