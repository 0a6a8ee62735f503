# SPDX-License-Identifier: MIT
"""Flat dielectric films through their limits: under equal-biaxial dead loads, and Gent's film with its snap.

Sources: e² = λ⁻² - λ⁻⁸ - (S/μ) λ⁻³ for a neo-Hookean film under the nominal dead stress S, with its maximum
recomputed (own derivation; without S: Zhao & Suo, Appl. Phys. Lett. 91, 061921, 2007, from memory). Gent film
and the state it snaps to: idea of Zhao & Suo, Phys. Rev. Lett. 104, 178302 (2010) and Koh et al. (2011), both
from memory; formulas own, values recomputed.
"""

from functools import cache

import numpy as np
import pytest
from dielectric_cases import EPS, MU, RELATIVE, RUBBER, disc, follow, sheet, value, volts
from exact import dielectric, shells
from scipy.optimize import brentq

from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

THICKNESS = 0.05  # mm
FIELD = 1e-6  # relative, of a limit field: strain is uniform, so any mesh is exact
FLAT = 5e-4  # of the stretch there; the load is flat
TABLE = 1e-5  # rounding of tabulated values
LANDED = 1e-5  # of the stretch after a snap
BESIDE = 1e-3  # a stage ends this fraction of the stretch before a limit, the next as far behind it

# S/μ, stretch under the dead load alone, stretch and nominal field at the limit.
PRESTRESSED = (
    (0.0, 1.0, 1.25992, 0.687365),
    (0.1, 1.01739, 1.28623, 0.651129),
    (0.25, 1.04655, 1.33134, 0.597431),
    (0.5, 1.10553, 1.4267, 0.510739),
    (1.0, 1.2852, 1.7463, 0.358575),
    (1.5, 1.59644, 2.31072, 0.253928),
    (2.0, 2.02907, 3.01603, 0.192062),
    (3.0, 3.00409, 4.50216, 0.128277),
    (5.0, 5.00032, 7.50017, 0.0769794),
)
# J, stretch and field at the maximum and at the minimum, stretch after the snap at the maximum.
GENT = (
    (20.0, 1.282804, 0.698149, 2.389752, 0.549223, 3.0476),
    (50.0, 1.267981, 0.691433, 3.639074, 0.377318, 4.9348),
    (97.2, 1.263920, 0.689422, 5.004798, 0.278294, 6.9259),
    (125.0, 1.263006, 0.688958, 5.656746, 0.247051, 7.8659),
)
FAR = 1e7  # mm, times the radius of the disc: the pull of such long springs does not depend on the rim

each_stress = pytest.mark.parametrize("row", PRESTRESSED, ids=lambda row: f"S {row[0]:g}")
each_limit = pytest.mark.parametrize("row", GENT, ids=lambda row: f"J {row[0]:g}")


def film(material=RUBBER, stress=0.0):
    """A free disc; a dead stress is the pull of weak springs from the rim to a far cylinder.

    The penalty of a contact is such a spring: k = μ/tolerance per drawn area, stretched by FAR.
    """
    springs = Contact("springs", "outer", "cylinder", tolerance=FAR / stress) if stress else None
    return Model(
        disc(THICKNESS),
        (sheet("film", THICKNESS, material=material),),
        (Support("end_low", "axial"),),
        electrodes=(Electrode("film"),),
        contacts=(springs,) if springs else (),
    )


def gent(J):
    return Material("gent", "gent", {"shear_modulus": MU, "stretch_limit": J}, permittivity=RELATIVE)


def stretch(state):
    return 1 + value(state, "mean radial expansion")


def field(state):
    return state.loads["voltage film"].value / volts(1.0, THICKNESS)


def charging(name, λ, e, steps):
    """A stage up to the charge of the disc at this stretch and field: C = ε π λ⁴ / H."""
    charge = EPS * np.pi * λ**4 / THICKNESS * volts(e, THICKNESS)
    return Stage(name, charges={"film": charge}, control="charge", steps=steps)


def around(λ, field_of):
    """Two stages under charge control that end slightly below and slightly above a stretch."""
    before, behind = (λ * (1 + side * BESIDE) for side in (-1, 1))
    return [charging("before", before, field_of(before), 10), charging("behind", behind, field_of(behind), 1)]


