# SPDX-License-Identifier: MIT
"""The library cases with a fluid or a circuit, on coarse meshes."""

import numpy as np
import pytest

from annelid.cases.convert.waves import duration_of
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import library_cases, read_case
from annelid.cases.validate.resolved import coarsened
from annelid.results.folder.run_record import open_run
from annelid.results.report.report import write_report

MMHG = 133.322387415e-6  # MPa, BIPM SI brochure


def coarse_run(name, folder, *, steps, cycles, amplitude=None):
    """Run a case with elements of three times the size, and other steps, cycles and voltage; its record."""
    case = coarsened(read_case(library_cases()[name]), 3)
    change = {"cycles": cycles} | ({} if amplitude is None else {"amplitude": amplitude})
    waves = tuple(wave.model_copy(update=change) for wave in case.stages[-1].waves)
    update = {"steps_per_period": steps, "waves": waves, "duration": None}
    last = case.stages[-1].model_copy(update=update)
    last = last.model_copy(update={"duration": duration_of(last)})
    result = run_case(case.model_copy(update={"stages": (*case.stages[:-1], last)}), folder)
    assert result.outcome.kind == "reached", result.outcome.text
    return open_run(folder)


def of_path(run, name):
    entries = run.summary["path_quantities"]
    return next(value for key, value in entries.items() if key.startswith(f"{name} ["))


def mean_flow_of_the_wall(run, rows, period):
    """Mean flow through the upper end over a cycle, from the motion of the wall alone.

    Viscous flow relative to a wall that moves as the run says, without a difference of pressure between the
    ends: q(z) = q(0) - d/dt V(0..z) and ∫ q/r⁴ dz = 0 (Li and Brasseur, J. Fluid Mech. 248, 129, 1993, from
    memory). The volumes are those between material sections, as the radii of the profiles are.
    """
    profiles = [run.profiles(int(run.table["state"][row]))["inner"] for row in rows]
    r, z = (np.array([getattr(p, name) for p in profiles]) for name in ("radius", "current_height"))
    area = np.pi * r**2
    below = np.cumsum((area[:, 1:] + area[:, :-1]) / 2 * np.diff(z), axis=1)
    rate = np.gradient(below, run.table["time"][rows], axis=0)
    weight = np.diff(z) / ((r[:, 1:] + r[:, :-1]) / 2) ** 4
    inflow = (rate * weight).sum(axis=1) / weight.sum(axis=1)
    outflow = inflow - rate[:, -1]
    return np.trapezoid(outflow, run.table["time"][rows]) / period


@pytest.mark.long
@pytest.mark.reference
def test_eight_rings_move_a_fluid_as_their_wall_does(tmp_path):
    run = coarse_run("oesophagus_wave", tmp_path / "run", steps=40, cycles=4)
    table, period = run.table, 2.0
    window = run.description.cycles[0]
    end = window.start + window.cycles * period
    rows = np.flatnonzero((table["time"] > end - period - 1e-6) & (table["time"] < end + 1e-6))
    mean = of_path(run, "mean flow")
    assert mean > 20.0  # mm³/s, towards the stomach
    assert mean == pytest.approx(mean_flow_of_the_wall(run, rows, period), rel=0.1)
    assert of_path(run, "wave speed") == pytest.approx(40.0, rel=0.03)  # rings of 20 mm, 0.5 s apart
    assert of_path(run, "energy balance") < 0.03
    begun, volume = table.stages.index("wave"), table["lumen volume"]
    left = table["volume out of the lower end"] + table["volume out of the upper end"]
    assert left[begun:] + volume[begun:] == pytest.approx(volume[begun - 1], rel=1e-8)


@pytest.mark.long
def test_boluses_around_an_endoscope_go_against_a_pressure(tmp_path):
    run = coarse_run("oesophagus_pump", tmp_path / "run", steps=32, cycles=4)
    table = run.table
    assert of_path(run, "mean flow") > 40.0  # mm³/s, into the stomach
    out = table["volume out of the upper end"]
    assert table["work at the upper end"] == pytest.approx(5e-3 * out, rel=1e-6, abs=1e-6)
    assert 0 < of_path(run, "efficiency") < 0.5
    assert of_path(run, "wave speed") == pytest.approx(20.0, rel=0.03)  # rings of 20 mm, 1 s apart
    begun, volume = table.stages.index("wave"), table["lumen volume"]
    left = table["volume out of the lower end"] + out
    assert left[begun:] + volume[begun:] == pytest.approx(volume[begun - 1], rel=1e-8)


@pytest.mark.long
@pytest.mark.slow
def test_a_bulge_in_the_intestine_carries_fluid(tmp_path):
    run = coarse_run("intestinal_sleeve", tmp_path / "run", steps=40, cycles=2)
    assert of_path(run, "wave speed") == pytest.approx(30.0, rel=0.03)  # rings of 15 mm, 0.5 s apart
    # What a bulge takes along is at most its own volume.
    assert 0.3 < of_path(run, "pumped volume") / of_path(run, "peristaltic wave volume") < 1
    assert 0 < of_path(run, "carried bolus") < of_path(run, "peristaltic wave volume")
    along = run.flow_history()[run.summary["states"] - 1]
    assert np.sum(np.pi * along.radius**2 * along.length) == pytest.approx(
        run.table["lumen volume"][-1], rel=1e-9
    )
    assert along.pressure.max() == run.table["highest lumen pressure"][-1]
    assert "pressure in the lumen" in write_report(run.path, with_pictures=False).read_text()
    assert not [text for text in run.outcome.remarks if "does not hold" in text]
    assert np.nanmax(run.table["Reynolds number"]) < 1


@pytest.mark.long
@pytest.mark.slow
def test_the_pump_works_against_the_beat_of_the_heart(tmp_path):
    """Counterpulsation lowers the pressure in systole and raises it in diastole, by its very meaning."""
    beats = {}
    for voltage in ("0 kV", "2.2 kV"):
        run = coarse_run("counterpulsation_pump", tmp_path / voltage, steps=48, cycles=3, amplitude=voltage)
        rows = run.table["time"] > 1.5 - 1e-6
        beats[voltage] = {name: column[rows] for name, column in run.table.columns.items()}
    off, on = beats["0 kV"], beats["2.2 kV"]
    ejects = off["flow through aortic_valve"] > 1000.0
    aorta = "pressure at aorta"
    assert 100 * MMHG < off[aorta].max() < 140 * MMHG  # of an adult at rest, from memory
    assert 55 * MMHG < off[aorta].min() < 90 * MMHG
    assert on["pressure at ventricle"].max() < off["pressure at ventricle"].max() - 3 * MMHG
    fills = ~ejects & (off["time"] % 0.75 > 0.35)
    assert on[aorta][fills].mean() > off[aorta][fills].mean()
    # The loop of the tube goes round against that of a passive one: the wall works on the blood.
    work = -np.trapezoid(on["lumen pressure"], on["lumen volume"])
    gained = on["work on the fluid"][-1] - on["work on the fluid"][0]
    assert gained == pytest.approx(work, rel=0.05)
    assert gained > 5.0  # mJ
    passive = off["work on the fluid"] + off["strain energy"]
    assert passive[-1] == pytest.approx(passive[0], abs=0.05)  # without a voltage it only stores
