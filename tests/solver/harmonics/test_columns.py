# SPDX-License-Identifier: MIT
"""Slender columns and thin cylinders in axial compression.

Euler's load N = π² E I/L² of a column whose ends turn freely, or, what is the same, slide without turning
(Timoshenko, Gere, Theory of Elastic Stability, from memory), and the values of an incremental analysis of
neo-Hookean tubes as in ``test_tubes_by_lobes``.
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged, turns
from models import neo_hookean, tube_body, tube_model
from scipy.optimize import brentq

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


def thin_cylinder(slenderness, length, along):
    """A neo-Hookean cylinder with the mid radius 1."""
    A, B = 1 - 0.5 / slenderness, 1 + 0.5 / slenderness
    return Judged(tube_model(tube_body(B / A, length, A=A, along=along, through=1), neo_hookean()))
