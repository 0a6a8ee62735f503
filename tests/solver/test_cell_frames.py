# SPDX-License-Identifier: MIT
"""Unit cells with nearly rigid nodes against frames of beams and closed forms for rigid nodes."""

from math import radians, sin, sqrt

import numpy as np
import pytest
from exact.frame import frame_moduli, frame_of
from stiff_nodes import stiff_noded
from test_unit_cells import honeycomb_beams, walls

from annelid.geometry.lattice.catalogue import CELLS


def as_array(m):
    return np.array([m.around, m.along, m.poisson_around, m.poisson_along, m.shear])


def both(cell, *, core, shift=(0.0, 0.0), centres=None, reach=0.0, inset=0.0):
    """Moduli of a cell with stiff nodes, and those of its frame; plates become nodes about their middle."""
    pattern = cell.pattern().shifted(*shift)
    lines = [_shortened(strut.points, inset) for strut in pattern.struts]
    nodes = [plate.mean(axis=0) for plate in pattern.plates] or None
    how = {"centres": nodes, "reach": reach}
    period = pattern.width, pattern.height
    frame = frame_moduli(frame_of(lines, cell.width, period, **how), poisson=0.0)
    found = stiff_noded(lines, cell.width, period, core=core, **how).moduli()
    return as_array(found), frame


def _shortened(line, inset):
    along = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
    return np.array([line[0] + inset * along, line[-1] - inset * along])


@pytest.mark.exact
@pytest.mark.parametrize("t", [0.02, 0.1])
@pytest.mark.parametrize(("angle", "h"), [(30.0, 1.0), (-20.0, 2.0), (-45.0, 2.0)])
def test_frames_agree_with_published_honeycombs(t, angle, h):
    # The frame itself against the stretch-corrected formulas: 0.2 %; G12 of flexure alone is up to 4 % off.
    cell = walls(angle, h, t)
    pattern = cell.pattern()
    frame = frame_of([s.points for s in pattern.struts], t, (pattern.width, pattern.height))
    beams = honeycomb_beams(angle, h, t)
    np.testing.assert_allclose(frame_moduli(frame)[:4], beams[:4], rtol=2.5e-3)
    assert frame_moduli(frame)[4] == pytest.approx(beams[4], rel=0.05)


@pytest.mark.long
@pytest.mark.exact
@pytest.mark.reference
@pytest.mark.parametrize(("angle", "h"), [(30.0, 1.0), (-20.0, 2.0)])
def test_thick_honeycombs_with_joints_of_known_length(angle, h):
    # t/l = 0.1, walls rigid over 0.08 l at either end: published formulas over the free length.
    t, joint = 0.1, 0.08
    cell = walls(angle, h, t)
    found, frame = both(cell, core=t / 2, reach=joint)
    np.testing.assert_allclose(found, frame, rtol=2e-3)
    beams = honeycomb_beams(angle, h, t, joint=joint, poisson=0.0)
    np.testing.assert_allclose(found[:4], beams[:4], rtol=0.01)


@pytest.mark.long
@pytest.mark.exact
@pytest.mark.reference
@pytest.mark.parametrize("opening", [30.0, 60.0, 120.0])
def test_stiff_squares_turn_on_their_hinges(opening):
    # E = 8 K / (a² (1 - sin opening)) per depth with K = E w³ / 12 L, ν = -1: Grima and Evans, J. Mater. Sci.
    # Lett. 19, 1563 (2000), from memory. The stretch of the ligaments reduces both slightly.
    w, length = 0.02, 0.1
    cell = CELLS["rotating-squares"](side=1.0, opening=opening, ligament=length, width=w)
    drawn = np.linalg.norm(np.diff(cell.pattern().struts[0].points, axis=0))
    found, frame = both(cell, core=0.3, inset=(drawn - length) / 2)
    np.testing.assert_allclose(found, frame, rtol=0.01)
    hinge = w**3 / 12 / length
    assert found[:2] == pytest.approx(8 * hinge / (1 - sin(radians(opening))), rel=0.01)
    assert found[2:4] == pytest.approx(-1, abs=0.01)


@pytest.mark.exact
@pytest.mark.reference
@pytest.mark.parametrize(
    ("r", "t", "modulus", "poisson"),
    # E/Es and ν of frames with rigid nodes (own table, Euler-Bernoulli beams), ligaments of length 1.
    [
        (0.2, 0.05, 2.98478e-3, -0.931241),
        (0.3, 0.05, 1.5947e-3, -0.963264),
        pytest.param(0.5, 0.02, 5.5315e-5, -0.996808, marks=pytest.mark.long),
    ],
)
def test_hexachiral_stiff_nodes_roll(r, t, modulus, poisson):
    # (√3/2) (t/L)³ ((L/r)² + 4) for ligaments that do not stretch (own derivation); ν -> -1 (Prall and Lakes,
    # Int. J. Mech. Sci. 39, 305 (1997), from memory).
    cell = CELLS["hexachiral"](node_radius=r, ligament=1.0, width=t, node="disc")
    found, frame = both(cell, core=0.6 * r, shift=(0.11, 0.07))
    np.testing.assert_allclose(found, frame, rtol=0.01)
    assert found[:2] == pytest.approx(modulus, rel=0.02)
    assert found[2:4] == pytest.approx(poisson, abs=1e-3)
    inextensible = sqrt(3) / 2 * t**3 * (1 / r**2 + 4)
    assert found[0] == pytest.approx(-poisson * inextensible, rel=0.02 + t)


@pytest.mark.exact
@pytest.mark.reference
def test_anti_tetrachiral_stiff_nodes_counter_rotate():
    # Own derivation: nodes turn by φ = ε L / 2 r, two ligaments a node bend by 2 φ: 1/E_bend = 6 L r² / t³,
    # in series with the ligaments' stretch, 1/E_stretch = L/t, which does not change the other direction.
    r, t = 0.2, 0.05
    cell = CELLS["anti-tetrachiral"](node_radius=r, ligament=1.0, width=t, node="disc")
    found, frame = both(cell, core=0.6 * r)
    np.testing.assert_allclose(found, frame, rtol=0.01)
    give = 6 * r**2 / t**3 + 1 / t
    assert found[:2] == pytest.approx(1 / give, rel=5e-3)
    assert found[2:4] == pytest.approx(-6 * r**2 / t**3 / give, rel=1e-3)
