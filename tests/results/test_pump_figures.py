# SPDX-License-Identifier: MIT
"""Figures and text on the last cycle of a pump; the paths are in ``pump_paths``."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from pump_paths import PUT_IN, WINDOW, WORK, T, pump

from annelid.results.figures.energy_bar import energy_bar, energy_parts
from annelid.results.figures.flow_curves import chosen_curves, flow_curves
from annelid.results.figures.pressure_volume import pressure_volume_loop
from annelid.results.folder.cycles import cycle_measures, cycle_rows
from annelid.results.folder.pump_cycle import CycleEnergies, cycle_energies
from annelid.results.folder.run_records import CaseDescription
from annelid.results.report.cycle_section import cycle_section, path_values
from annelid.solver.display import DisplayUnits

UNITS = DisplayUnits()


def words(figure):
    tree = ElementTree.fromstring(figure.svg)
    texts = ("".join(node.itertext()) for node in tree.iter("{http://www.w3.org/2000/svg}text"))
    return [text.replace("\xa0", " ").strip() for text in texts]


def loop_of(table, *, work=WORK, with_before=True):
    rows = cycle_rows(table, WINDOW)
    before = cycle_rows(table, WINDOW, 2) if with_before else rows[:0]
    return pressure_volume_loop(table, rows, before, work=work, name="loop")


def test_the_loop_states_its_area_and_the_cycle_before():
    figure = loop_of(pump(drift=50.0))
    assert {"start of the cycle", "lumen pressure [kPa]", "lumen volume [mL]"} <= set(words(figure))
    assert "pressure-volume loop, area 3.77 mJ" in words(figure)
    assert "that the wall does on the fluid. The thin line is the cycle before." in figure.caption
    assert "thin line" not in loop_of(pump(), with_before=False).caption
    assert "3.77 mJ is the work that the fluid does on the wall." in loop_of(
        pump(), work=-WORK, with_before=False
    ).caption.replace("\xa0", " ")


def arrow_heads(figure):
    """Tips of the arrows, as directions from the middle of the back edge, in the units of the SVG."""
    heads = re.findall(r'<path d="([^"]*)"[^>]*style="fill: var\(--accent\)[^"]*stroke-linecap', figure.svg)
    corners = [np.array(re.findall(r"-?[\d.]+", head), dtype=float).reshape(-1, 2)[:3] for head in heads]
    return [(c[1], c[1] - (c[0] + c[2]) / 2) for c in corners if len(c) == 3]


@pytest.mark.parametrize("sense", [1, -1])
def test_arrows_show_the_sense_of_the_loop(sense):
    """A pump runs through its loop against the clock, with the pressure up and the volume to the right."""
    table = pump()
    if sense < 0:
        table.columns["lumen volume"][:] = 1e4 - table["lumen volume"]
    heads = arrow_heads(loop_of(table))
    assert len(heads) == 3
    middle = np.mean([tip for tip, _ in heads], axis=0)
    turns = [np.cross(np.append(tip - middle, 0), np.append(along, 0))[2] for tip, along in heads]
    assert all(sense * turn < 0 for turn in turns)  # y of an SVG points down


def test_at_most_three_flows_and_three_pressures():
    table, rows = pump(), np.arange(97, 145)
    more = {f"flow through side_{i}": (i + 1) * table["flow through outlet"] ** 2 for i in range(5)}
    more |= {"flow through twin": -4.999 * table["flow through outlet"] ** 2}
    columns = dict(table.columns) | more
    crowded = replace(table, columns=columns, quantities=(*table.quantities, *more))
    names = [name for name in crowded.quantities if name.startswith("flow through")]
    chosen = chosen_curves(crowded, rows, [], names)
    assert chosen == [f"flow through side_{i}" for i in (4, 3, 2)]  # the twin is the reverse of side_4
    assert chosen_curves(crowded, rows, ["flow through inlet"], names)[0] == "flow through inlet"
    constant = replace(table, columns=columns | {"flow through still": np.full(len(table), 7.0)})
    assert chosen_curves(constant, rows, [], ["flow through still", "flow through outlet"]) == [
        "flow through outlet"
    ]


def test_curves_have_their_names_beside_them():
    figure = flow_curves(pump(), cycle_rows(pump(), WINDOW), name="cycle")
    assert {"outlet", "inlet", "aorta", "lumen", "flow [mL/s]", "pressure [kPa]"} <= set(words(figure))
    assert words(figure).count("lumen") == 1  # the node of the lumen has its pressure
    along = pump(channel=True)
    figure = flow_curves(along, cycle_rows(along, WINDOW), name="cycle")
    assert {"out of the upper end", "highest in the lumen", "lowest in the lumen"} <= set(words(figure))
    assert "out of the lower end" not in words(figure)  # it is the reverse


def test_flows_are_drawn_from_where_they_begin():
    table = pump()
    table.columns["flow through outlet"][0] = np.nan  # the state before the first step in time
    figure = flow_curves(table, cycle_rows(table, WINDOW, 3), name="cycle")
    assert "outlet" in words(figure)
    bare = replace(table, quantities=("lumen pressure",))
    assert flow_curves(bare, cycle_rows(bare, WINDOW), name="cycle") is None


def test_the_bar_adds_up():
    table = pump(channel=True, fed=1, unaccounted=0.3)
    energies = cycle_energies(table, cycle_rows(table, WINDOW))
    parts = energy_parts(energies)
    assert sum(parts.values()) == pytest.approx(energies.electrical)
    assert parts["rest"] == pytest.approx(0.3)
    figure = energy_bar(energies, units=UNITS, name="bar")
    assert "viscous loss 0.4 mJ (7.7 %)" in words(figure)
    assert "rest 0.3 mJ (5.7 %)" in words(figure)
    assert "5.7 % of it is in no other entry" in figure.caption.replace("\xa0", " ")


def bars(figure):
    """Left and right edge of each bar, in the units of the SVG."""
    paths = re.findall(
        r'<path d="M ([\d.]+) [\d.]+\s+L ([\d.]+) [\d.]+\s+L [^"]*z\s*" clip-path[^>]*style="fill:',
        figure.svg,
    )
    return [(float(left), float(right)) for left, right in paths]


def test_bars_of_energies_given_back_stand_left_of_zero():
    energies = CycleEnergies(
        electrical=4.0,
        recovered=0.0,
        stored=-1.0,
        work=5.0,
        hydraulic=3.0,
        viscous=2.0,
        resistive=0.0,
        leak=0.0,
    )
    whole, work, viscous, stored, _ = bars(energy_bar(energies, units=UNITS, name="bar"))
    unit = (whole[1] - whole[0]) / 4
    assert [(b[1] - b[0]) / unit for b in (work, viscous, stored)] == pytest.approx([3, 2, -1], abs=1e-4)
    assert [b[0] for b in (work, viscous, stored)] == pytest.approx([whole[0], work[1], whole[0]], abs=1e-3)


def run_of(table, **more):
    measures = cycle_measures(table, [], [WINDOW])
    found = {f"{name} [{m.unit}]": m.value for name, m in measures.items()}
    return SimpleNamespace(
        flow_history=dict,
        table=table,
        description=CaseDescription(cycles=(WINDOW,)),
        units=UNITS,
        summary={"path_quantities": found | more},
    )


def said(run):
    return " ".join(cycle_section(run)["paragraphs"]).replace("\xa0", " ")


def test_the_report_tells_what_a_circuit_gets():
    table = pump(fed=1, drift=100.0)
    table.columns["volume through tail"] = table["volume through outlet"] + 1.0
    section = cycle_section(run_of(table))
    assert len(section["figures"]) == 3
    text = said(run_of(table))
    assert "Mean flows of the last cycle: 0.9 mL/s through outlet, 0.45 mL/s through inlet." in text
    assert "The sources give 4.92 mJ a cycle" in text
    assert "The hydraulic work is 3.77 mJ, an efficiency of 77 %." in text
    assert "differs from that of the cycle before by 8 % of the stroke volume" in text
    assert "do not repeat" not in said(run_of(pump(fed=1)))
    assert "Reynolds" not in text
    assert "no second whole cycle" not in text
    alone = run_of(pump(fed=1), **{"difference of cycles [1]": "nan"})
    assert "There is no second whole cycle" in said(alone)


def test_the_report_tells_what_a_flow_along_the_lumen_does():
    table = pump(channel=True)
    section = cycle_section(run_of(table))
    assert len(section["figures"]) == 2  # the lumen has no single pressure, so there is no loop
    text = said(run_of(table))
    assert "In the last cycle 0.45 mL leaves the upper end of the lumen, a mean flow of 0.9 mL/s." in text
    assert "Reynolds number 35, Womersley number 0.8 and wall slope 0.1." in text
    table.columns["volume out of the upper end"][:] *= -1
    assert "0.45 mL enters the upper end of the lumen" in said(run_of(table))


def test_a_pump_that_takes_work_has_no_efficiency():
    text = said(run_of(pump(channel=True, unaccounted=-PUT_IN - 1.0)))
    assert "The hydraulic work is" in text
    assert "efficiency" not in text


def test_a_part_without_flow_or_cycle_has_no_section():
    still = pump()
    columns = {n: v for n, v in still.columns.items() if "energy put in" not in n and "on the fluid" not in n}
    assert cycle_section(run_of(replace(still, columns=columns))) == {"paragraphs": [], "figures": []}
    early = run_of(still)
    early.description = CaseDescription(cycles=(WINDOW._replace(start=10 * T, end=12 * T),))
    assert cycle_section(early) == {"paragraphs": [], "figures": []}


def test_values_of_the_path_are_listed_with_their_units():
    values = dict(path_values(run_of(pump(), **{"wave speed [mm/s]": "nan"})))
    assert values["stroke work"].replace("\xa0", " ") == "3.77 mJ"
    assert "wave speed" not in values
