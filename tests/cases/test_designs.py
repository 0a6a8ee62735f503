# SPDX-License-Identifier: MIT
"""What a maker asks of library cases, answered by their runs and by formulas without finite elements."""

import math

import numpy as np
import pytest
from layered_tube import EPS0, Ring, Zone, charged, elastic, gent, inner_radii, neo_hookean
from scipy.optimize import root

from annelid.cases.convert.fabrication import fabrication_plan
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import find_case, library_cases, read_case
from annelid.results.folder.run_record import open_run

MMHG = 133.322387415e-6  # MPa, BIPM SI brochure


def whole_run(name, folder):
    """Return the run of a library case on its own mesh, with every requirement met."""
    result = run_case(read_case(library_cases()[name]), folder / name)
    assert result.outcome.kind == "reached", result.outcome.text
    assert all(verdict.met for verdict in result.verdicts)
    return open_run(folder / name)


@pytest.fixture(scope="module")
def ring_tube(tmp_path_factory):
    return whole_run("peristaltic_tube", tmp_path_factory.mktemp("designs"))


@pytest.fixture(scope="module")
def twisted(tmp_path_factory):
    return whole_run("twisted_sleeve", tmp_path_factory.mktemp("designs"))


def at_end(run, stage, quantity):
    rows = [i for i, name in enumerate(run.table.stages) if name == stage]
    return run.table[quantity][rows[-1]]


PRESSURE = 12 * MMHG
HOT, LENGTH = 8.0, 104.0  # mm, of a ring and of the tube
MOUNTED = 0.055 / (1.15 * 1.1)  # mm, a sheet of constant volume
WALL = elastic(gent(0.04, 60), hoop=1 / 1.15, axial=1 / 1.1)


def ring_zones(voltage):
    """Return the zone under an energised ring and the rest of a long tube with sharp edges between them."""
    inner, outer = 4.0, 4.0 + 5 * MOUNTED
    backing = Ring(outer, outer + 0.04, elastic(neo_hookean(0.02)))
    hot = charged(WALL, permittivity=2.8, field=voltage / MOUNTED)
    return (
        Zone(HOT, [Ring(inner, outer, hot), backing]),
        Zone(LENGTH - HOT, [Ring(inner, outer, WALL), backing]),
    )


def pull_in_of_sharp_rings():
    """Return the largest voltage at which zones with equal pressure and axial force are in equilibrium."""

    def defect(x, a):
        (hot, cold), (_, hot_z, cold_a, cold_z) = ring_zones(x[0]), x
        (hot_p, hot_n), (cold_p, cold_n) = hot.balance(a, hot_z), cold.balance(cold_a, cold_z)
        total = (HOT * hot_z + (LENGTH - HOT) * cold_z) / LENGTH
        return [1e3 * (hot_p - PRESSURE), 1e3 * (cold_p - PRESSURE), hot_n - cold_n, total - 1]

    voltages, x = [], np.array([0.4, 1.0, 4.1, 1.0])
    for a in np.linspace(4.2, 6.0, 37):
        solution = root(defect, x, args=(a,))
        assert solution.success, solution.message
        x = solution.x
        voltages.append(x[0])
    assert 0 < int(np.argmax(voltages)) < len(voltages) - 1
    return max(voltages)


@pytest.mark.reference
def test_an_energised_ring_opens_and_its_neighbour_does_not(ring_tube):
    """Thick-tube integrals of two zones; edges hold the middle of a ring, so it opens less than a long one."""
    rest = inner_radii(ring_zones(0.0), PRESSURE)[0] / 4 - 1
    hot, cold = (a / 4 - 1 for a in inner_radii(ring_zones(0.75), PRESSURE))
    assert at_end(ring_tube, "mount", "radial expansion under_ring_5") == pytest.approx(rest, abs=5e-4)
    for number in (5, 6):
        opened = at_end(ring_tube, f"energise ring {number}", f"radial expansion under_ring_{number}")
        assert 0.85 * hot < opened < hot
    # The neighbour is 6 mm, five lengths sqrt(R t), from the edge, over which the bending of a shell decays.
    assert at_end(ring_tube, "energise ring 5", "radial expansion under_ring_6") == pytest.approx(
        cold, abs=2e-3
    )
    assert at_end(ring_tube, "energise ring 5", "radial expansion under_ring_8") == pytest.approx(
        cold, abs=1e-3
    )
    assert at_end(ring_tube, "energise ring 6", "radial expansion under_ring_5") == pytest.approx(
        cold, abs=2e-3
    )


@pytest.mark.reference
def test_pull_in_limits_the_ring_tube_before_breakdown_and_wrinkling(ring_tube):
    """From below a long ring, and from above a sheet that may only widen: H sqrt(μ/ε)/λz (own derivation)."""
    margin = next(v for v in ring_tube.verdicts if v.quantity == "stability margin voltage")
    assert not margin.is_bound
    pull_in = 0.75 * margin.value
    without_pressure = 0.055 * math.sqrt(0.04 / (2.8 * EPS0)) / 1.1
    longest = pull_in_of_sharp_rings()
    assert longest < pull_in < min(1.15 * longest, without_pressure)
    assert max(ring_tube.table["compressed wall fraction"]) < 0.01
    # The field of a film is V/H λθ λz with the stretches of the sheet as cast.
    stretch = 1.15 * (1 + at_end(ring_tube, "energise ring 6", "radial expansion under_ring_6")) * 1.1
    breakdown = 80 / (0.75 / 0.055 * stretch)
    assert at_end(ring_tube, "energise ring 6", "breakdown margin") == pytest.approx(breakdown, rel=0.03)
    assert breakdown > margin.value


def test_the_ring_tube_does_not_shut(ring_tube):
    """Own reasoning: a filled tube cannot become narrower than its sheets as cast, 8 mm / 1.15."""
    for stage in ("mount", "energise ring 5", "energise ring 6"):
        assert at_end(ring_tube, stage, "smallest lumen diameter") > 8 / 1.15


@pytest.mark.exact
def test_sheets_of_the_ring_tube_are_cast_as_computed_by_hand():
    """The volume of a sheet is constant: t h a thick as cast, 2πr/h around at its middle, and L/a long."""
    plan = fabrication_plan(read_case(find_case("peristaltic_tube")))
    sheets = [sheet for sheet in plan.sheets if sheet.layer == "wall"]
    assert len(sheets) == 5
    for i, sheet in enumerate(sheets):
        assert sheet.thickness == pytest.approx(0.055, rel=1e-9)
        assert sheet.around == pytest.approx(2 * math.pi * (4 + (i + 0.5) * MOUNTED) / 1.15, rel=5e-3)
        assert sheet.along == pytest.approx(LENGTH / 1.1, rel=1e-6)


@pytest.mark.exact
def test_the_twisted_sleeve_turns_as_a_thin_tube(twisted):
    """Bredt's thin tube: T L/(2π r³ t μ) with the mean radius, which the clamp and the pressure hardly change.

    From memory; the mean radius by the exact J/2π of a tube differs by (t/2r)², below 1 %.
    """
    rotation = 4 * 40 / (2 * math.pi * 6.6**3 * 1.2 * 0.15)
    computed = math.radians(at_end(twisted, "turn", "twist end_high"))
    assert computed == pytest.approx(rotation, rel=0.03)
    assert computed > rotation / (1 + (1.2 / 13.2) ** 2)  # a narrower tube is softer
