# SPDX-License-Identifier: MIT
"""Values of a cycle of a pump against closed forms; the paths are in ``pump_paths``."""

import numpy as np
import pytest
from pump_paths import (
    FLOW,
    LEAK,
    PRESSURE,
    PUT_IN,
    RESISTIVE,
    SWING,
    VISCOUS,
    VOLUME,
    WINDOW,
    WORK,
    T,
    pump,
    ω,
)

from annelid.results.folder.cycles import cycle_measures, cycle_rows
from annelid.results.folder.pump_cycle import cycle_energies


def values(table, window=WINDOW):
    return {name: m.value for name, m in cycle_measures(table, [], [window]).items()}


def test_a_cycle_has_both_ends_also_if_it_begins_with_its_stage():
    table = pump()
    for before, first in ((1, 96), (2, 48), (3, 0)):
        assert cycle_rows(table, WINDOW, before).tolist() == list(range(first, first + 49))
    later = WINDOW._replace(start=T / 4, end=2.5 * T)  # two whole cycles
    assert cycle_rows(table, later).tolist() == list(range(60, 109))


@pytest.mark.exact
def test_volumes_and_work_of_a_circuit():
    found = values(pump())
    assert found["stroke volume"] == pytest.approx(2 * VOLUME[1], rel=1e-12)
    assert found["stroke work"] == pytest.approx(np.pi * PRESSURE[1] * VOLUME[1], rel=1e-12)
    assert found["hydraulic work"] == found["stroke work"]
    assert found["pumped volume through outlet"] == pytest.approx(FLOW * T, rel=1e-12)
    assert found["pumped volume through inlet"] == pytest.approx(FLOW * T / 2, rel=1e-12)
    assert found["mean flow through outlet"] == pytest.approx(FLOW, rel=1e-12)
    assert not {"pumped volume", "mean flow", "viscous loss a cycle", "resistive loss a cycle"} & set(found)


@pytest.mark.exact
def test_volumes_and_losses_of_a_flow_along_the_lumen():
    found = values(pump(channel=True))
    assert found["pumped volume"] == pytest.approx(FLOW * T, rel=1e-12)
    assert found["mean flow"] == pytest.approx(FLOW, rel=1e-12)
    assert found["viscous loss a cycle"] == pytest.approx(VISCOUS)
    assert found["hydraulic work"] == pytest.approx(WORK - VISCOUS)
    assert found["efficiency"] == pytest.approx((WORK - VISCOUS) / PUT_IN)
    assert not [name for name in found if name.startswith(("pumped volume through", "mean flow through"))]


@pytest.mark.exact
def test_energy_that_flows_back():
    """The power e/T + E ω cos ωt is negative between ωt = θ and 2π - θ, where cos θ = -e/(E ω T)."""
    θ = np.arccos(-PUT_IN / (SWING * ω * T))
    back = -(PUT_IN * (2 * np.pi - 2 * θ) / (ω * T) - 2 * SWING * np.sin(θ))
    found = values(pump(steps=480))
    assert 5 < back < 2 * SWING
    assert found["energy recovered a cycle"] == pytest.approx(back, rel=3e-5)  # the turn is between states
    assert found["electrical energy a cycle"] == pytest.approx(PUT_IN)


@pytest.mark.parametrize("fed", [0, 1, 2])
def test_electrical_energy_is_that_of_all_sources(fed):
    """With feeds the sources also give what resistances and leaks take, and the balance stays closed."""
    table = pump(fed=fed)
    found = values(table)
    expected = PUT_IN + (RESISTIVE + LEAK if fed else 0.0)
    assert found["electrical energy a cycle"] == pytest.approx(expected)
    assert found["efficiency"] == pytest.approx(WORK / expected)
    assert found["energy balance"] == pytest.approx(0.0, abs=1e-12)
    assert cycle_energies(table, cycle_rows(table, WINDOW)).rest == pytest.approx(0.0, abs=1e-12)
    assert ("resistive loss a cycle" in found) == bool(fed)
    if fed:
        assert found["resistive loss a cycle"] == pytest.approx(RESISTIVE)
        assert found["leak loss a cycle"] == pytest.approx(LEAK)


def test_the_source_of_a_part_that_is_fed_alone_shows_in_its_balance():
    table = pump(fed=2)
    table.columns["energy of the sources"][-1] += 0.1
    found = values(table)
    total = PUT_IN + RESISTIVE + LEAK + 0.1
    assert found["electrical energy a cycle"] == pytest.approx(total)
    assert found["energy balance"] == pytest.approx(0.1 / total)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_balance_tells_what_is_missing(sign):
    missing = sign * 0.3
    found = values(pump(unaccounted=missing))
    assert found["energy balance"] == pytest.approx(0.3 / (PUT_IN + missing))
    assert found["efficiency"] == pytest.approx(WORK / (PUT_IN + missing))


def test_a_part_that_gives_energy_back_has_no_efficiency():
    assert np.isnan(values(pump(unaccounted=-PUT_IN - 1.0))["efficiency"])


def test_what_is_stored_is_no_loss():
    table = pump()
    table.columns["strain energy"][-1] += 0.2
    table.columns["stored electrical energy"][-1] += 0.1
    table.columns["electrical energy put in"][-1] += 0.3
    assert cycle_energies(table, cycle_rows(table, WINDOW)).stored == pytest.approx(0.3)
    assert values(table)["energy balance"] == pytest.approx(0.0, abs=1e-12)


def test_a_path_that_ends_before_has_no_values():
    found = values(pump(), WINDOW._replace(start=10 * T, end=12 * T))
    assert {"stroke work", "efficiency", "energy balance", "mean flow through outlet"} <= set(found)
    assert all(np.isnan(value) for value in found.values())


def test_units():
    units = {name: m.unit for name, m in cycle_measures(pump(channel=True, fed=1), [], [WINDOW]).items()}
    assert units["stroke work"] == units["leak loss a cycle"] == "mJ"
    assert (units["mean flow"], units["pumped volume"], units["efficiency"]) == ("mm3/s", "mm3", "1")
    circuit = {name: m.unit for name, m in cycle_measures(pump(), [], [WINDOW]).items()}
    assert circuit["mean flow through outlet"] == "mm3/s"
