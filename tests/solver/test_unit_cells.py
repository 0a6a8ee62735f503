# SPDX-License-Identifier: MIT
"""Effective properties of lattices from their cells, against beam formulas and exact solutions."""

from math import cos, radians, sin, sqrt, tan

import numpy as np
import pytest

from annelid.geometry.errors import InputError
from annelid.geometry.lattice.catalogue import CELLS
from annelid.geometry.lattice.pattern import Pattern, Strut
from annelid.geometry.lattice_mesh.cell_mesh import unit_cell
from annelid.solver.homogenisation.collapse import collapse_curve
from annelid.solver.homogenisation.unit_cell import UnitCell
from annelid.solver.model.material import Material

RUBBER = Material("rubber", "neo-hookean", {"shear_modulus": 1 / 3})  # E = 3 μ = 1 MPa, ν = 1/2
NU = 0.5


def cell_of(pattern, **sizes):
    body = unit_cell(pattern, height=pattern.widest, **sizes)
    return UnitCell(body, (pattern.width, pattern.height), RUBBER)


def moduli(kind, **parameters):
    return cell_of(CELLS[kind](**parameters).pattern()).moduli()


def solid_sheet():
    """A sheet without holes: one strut as wide as its period."""
    strut = Strut(np.array([(0.0, 0.5), (2.0, 0.5)]), 1.0)
    return cell_of(Pattern("sheet", 2.0, 1.0, (strut,)), fine=0.4)


def as_array(m):
    return np.array([m.around, m.along, m.poisson_around, m.poisson_along, m.shear])


def honeycomb_beams(angle, h, t, *, joint=0.0, poisson=NU):
    """E1, E2, ν12, ν21, G12 over Es of a honeycomb with l = 1, stretch and shear of the walls included.

    Gibson and Ashby, Cellular Solids (1997), ch. 4, and Masters and Evans, Compos. Struct. 35, 403 (1996),
    both from memory; G12 of flexure alone. If walls are rigid for a length ``joint`` next to the nodes, they
    deform over their remaining length (own derivation: the same sums with deflections over that length).
    """
    s, c, free = sin(radians(angle)), cos(radians(angle)), 1 - 2 * joint
    q, tall = (t / free) ** 2, (h - 2 * joint) / free
    ratio = c * c / ((h + s) * s)
    along1 = 1 + (2.4 + 1.5 * poisson + (c / s) ** 2) * q
    along2 = 1 + (2.4 + 1.5 * poisson + (s / c) ** 2 + 2 * tall / c**2) * q
    across = 1 + (1.4 + 1.5 * poisson) * q
    return np.array(
        [
            (t / free) ** 3 * c / ((h + s) * s * s) / along1,
            (t / free) ** 3 * (h + s) / c**3 / along2,
            ratio * across / along1,
            across / along2 / ratio,
            t**3 * (h + s) / (h * h * (1 + 2 * h) * c),
        ]
    )


HONEYCOMBS = {"hexagonal": (30.0, 1.0), "re-entrant": (-20.0, 2.0)}


def walls(angle, h, t):
    """A honeycomb with l = 1, re-entrant where its angle is negative."""
    return CELLS["honeycomb" if angle > 0 else "re-entrant"](h, 1.0, abs(angle), t)


def honeycomb(angle, h, t):
    return as_array(cell_of(walls(angle, h, t).pattern()).moduli())


@pytest.mark.exact
@pytest.mark.parametrize("name", HONEYCOMBS)
def test_slender_honeycombs_have_the_moduli_of_their_beams(name):
    shape = HONEYCOMBS[name]
    np.testing.assert_allclose(honeycomb(*shape, 0.02), honeycomb_beams(*shape, 0.02), rtol=0.05)


@pytest.mark.exact
@pytest.mark.parametrize("name", HONEYCOMBS)
def test_thick_honeycombs_follow_stretch_corrected_beams(name):
    # Walls of a real honeycomb deform over less than their length from node to node: at t/l = 0.1 Poisson
    # ratios are those of beams, moduli lie between those of beams and of beams rigid up to where the faces of
    # neighbouring walls join. (Joints of a known length: test_cell_frames; real joints: test_cell_joints.)
    shape = angle, _ = HONEYCOMBS[name]
    thick, beams = honeycomb(*shape, 0.1), honeycomb_beams(*shape, 0.1)
    np.testing.assert_allclose(thick[2:4], beams[2:4], rtol=0.03)
    sharpest = min(90 + angle, 180 - 2 * angle)
    joint = 0.05 / tan(radians(sharpest / 2))
    assert np.all(beams[:2] < thick[:2])
    assert np.all(thick[:2] < honeycomb_beams(*shape, 0.1, joint=joint)[:2])


@pytest.mark.exact
@pytest.mark.parametrize("name", HONEYCOMBS)
def test_moduli_of_honeycombs_tend_to_those_of_beams(name):
    # The effect of joints is proportional to t/l: extrapolated to t/l = 0 it vanishes.
    shape = HONEYCOMBS[name]
    over = [honeycomb(*shape, t)[:2] / honeycomb_beams(*shape, t)[:2] for t in (0.025, 0.05)]
    assert np.all(over[1] > 1.02)  # joints have an effect
    np.testing.assert_allclose(2 * over[0] - over[1], 1.0, rtol=0.015)


@pytest.mark.exact
def test_regular_honeycomb_is_isotropic():
    m = moduli("honeycomb", vertical=1.0, inclined=1.0, angle=30.0, width=0.1)
    assert m.around == pytest.approx(m.along, rel=1e-3)
    assert m.shear == pytest.approx(m.around / (2 * (1 + m.poisson_around)), rel=5e-3)


