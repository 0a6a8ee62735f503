# SPDX-License-Identifier: MIT
"""Collapse of lattice cells: they buckle as published honeycombs and follow stable states."""

import numpy as np
import pytest
from test_unit_cells import cell_of

from annelid.geometry.lattice.catalogue import CELLS
from annelid.solver.homogenisation.collapse import collapse_curve

WIDTH = 0.05


def stretches_and_stresses(states):
    return np.array([(s.stretch, s.stress) for s in states]).T


@pytest.mark.exact
@pytest.mark.parametrize(("columns", "to"), [(1, 0.84), pytest.param(2, 0.88, marks=pytest.mark.long)])
def test_hexagonal_honeycombs_collapse_by_buckling(columns, to):
    # Elastic collapse pressed along the vertical walls: 0.22 (t/l)³ Es for regular hexagons, by columns whose
    # ends are constrained by the inclined walls (Gibson and Ashby, Cellular Solids (1997), ch. 4, from
    # memory). The stress remains constant while the walls continue to bend: a plateau. A cell has two rows of
    # walls, as the mode requires; a cell twice as wide gives the same result.
    honeycomb = CELLS["honeycomb"](vertical=1.0, inclined=1.0, angle=30.0, width=WIDTH)
    cell = cell_of(honeycomb.pattern().tiled(columns, 1), fine=1.2 * WIDTH)
    states = collapse_curve(cell, "along", to, steps=round((1 - to) / 0.03))
    stretch, stress = stretches_and_stresses(states)
    buckled = next(k for k, s in enumerate(states) if s.buckled)
    assert all(s.unstable_modes == 0 for s in states)
    assert stretch[-1] == pytest.approx(to)
    assert abs(states[-1].shear) < 0.01
    plateau = -stress[buckled:] / WIDTH**3
    assert plateau[0] == pytest.approx(0.22, rel=0.05)
    assert plateau[-1] < 1.05 * plateau[0]
    # Without buckling the stress would continue to increase.
    slope = np.diff(stress[buckled - 2 : buckled]) / np.diff(stretch[buckled - 2 : buckled])
    straight = stress[buckled - 1] + slope[0] * (stretch[-1] - stretch[buckled - 1])
    assert straight < 1.1 * stress[-1] < 0


@pytest.mark.long
def test_reentrant_honeycombs_buckle_along_and_fold_around():
    cell = cell_of(CELLS["re-entrant"](vertical=2.0, inclined=1.0, angle=20.0, width=0.1).pattern())
    along, around = (collapse_curve(cell, axis, 0.8, steps=5) for axis in ("along", "around"))
    assert any(s.buckled for s in along)
    assert not any(s.buckled for s in around)
    for states in (along, around):
        assert states[-1].stretch == pytest.approx(0.8)
        assert all(s.unstable_modes == 0 for s in states)
        assert states[-1].transverse < 1.0  # auxetic up to the end
    stress = stretches_and_stresses(along)[1]
    assert stress[-1] > 1.15 * stress[2]  # a plateau: hardly more pressure for three times the strain
    energy = np.array([s.energy for s in around])
    assert np.all(np.diff(energy) > 0)
