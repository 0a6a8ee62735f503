# SPDX-License-Identifier: MIT
"""Energies of a snap, against a double well known in closed form.

Own derivation: U(V) = V² (V - 2)² / 4 + t V⁴ has the pressure P = dU/dV and, for t = 0, unloaded states at
V = 0, 1, 2 with U = 0, 1/4, 0; the tilt t moves them and separates the energies of the stable ones.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.polynomial import Polynomial
from synthetic_paths import DESCRIPTION, OUTCOME, states
from synthetic_runs import create

from annelid.results.folder.energies import energies_of
from annelid.results.folder.run_record import open_run
from annelid.results.report.stability import stability
from annelid.solver.records import Measure

WELL = Polynomial([0, 0, 1, -1, 0.25]) + Polynomial([0, 0, 0, 0, 0.01])  # mJ over mm³
PRESSURE = WELL.deriv()
STEP = 2e-3  # of states a twentieth apart, read by rules of second order


def well_run(folder, tube, volumes, *, voltage=0.0, jump=(), energy=WELL, on=""):
    """A run along the well; limit points where the slope of the pressure changes its sign."""
    slope = PRESSURE.deriv()
    turns = sorted(np.real(slope.roots()))
    every = sorted({*volumes, *turns}) if not jump else list(volumes)
    rows = [
        (
            "go",
            i / len(every),
            1.0 + 0.01 * i,
            0.0,
            int(slope(V - 1e-6) < 0),
            0,
            "limit point" if V in turns else "",
        )
        for i, V in enumerate(every)
    ]
    with create(folder, tube, description=DESCRIPTION) as run:
        for V, state in zip(every, states(tube, rows), strict=True):
            pressed, displaced = ("pressure on " + on, " at " + on) if on else ("pressure", "")
            loads = {pressed: Measure(float(PRESSURE(V)), "MPa"), "voltage a": Measure(voltage, "kV")}
            more = {
                f"displaced volume{displaced}": Measure(float(V), "mm3"),
                "strain energy": Measure(float(energy(V)), "mJ"),
            }
            how = "jump" if V in jump else ""
            run.append(replace(state, loads=loads, quantities={**state.quantities, **more}, reached_by=how))
        run.finish(OUTCOME)
    return open_run(folder)


def unloaded():
    return sorted(np.real(PRESSURE.roots()))


@pytest.mark.exact
@pytest.mark.parametrize("surface", ["", "outer"])
def test_energies_of_a_double_well(tmp_path, tube, surface):
    run = well_run(tmp_path / "run", tube, np.linspace(-0.6, 2.6, 65), on=surface)
    energies = energies_of(run.table)
    zeros = unloaded()
    states = energies.unloaded_states
    assert [state.conjugate for state in states] == pytest.approx(zeros, abs=5e-3)
    assert [state.modes for state in states] == [0, 1, 0]
    assert [state.energy for state in states] == pytest.approx(WELL(np.array(zeros)), abs=STEP * 0.25)
    assert energies.barrier(states[0], states[2]) == states[1]
    assert energies.disagreement < STEP
    # From the maximum of the pressure to the other branch at the same pressure, and back from the minimum.
    top, bottom = sorted(np.real(PRESSURE.deriv().roots()))
    for snap, turn, side in zip(energies.snaps, (top, bottom), (max, min), strict=True):
        P = float(PRESSURE(turn))
        end = side(np.real((PRESSURE - P).roots()))
        released = P * (end - turn) - (WELL(end) - WELL(turn))
        assert snap.load == pytest.approx(P, rel=1e-12)
        assert snap.released == pytest.approx(released, rel=1e-2)


@pytest.mark.exact
def test_energies_are_in_the_report_and_in_the_summary(tmp_path, tube):
    run = well_run(tmp_path / "run", tube, np.linspace(-0.6, 2.6, 65))
    assert len(run.summary["energies"]["unloaded_states"]) == 3
    (stored,) = run.summary["energies"]["stored between stable states [mJ]"]
    assert stored == pytest.approx(WELL(unloaded()[2]) - WELL(unloaded()[0]), abs=STEP * 0.25)
    text = " ".join(stability(run)["paragraphs"])
    assert "Without load the part is stable in 2 states of this path." in text
    assert "The energy barrier between them" in text
    assert text.count("The snap releases") == 2


def test_no_energies_if_other_loads_did_work(tmp_path, tube):
    volumes = np.linspace(0.0, 2.6, 53)
    assert energies_of(well_run(tmp_path / "a", tube, volumes, voltage=1.0).table) is None
    assert energies_of(well_run(tmp_path / "c", tube, volumes, voltage=1.0, on="outer").table) is None
    assert energies_of(well_run(tmp_path / "b", tube, volumes, energy=2 * WELL).table) is None
    assert "energies" not in open_run(tmp_path / "b").summary


def test_energy_released_in_a_jump_is_not_a_disagreement(tmp_path, tube):
    volumes = [*np.linspace(0.0, 0.42, 22), *np.linspace(2.2, 2.6, 22)]
    run = well_run(tmp_path / "run", tube, volumes, jump=(volumes[22],))
    assert energies_of(run.table).disagreement < STEP