def criticals(states):
    return [state for state in states if state.critical]


def modes_at_end(states, stage):
    return next(s.unstable_modes for s in states if s.stage == stage and s.parameter > 1 - 1e-9)


@each_stress
def test_limit_under_equal_biaxial_dead_load(row):
    """Located by charge; the number of unstable modes changes between 0.999 and 1.001 of its stretch."""
    S, before, λc, e = row
    (limit,) = shells.extremes(lambda x: dielectric.film_field(x, S), before + 1e-3, 1.3 * λc)
    assert (limit, dielectric.film_field(limit, S)) == pytest.approx((λc, e), rel=TABLE)
    hang = [Stage("hang", obstacles={"springs": FAR}, steps=4)] if S else []
    states, outcome = follow(
        film(stress=S), *hang, *around(limit, lambda x: dielectric.film_field(x, S)), beyond="follow"
    )
    assert outcome.kind == "reached"
    (top,) = criticals(states)
    assert top.critical == "limit point"
    assert field(top) == pytest.approx(dielectric.film_field(limit, S), rel=FIELD + 2 / FAR)
    assert stretch(top) == pytest.approx(limit, rel=FLAT)
    assert [modes_at_end(states, name) for name in ("before", "behind")] == [0, 1]
    assert not any(s.unstable_modes_controlled for s in states)
    if S:
        hung = next(s for s in states if s.stage == "hang" and s.parameter > 1 - 1e-9)
        assert stretch(hung) == pytest.approx(before, rel=TABLE)


@cache
def charged(J):
    """A Gent film charged to well past its minimum."""
    end = 1.15 * next(row[3] for row in GENT if row[0] == J)
    states, outcome = follow(
        film(gent(J)), charging("on", end, np.sqrt(shells.sphere_field(end, J=J)), 20), beyond="follow"
    )
    assert outcome.kind == "reached"
    return states


@each_limit
def test_extremes_of_a_gent_film(row):
    J, λ1, e1, λ2, e2, _ = row
    λs = shells.extremes(lambda x: shells.sphere_field(x, J=J), 1.1, 1.15 * λ2)
    top, bottom = criticals(charged(J))
    for state, λ, tabulated in zip((top, bottom), λs, ((λ1, e1), (λ2, e2)), strict=True):
        e = np.sqrt(shells.sphere_field(λ, J=J))
        assert (λ, e) == pytest.approx(tabulated, rel=TABLE)
        assert state.critical == "limit point"
        assert field(state) == pytest.approx(e, rel=FIELD)
        assert stretch(state) == pytest.approx(λ, rel=FLAT)
    for state in charged(J):
        if not state.critical:
            assert state.unstable_modes == (top.index < state.index < bottom.index)
            assert field(state) ** 2 == pytest.approx(shells.sphere_field(stretch(state), J=J), abs=1e-9)


@each_limit
def test_gent_film_snaps_and_snaps_back(row):
    """Slightly past the maximum it jumps to the state of equal voltage beyond the minimum, and back."""
    J, λ1, e1, λ2, e2, snap = row
    excess = 1e-4
    states, outcome = follow(
        film(gent(J)),
        Stage("on", voltages={"film": volts((1 + excess) * e1, THICKNESS)}, steps=4),
        Stage("off", voltages={"film": volts((1 - excess) * e2, THICKNESS)}, steps=4),
        beyond="jump",
    )
    assert outcome.kind == "reached"
    assert sum("to another stable state" in remark for remark in outcome.remarks) == 2
    top, bottom = criticals(states)
    assert (field(top), field(bottom)) == pytest.approx((e1, e2), rel=TABLE)
    landed, back = states[top.index + 1], states[bottom.index + 1]
    for state, bracket in ((landed, (λ2, 0.999 * np.sqrt((J + 3) / 2))), (back, (1.0, λ1))):
        square = field(state) ** 2
        λ = brentq(lambda x, e2=square: shells.sphere_field(x, J=J) - e2, *bracket, xtol=1e-12)
        assert stretch(state) == pytest.approx(λ, rel=LANDED)
        assert state.unstable_modes == 0
        assert np.ptp(state.fields["principal stretches"][..., 0]) < LANDED * λ
    assert stretch(landed) == pytest.approx(snap, rel=1e-3)
