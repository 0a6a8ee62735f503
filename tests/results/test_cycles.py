# SPDX-License-Identifier: MIT
"""Values of a cycle against prescribed travelling walls, r = a (1 + φ sin 2π(z/λ - t/T))."""

from dataclasses import replace

import numpy as np
import pytest

from annelid.results.folder.cycles import cycle_measures
from annelid.results.folder.run_records import CycleWindow
from annelid.results.folder.tables import read_path
from annelid.results.folder.travelling import wave_speed, wave_volume
from annelid.solver.display import DisplayUnits
from annelid.solver.records import Profile

PERIOD, LENGTH = 2.0, 30.0
Z = np.linspace(0, 45, 46)


def wall(t, *, phi=0.2, sense=1.0):
    r = 4.0 * (1 + phi * np.sin(2 * np.pi * (sense * Z / LENGTH - t / PERIOD)))
    return Profile(Z, np.full_like(Z, 4.0), r, Z)


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_speed_of_a_travelling_wall(sense):
    times = np.sort(np.append(np.linspace(3, 5, 33), [3.1, 4.01]))  # corners stand between the equal steps
    speed = wave_speed(times, [wall(t, sense=sense) for t in times])
    assert speed == pytest.approx(sense * LENGTH / PERIOD, rel=2e-3)


def test_what_stands_still_does_not_travel():
    times = np.linspace(0, 2, 17)
    standing = [Profile(Z, Z, 4 + np.sin(np.pi * t) * np.sin(np.pi * Z / 45), Z) for t in times]
    assert np.isnan(wave_speed(times, standing))


@pytest.fixture
def table(tmp_path):
    """Two cycles after a start of 1 s; the volume drifts by 1 mm³ a cycle."""
    times = np.linspace(0, 5, 41)
    columns = ["parameter [1]", "iterations [1]", "unstable modes [1]", "unstable modes under control [1]"]
    columns += ["time [s]", "lumen volume [mm3]", "smallest open area [mm2]", "wave volume [mm3]"]
    rows = [",".join(["state", "stage", *columns])]
    for n, t in enumerate(times):
        phase = np.sin(2 * np.pi * t / PERIOD)
        rows.append(f"{n},swallow,{t / 5},0,0,0,{t},{100 + 10 * phase + t / PERIOD},{5 - phase},{20 + phase}")
    path = tmp_path / "path.csv"
    path.write_text("\n".join(rows) + "\n")
    return read_path(path, DisplayUnits())


def test_values_of_the_last_cycle(table):
    window = CycleWindow("swallow", PERIOD, 1.0, 5.0)
    assert window.cycles == 2
    lumens = [wall(t) for t in table["time"]]
    values = {name: m.value for name, m in cycle_measures(table, lumens, [window]).items()}
    assert values["stroke volume"] == pytest.approx(20, abs=0.6)
    assert values["difference of cycles"] == pytest.approx(1 / values["stroke volume"], rel=1e-6)
    assert values["residual lumen"] == pytest.approx(4.0)
    assert values["peristaltic wave volume"] == pytest.approx(
        np.pi * 4**2 * LENGTH * (2 * 0.2 - 0.2**2 / 2), 1e-4
    )
    assert values["wave speed"] == pytest.approx(15, rel=5e-3)


def test_a_wave_longer_than_the_lumen_has_the_volume_of_its_largest_state(table):
    lumens = [replace(wall(t), current_height=Z / 2) for t in table["time"]]
    lumens = [replace(lumen, radius=np.interp(Z / 2, Z, lumen.radius)) for lumen in lumens]
    values = cycle_measures(table, lumens, [CycleWindow("swallow", PERIOD, 1.0, 5.0)])
    assert values["peristaltic wave volume"].value == pytest.approx(21.0)


@pytest.mark.exact
@pytest.mark.parametrize("steps", [7, 16, 61])
def test_rings_that_hand_over_their_volume_have_one_wave_volume(steps):
    """Ring i opens by b cos² π(t/T - i/4) over half a period, so that neighbours give b together; by hand.

    The lumen is shut on a cylinder where no ring is open, also between two rings that are.
    """
    c, b, pitch, width, wavelength = 5.0, 30.0, 20.0, 16.0, 80.0
    z = np.arange(0, 170.1, 0.5)
    lumens = []
    for t in np.linspace(0, 1, steps):
        area = np.full_like(z, np.pi * c**2)
        for i in range(8):
            phase = (t - i / 4 + 0.5) % 1 - 0.5
            opened = b * np.cos(np.pi * 2 * phase) ** 2 if abs(phase) < 0.25 else 0.0
            ring = 1 - np.abs(z - 15 - pitch * i) / (width / 2)
            area += opened * np.maximum(ring, 0.0)
        lumens.append(Profile(z, z, np.sqrt(area / np.pi), z))
    assert wave_volume(lumens, wavelength) == pytest.approx(b * width / 2, rel=2e-3)
    assert wave_volume(lumens, 1.02 * wavelength) == pytest.approx(b * width / 2, rel=5e-3)


def test_one_cycle_has_nothing_to_repeat(table):
    values = cycle_measures(table, [], [CycleWindow("swallow", PERIOD, 2.5, 5.0)])
    assert np.isnan(values["difference of cycles"].value)
    assert np.isnan(values["wave speed"].value)
    assert values["stroke volume"].unit == "mm3"


@pytest.mark.parametrize(("late", "planned"), [(0.0, 1.0), (-2.0, 3.0)])
def test_the_cycles_of_a_stage_that_ended_early_are_those_of_the_path(table, late, planned):
    # The stage started at 0 s, which is earlier than planned if one before it ended early, and ended at 5 s.
    window = CycleWindow("swallow", PERIOD, planned, planned + 10 * PERIOD, -late)
    values = {name: m.value for name, m in cycle_measures(table, [], [window]).items()}
    expected = cycle_measures(table, [], [CycleWindow("swallow", PERIOD, 1.0, 5.0)])
    assert values == pytest.approx({name: m.value for name, m in expected.items()}, nan_ok=True)
    assert values["stroke volume"] > 19


def test_a_path_that_ends_before_has_no_values(table):
    values = cycle_measures(table, [], [CycleWindow("swallow", PERIOD, 4.0, 8.0)])
    assert values
    assert all(np.isnan(m.value) for m in values.values())
    assert cycle_measures(table, [], [CycleWindow("swallow", PERIOD, 4.0, 5.0)]) == {}
