# SPDX-License-Identifier: MIT
"""Slender columns and thin cylinders in axial compression.

Euler's load N = π² E I/L² of a column whose ends turn freely, or, what is the same, slide without turning
(Timoshenko, Gere, Theory of Elastic Stability, from memory), and the values of an incremental analysis of
neo-Hookean tubes as in ``test_tubes_by_lobes``. A closed form for compressed cylinders is in
``exact.axial_waves``; as they get stubby, barrelling comes before bending (Goriely, Vandiver, Destrade, Proc.
R. Soc. A 464, 3003, 2008, from memory).
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged, turns
from dielectric_cases import grid_body
from exact.axial_waves import critical_stretch
from models import SLIDING, neo_hookean, tube_body, tube_model
from scipy.optimize import brentq

from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part

BIOT = 0.295598 ** (2 / 3)  # axial stretch of a free surface that creases under uniaxial compression (1963)

# R/t of cylinders with mid radius 1 and L = 2R, the element size along them, then m and axial stretch. m = 0
# turns near the classical stress 2 μ t/R (at 1.006 of it for R/t = 50), waves of few lobes turn before it.
THIN = {
    (20, 0.05): [(3, 0.971773), (4, 0.969519), (4, 0.968499), (0, 0.967349)],
    (50, 0.04): [(6, 0.987196), (5, 0.987155), (0, 0.986761)],
    (100, 0.025): [(5, 0.993834), (7, 0.993532)],
}


def shortened(length):
    return lambda strain: {"displacements": {"end_high": -strain * length}}


@pytest.mark.exact
def test_a_slender_column_buckles_at_the_load_of_euler():
    """B/A = 1.5, L/B = 40: 0.17 % below Euler's load by the incremental analysis."""
    B, length = 1.5, 60.0
    inertia, area = np.pi / 4 * (B**4 - 1), np.pi * (B**2 - 1)
    euler = 3 * np.pi**2 * inertia / length**2
    strain = brentq(lambda e: ((1 - e) ** -2 - (1 - e)) * area - euler, 0.0, 0.1)
    judged = Judged(tube_model(tube_body(B, length, along=1.0, through=2), neo_hookean()))
    assert turns(judged, 1, strain, shortened(length), steps=1) == (0, 1)
    assert [judged.count(m) for m in (0, 2, 3)] == [0, 0, 0]
    mode = judged.harmonics.mode(1)
    a, b, _ = mode.amplitude.T
    z = judged.system.problem.model.body.points[:, 1]
    assert a == pytest.approx(-np.cos(np.pi * z / length), abs=0.01)  # it does not turn at its ends
    assert b == pytest.approx(-a, abs=0.01)


@pytest.mark.exact
@pytest.mark.parametrize("case", THIN, ids=str)
def test_a_thin_cylinder_turns_in_the_exact_order(case):
    slenderness, along = case
    judged = thin_cylinder(slenderness, 2.0, along)
    found = {m: 0 for m, _ in THIN[case]}
    for m, stretch in THIN[case]:
        assert turns(judged, m, 1 - stretch, shortened(2.0)) == (found[m], found[m] + 1), m
        found[m] += 1


@pytest.mark.exact
def test_a_long_thin_tube_goes_oval_at_three_fifths_of_the_classical_stress():
    """(m² - 1)/(m² + 1) for thin walls; R/t = 50 and the half wave π/0.286273 R: 0.605155 of 2 μ t/R."""
    length, stress = np.pi / 0.286273, 0.605155 * 2 / 50
    strain = brentq(lambda e: (1 - e) ** -2 - (1 - e) - stress, 0.0, 0.1)
    assert stress / (2 / 50) == pytest.approx(3 / 5, rel=0.01)
    assert turns(thin_cylinder(50, length, 0.2), 2, strain, shortened(length)) == (0, 1)


def stubby(length, cells):
    """A solid cylinder with the radius 1 between sliding planes, with small elements at its surface."""

    def place(q):
        return np.stack([1 - (1 - q[:, 0]) ** 3, length * q[:, 1]], axis=1)

    surfaces = {(0, 1): "outer", (1, 0): "end_low", (1, 1): "end_high"}
    body = grid_body("axisymmetric", cells, place, "core", surfaces, (1.0, 0.0))
    return Judged(Model(body, (Part("core", neo_hookean()),), SLIDING))


@pytest.mark.exact
@pytest.mark.parametrize(("length", "m", "other"), [(2.0, 1, 0), (1.0, 0, 1)])
def test_a_solid_cylinder_bends_or_barrels(length, m, other):
    """A slender one bends first, a stubby one barrels, in several half waves."""
    first = {
        m: max(critical_stretch(m, n * np.pi / length, (0, 1), (1,)) for n in range(1, 7)) for m in (0, 1)
    }
    assert first[m] > first[other]
    judged = stubby(length, (8, 8))
    below, above = turns(judged, m, 1 - first[m], shortened(length), steps=6)
    assert (below, above > 0) == (0, True)
    if first[m] - first[other] > 0.01:
        assert judged.count(other) == 0


@pytest.mark.exact
def test_short_waves_on_a_compressed_surface():
    """Half a wave with k B = 20 long: 0.4 % above the stretch at which a surface creases."""
    exact = critical_stretch(0, 20.0, (0, 1), (1,))
    assert exact == pytest.approx(BIOT, rel=5e-3)
    assert critical_stretch(0, 160.0, (0, 1), (1,)) == pytest.approx(BIOT, rel=1e-3)
    length = np.pi / 20
    judged = stubby(length, (12, 4))
    below, above = turns(judged, 0, 1 - exact, shortened(length), steps=6)
    assert (below, above > 0) == (0, True)


def thin_cylinder(slenderness, length, along):
    """A neo-Hookean cylinder with the mid radius 1."""
    A, B = 1 - 0.5 / slenderness, 1 + 0.5 / slenderness
    return Judged(tube_model(tube_body(B / A, length, A=A, along=along, through=1), neo_hookean()))
