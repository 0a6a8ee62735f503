# SPDX-License-Identifier: MIT
"""Effective properties of lattices from their cells, against beam formulas and exact solutions."""

from math import cos, radians, sin, sqrt, tan

import numpy as np
import pytest

from geometry.errors import InputError
from geometry.lattice import CELLS
from geometry.pattern import Pattern, Strut
from geometry.unit_cell import unit_cell
from solver.material import Material
from solver.unit_cell import UnitCell

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


def honeycomb_beams(angle, h, t):
    """E1, E2, ν12, ν21, G12 over Es of a honeycomb with l = 1, stretch and shear of the walls included.

    Gibson and Ashby, Cellular Solids (1997), ch. 4, and Masters and Evans, Compos. Struct. 35, 403 (1996),
    both from memory; G12 of flexure alone.
    """
    s, c, q = sin(radians(angle)), cos(radians(angle)), t * t
    poisson = c * c / ((h + s) * s)
    along1 = 1 + (2.4 + 1.5 * NU + (c / s) ** 2) * q
    along2 = 1 + (2.4 + 1.5 * NU + (s / c) ** 2 + 2 * h / c**2) * q
    across = 1 + (1.4 + 1.5 * NU) * q
    return np.array(
        [
            t**3 * c / ((h + s) * s * s) / along1,
            t**3 * (h + s) / c**3 / along2,
            poisson * across / along1,
            across / along2 / poisson,
            t**3 * (h + s) / (h * h * (1 + 2 * h) * c),
        ]
    )


HONEYCOMBS = {"hexagonal": (30.0, 1.0), "re-entrant": (-20.0, 2.0)}


def honeycomb(angle, h, t):
    kind = "honeycomb" if angle > 0 else "re-entrant"
    return as_array(moduli(kind, vertical=h, inclined=1.0, angle=abs(angle), width=t))


@pytest.mark.exact
@pytest.mark.parametrize("name", HONEYCOMBS)
def test_slender_honeycombs_have_the_moduli_of_their_beams(name):
    shape = HONEYCOMBS[name]
    np.testing.assert_allclose(honeycomb(*shape, 0.02), honeycomb_beams(*shape, 0.02), rtol=0.05)


@pytest.mark.exact
@pytest.mark.parametrize("name", HONEYCOMBS)
def test_thick_honeycombs_follow_the_stretch_corrected_beams(name):
    # Walls of a real honeycomb are shorter than from node to node, by a share of their width. That share is
    # read off slender walls (E ~ 1/l³) and must then serve at t/l = 0.1; Poisson ratios need none.
    shape = HONEYCOMBS[name]
    slender, thick = honeycomb(*shape, 0.03), honeycomb(*shape, 0.1)
    beams = honeycomb_beams(*shape, 0.1)
    shortening = 1 - (honeycomb_beams(*shape, 0.03) / slender)[:2] ** (1 / 3)
    assert np.all(shortening > 0.003)  # the joints do count
    np.testing.assert_allclose(thick[:2], beams[:2] / (1 - shortening / 0.03 * 0.1) ** 3, rtol=0.03)
    np.testing.assert_allclose(thick[2:4], beams[2:4], rtol=0.03)


@pytest.mark.exact
def test_regular_honeycomb_is_isotropic():
    m = moduli("honeycomb", vertical=1.0, inclined=1.0, angle=30.0, width=0.1)
    assert m.around == pytest.approx(m.along, rel=1e-3)
    assert m.shear == pytest.approx(m.around / (2 * (1 + m.poisson_around)), rel=5e-3)


@pytest.mark.exact
def test_rotating_squares_keep_their_form():
    # ν = -1 at every opening, E ~ K / (1 - sin opening) with K the stiffness of a hinge: Grima and Evans,
    # J. Mater. Sci. Lett. 19, 1563 (2000), from memory; a hinge here yields a little beyond its ends.
    found = {
        opening: moduli("rotating-squares", side=1.0, opening=opening, ligament=0.1, width=0.04)
        for opening in (30.0, 60.0)
    }
    for opening, m in found.items():
        assert m.poisson_around == pytest.approx(-1, abs=0.02)
        assert m.poisson_along == pytest.approx(m.poisson_around, rel=1e-3)
        hinge = 0.04**3 / 12 / 0.1
        formula = 8 * hinge / (1 - sin(radians(opening)))
        assert 0.5 * formula < m.around < formula
    ratio = (1 - sin(radians(30.0))) / (1 - sin(radians(60.0)))
    assert found[60.0].around / found[30.0].around == pytest.approx(ratio, rel=0.1)


@pytest.mark.exact
def test_slender_arrowheads_move_like_a_linkage():
    # Poisson ratios of the pin-jointed linkage, own derivation; topology of Larsen et al., J. MEMS 6, 99
    # (1997), from memory.
    long, short = radians(30.0), radians(60.0)
    m = moduli("arrowhead", long_arm=1.0, long_angle=30.0, short_angle=60.0, width=0.015)
    assert m.poisson_along == pytest.approx(-1 / (tan(long) * tan(short)), rel=0.03)
    assert m.poisson_around == pytest.approx(-tan(long) * tan(short), rel=0.03)


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
    states = solid_sheet().collapse(axis, 1.6, steps=3)
    for state in states:
        λ = state.stretch
        assert state.stress == pytest.approx((λ - λ**-2) / 3, abs=1e-7)
        assert state.transverse == pytest.approx(λ**-0.5, abs=1e-7)
        assert state.energy == pytest.approx((λ**2 + 2 / λ - 3) / 6, abs=1e-7)
        assert state.unstable_modes == 0
    assert states[-1].stretch == pytest.approx(1.6)


def test_collapse_curve_begins_at_the_modulus_and_does_its_work():
    cell = cell_of(CELLS["re-entrant"](vertical=2.0, inclined=1.0, angle=20.0, width=0.1).pattern())
    m = cell.moduli()
    seen = []
    states = cell.collapse("around", 0.9, steps=8, observe=seen.append)
    stretch, stress = (np.array([getattr(s, key) for s in states]) for key in ("stretch", "stress"))
    assert stretch[-1] == pytest.approx(0.9)
    assert len(seen) == len(states) - 1
    first = cell.collapse("around", 1 - 1e-4, steps=1)[-1]
    assert first.stress / -1e-4 == pytest.approx(m.around, rel=2e-3)
    assert (first.transverse - 1) / -1e-4 == pytest.approx(-m.poisson_around, rel=2e-3)
    assert states[-1].transverse < 0.92  # auxetic: it shrinks across as well
    assert np.trapezoid(stress, stretch) == pytest.approx(states[-1].energy, rel=0.01)
    assert abs(stress[-1]) < 0.7 * m.around * 0.1  # softer than linear


def test_a_lattice_that_does_not_hold_together_is_refused():
    with pytest.raises(InputError, match="no moduli"):
        moduli("helices", spacing=3.0, helix_angle=30.0, width=0.5)


def test_bad_targets_of_a_collapse_are_refused():
    cell = solid_sheet()
    with pytest.raises(InputError, match="axis = 'up' is not one of: around, along"):
        cell.collapse("up", 0.9)
    with pytest.raises(InputError, match="stretch is -1"):
        cell.collapse("along", -1.0)
