# SPDX-License-Identifier: MIT
"""Spherical dielectric balloons: voltage maxima at constant pressure, thin and thick.

Sources: p R/(μ H) = W'(λ)/(μ λ²) - 2 φ² λ for thin walls, φ = (V/H) √(ε/μ) (Zhu, Cai & Suo, Polym. Int. 59,
378, 2010); thick walls with the radial field E = V / (r² (1/a - 1/b)) (Rudykh, Bhattacharya & deBotton, Int.
J. Non-Linear Mech. 47, 206, 2012, from memory). Maxima recomputed from the formulas.
"""

import numpy as np
import pytest
from dielectric_cases import EPS, MU, RELATIVE, RUBBER, follow, value, volts
from exact import dielectric, shells
from scipy.optimize import minimize_scalar
from walls import half_sphere

from annelid.solver.model.boundary import Electrode
from annelid.solver.model.material import Material
from annelid.solver.model.parts import Sheets
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

TABLE = 1e-5  # rounding of tabulated values
MEMBRANE = 5e-5  # of the voltage of a wall of 1/1000 of its radius against the membrane
FLAT = 1e-3  # of the stretch at a maximum
RADIAL = 2e-4  # of the voltage of a thick wall of four elements
BESIDE = 2e-3  # a stage ends this fraction of the stretch before a maximum, the next as far behind it
H = 1e-3  # wall of a thin sphere of inner radius 1 mm
R = 1 + H / 2

GENT = Material("gent", "gent", {"shear_modulus": MU, "stretch_limit": 97.2}, permittivity=RELATIVE)
GENT_50 = Material("gent", "gent", {"shear_modulus": MU, "stretch_limit": 50.0}, permittivity=RELATIVE)
# J (infinite: neo-Hookean), p R/(μ H), stretch and φ at the voltage maximum.
THIN = (
    (np.inf, 0.25, 1.277516, 0.611498),
    (np.inf, 0.5, 1.297638, 0.526145),
    (np.inf, 0.75, 1.321131, 0.425837),
    (np.inf, 1.0, 1.349361, 0.296116),
    (np.inf, 1.2, 1.376935, 0.119575),
    (97.2, 0.25, 1.282254, 0.614084),
    (97.2, 0.5, 1.303349, 0.529516),
    (97.2, 0.75, 1.328179, 0.430531),
    (97.2, 1.0, 1.358368, 0.303742),
    (97.2, 1.2, 1.388323, 0.139329),
)
# B/A, material, inner stretch and V √(ε/μ)/(B - A) at the first voltage maximum without pressure.
THICK = (
    (1.1, RUBBER, 1.292450, 0.686846),
    (1.1, GENT_50, 1.301425, 0.690968),
    (1.25, RUBBER, 1.344941, 0.684570),
    (1.25, GENT_50, 1.355710, 0.688934),
    (1.5, RUBBER, 1.441449, 0.678554),
    (1.5, GENT_50, 1.456355, 0.683626),
    (2.0, RUBBER, 1.662745, 0.664569),
    (2.0, GENT_50, 1.690455, 0.671796),
)
ELECTRODE = Electrode("whole")

each_thin = pytest.mark.parametrize("row", THIN, ids=lambda row: f"J {row[0]:g} p {row[1]:g}")
each_thick = pytest.mark.parametrize("row", THICK, ids=lambda row: f"B/A {row[0]:g} {row[1].law}")


def middle(state):
    """Stretch of the middle surface of an incompressible wall."""
    a = 1 + value(state, "largest radial expansion")
    return np.cbrt(a**3 + R**3 - 1) / R


def charging(name, J, p, λ, steps):
    """A stage up to the charge of the half sphere at this stretch: C = ε 2π R² λ⁴ / H."""
    φ = np.sqrt(shells.sphere_field(λ, p, J=J))
    return Stage(
        name,
        charges={"whole": EPS * 2 * np.pi * R**2 * λ**4 / H * volts(φ, H)},
        control="charge",
        steps=steps,
    )


def past_the_maximum(J, p, λ):
    """Inflate, then charge to slightly below the stretch and to slightly above it."""
    model = half_sphere(H, GENT if np.isfinite(J) else RUBBER, electrode=(ELECTRODE, Sheets(1, H)))
    blow = [Stage("blow", pressure=p * MU * H / R, steps=3)] if p else []
    ends = [charging("before", J, p, λ * (1 - BESIDE), 6), charging("behind", J, p, λ * (1 + BESIDE), 1)]
    states, outcome = follow(model, *blow, *ends, beyond="follow")
    assert outcome.kind == "reached"
    return states


@each_thin
def test_voltage_maximum_at_constant_pressure(row):
    """Charge control passes the maximum at constant pressure; the number of unstable modes changes there."""
    J, p, λc, φc = row
    (top,) = shells.extremes(lambda λ: shells.sphere_field(λ, p, J=J), λc - 0.03, λc + 0.1)
    φ = np.sqrt(shells.sphere_field(top, p, J=J))
    assert (top, φ) == pytest.approx((λc, φc), rel=TABLE)
    states = past_the_maximum(J, p, top)
    (critical,) = (state for state in states if state.critical)
    assert critical.stage == "behind"
    assert critical.critical == "limit point"
    assert critical.loads["voltage whole"].value == pytest.approx(volts(φ, H), rel=MEMBRANE)
    assert middle(critical) == pytest.approx(top, rel=FLAT)
    for state in states:
        if not state.critical:
            assert state.unstable_modes == (state.stage == "behind")
            assert state.unstable_modes_controlled == 0


def test_without_pressure_a_thin_sphere_is_a_free_film():
    """Its wall has no stress, so only its bending stiffness remains: many modes become unstable together."""
    states = past_the_maximum(np.inf, 0.0, 4 ** (1 / 6))
    for state in states[1:]:
        φ = state.loads["voltage whole"].value / volts(1.0, H)
        assert φ**2 == pytest.approx(shells.sphere_field(middle(state)), rel=2 * MEMBRANE)
    assert {s.unstable_modes for s in states if s.stage == "before"} == {0}
    assert states[-1].unstable_modes > 1


@each_thick
def test_first_voltage_maximum_of_a_thick_sphere(row):
    """The potential is solved and its field is radial; an increasing voltage ends at its maximum."""
    ratio, material, la, v = row
    if material is RUBBER:
        best = minimize_scalar(
            lambda x: -dielectric.sphere_radial_voltage(ratio, x), (la - 0.1, la, la + 0.1)
        )
        assert -best.fun == pytest.approx(v, rel=TABLE)
    model = half_sphere(
        ratio - 1, material, through=4, electrode=(ELECTRODE, Sheets(1, ratio - 1)), electrics="solved"
    )
    states, outcome = follow(model, Stage("on", voltages={"whole": volts(1.3 * v, ratio - 1)}, steps=6))
    last = states[-1]
    assert outcome.kind == last.critical == "limit point"
    assert last.loads["voltage whole"].value == pytest.approx(volts(v, ratio - 1), rel=RADIAL)
    assert 1 + value(last, "largest radial expansion") == pytest.approx(la, rel=5 * FLAT)
    assert not any(state.unstable_modes for state in states)
