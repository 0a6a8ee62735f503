# SPDX-License-Identifier: MIT
"""Dielectric tubes at held length: nominal fields at which modes of m lobes turn, layered and solved.

Incremental analysis as in ``test_tubes_by_lobes`` with the energy W - ½ ε J |F⁻ᵀ E0|²: at a given nominal
field, and with the perturbation of the potential of one sheet between electrodes, whose field terms were
compared with the capacity of an annulus with a wavy face. Without an amplitude of its own for the potential
critical voltages are up to 8 % too low.
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import pytest
from counting import Judged, turns
from dielectric_cases import sheet, volts
from models import SLIDING, tube_body

from annelid.geometry.shapes.band import Band
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.model import Model

# Model, B/A, L/B, axial stretch, then m and V √(ε/μ)/(B - A), in the order of the voltage.
FIELDS = {
    ("layered", 1.05, 2, 1.0): [(3, 0.367942), (4, 0.374507), (1, 0.385651)],
    ("layered", 1.5, 2, 1.0): [(2, 0.657044), (1, 0.696003), (0, 0.696373), (3, 0.7153)],
    ("layered", 1.5, 5, 1.5): [(0, 0.59151)],
    ("solved", 1.05, 2, 1.0): [(3, 0.376086), (2, 0.397558)],
    ("solved", 1.5, 2, 1.0): [(1, 0.733878), (0, 0.742441), (3, 0.795669)],
    ("solved", 1.5, 2, 1.2): [(1, 0.709577)],
}


@pytest.mark.exact
@pytest.mark.parametrize("case", FIELDS, ids=str)
def test_a_tube_turns_at_the_exact_field(case):
    counted = counts(case)
    for m, exact in FIELDS[case]:
        assert counted(m, exact) == (0, 1), m


@pytest.mark.exact
def test_no_wave_turns_before_the_exact_field_of_the_first():
    """In a stretched tube waves of several lengths with m = 1 turn within half a percent of each other."""
    below, above = counts(("layered", 1.5, 2, 1.2))(1, 0.70980419)
    assert below == 0 < above


def counts(case):
    """Counts of m just below and above V √(ε/μ)/(B - A)."""
    electrics, ratio, over_B, lz = case
    wall, length = ratio - 1, over_B * ratio
    bands = (Band("all", "wall", 0.0, length),)
    body = tube_body(ratio, length, along=max(0.05, wall / 4), through=2, bands=bands)
    judged = Judged(Model(body, (sheet("wall", wall),), SLIDING, (Electrode("all"),), electrics=electrics))
    judged.at(displacements={"end_high": (lz - 1) * length}, steps=2)
    return lambda m, v: turns(judged, m, v, lambda v: {"voltages": {"all": volts(v, wall)}}, steps=16)