@pytest.mark.exact
def test_rotating_squares_follow_the_published_formula():
    # ν = -1 and E = 8 K / (a² (1 - sin opening)) per depth, squares of side a: Grima and Evans, J. Mater.
    # Sci. Lett. 19, 1563 (2000), from memory. K = E w³ / 12 L is a slender ligament in pure bending. Squares
    # of the same rubber deform near its ends, which lengthens it by a part of its width: 1/E is linear in
    # w / L; extrapolated to w = 0 it must be that of the formula.
    give = []
    for width in (0.04, 0.02):
        cell = CELLS["rotating-squares"](side=1.0, opening=30.0, ligament=0.2, width=width)
        m = cell_of(cell.pattern(), fine=0.8 * width).moduli()
        assert m.poisson_around == pytest.approx(-1, abs=0.15 * width)
        assert m.along == pytest.approx(m.around, rel=1e-3)
        give.append(8 * width**3 / 12 / 0.2 / (1 - sin(radians(30.0))) / m.around)
    assert 2 * give[1] - give[0] == pytest.approx(1.0, abs=0.01)
    assert 1.2 < give[0] < 1.4


@pytest.mark.exact
def test_slender_arrowheads_move_like_a_linkage():
    # Poisson ratios of the pin-jointed linkage, own derivation; topology of Larsen et al., J. MEMS 6, 99
    # (1997), from memory. Within 5 % at a hundredth of the arms, and nearer the more slender they are.
    long, short = radians(30.0), radians(60.0)
    off = []
    for width in (0.02, 0.01):
        m = moduli("arrowhead", long_arm=1.0, long_angle=30.0, short_angle=60.0, width=width)
        off.append(m.poisson_along * tan(long) * tan(short) + 1)
        assert m.poisson_around == pytest.approx(-tan(long) * tan(short), rel=0.05)
    assert 0 < off[1] < 0.5 * off[0] < 0.025


@pytest.mark.exact
def test_hexachiral_discs_roll():
    # Rigid discs of radius r, ligaments of length L: ν -> -1, E = (√3/2) (t/L)³ ((L/r)² + 4) Es (own
    # derivation; ν of Prall and Lakes, Int. J. Mech. Sci. 39, 305 (1997), from memory). A ligament leaves its
    # disc between the point of tangency and √(2 r t) beyond, which bounds its free length.
    r, t = 0.3, 0.04
    m = moduli("hexachiral", node_radius=r, ligament=1.0, width=t, node="disc")
    tangent = sqrt(3) / 2 * t**3 * (1 / r**2 + 4)
    assert tangent < m.around < tangent / (1 - 2 * sqrt(2 * r * t)) ** 3
    assert m.along == pytest.approx(m.around, rel=5e-3)
    assert -1 < m.poisson_around < -0.92
    assert m.shear == pytest.approx(m.around / (2 * (1 + m.poisson_around)), rel=0.02)


@pytest.mark.exact
def test_a_sheet_without_holes_is_the_rubber_itself():
    m = solid_sheet().moduli()
    np.testing.assert_allclose(as_array(m), [1.0, 1.0, 0.5, 0.5, 1 / 3], rtol=1e-6)
    assert m.relative_density == pytest.approx(1.0)


@pytest.mark.exact
@pytest.mark.parametrize("axis", ["around", "along"])
def test_a_sheet_without_holes_stretches_as_neo_hookean(axis):
    # Uniaxial neo-Hookean: nominal stress μ (λ - λ⁻²), width λ^(-1/2); Treloar, from memory.
    states = collapse_curve(solid_sheet(), axis, 1.6, steps=3)
    for state in states:
        λ = state.stretch
        assert state.stress == pytest.approx((λ - λ**-2) / 3, abs=1e-7)
        assert state.transverse == pytest.approx(λ**-0.5, abs=1e-7)
        assert state.energy == pytest.approx((λ**2 + 2 / λ - 3) / 6, abs=1e-7)
        assert state.unstable_modes == 0
    assert states[-1].stretch == pytest.approx(1.6)


def test_collapse_curve_agrees_with_modulus_and_work():
    cell = cell_of(CELLS["re-entrant"](vertical=2.0, inclined=1.0, angle=20.0, width=0.1).pattern())
    m = cell.moduli()
    seen = []
    states = collapse_curve(cell, "around", 0.9, steps=8, observe=seen.append)
    stretch, stress = (np.array([getattr(s, key) for s in states]) for key in ("stretch", "stress"))
    assert stretch[-1] == pytest.approx(0.9)
    assert len(seen) == len(states) - 1
    first = collapse_curve(cell, "around", 1 - 1e-4, steps=1)[-1]
    assert first.stress / -1e-4 == pytest.approx(m.around, rel=2e-3)
    assert (first.transverse - 1) / -1e-4 == pytest.approx(-m.poisson_around, rel=2e-3)
    assert states[-1].transverse < 0.92  # auxetic: it shrinks across as well
    assert np.trapezoid(stress, stretch) == pytest.approx(states[-1].energy, rel=0.01)
    assert abs(stress[-1]) < 0.7 * m.around * 0.1  # softer than linear


def test_disconnected_lattice_is_refused():
    with pytest.raises(InputError, match="no moduli"):
        moduli("helices", spacing=3.0, helix_angle=30.0, width=0.5)


def test_invalid_targets_of_a_collapse_are_refused():
    cell = solid_sheet()
    with pytest.raises(InputError, match="axis: 'up' is not allowed; allowed: around, along"):
        collapse_curve(cell, "up", 0.9)
    with pytest.raises(InputError, match="stretch: must be above 0 and at most 10, got -1"):
        collapse_curve(cell, "along", -1.0)
