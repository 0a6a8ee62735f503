# SPDX-License-Identifier: MIT
"""Weight and buoyancy of parts."""

import numpy as np
import pytest
from models import cylinder_body, neo_hookean, tube_body, value
from scipy.integrate import quad
from scipy.optimize import brentq

from annelid.geometry.errors import InputError
from annelid.solver.assembly.system import System
from annelid.solver.continuation.path import follow
from annelid.solver.energy.problem import Problem
from annelid.solver.model.boundary import Support
from annelid.solver.model.loads import Loads
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

MU, RHO = 0.1, 1.1e-9  # MPa, t/mm³
G = 9810.0  # mm/s²
RUBBER = neo_hookean(MU, density=RHO)


def states_of(model, *stages):
    states = []
    outcome = follow(model, stages, observe=states.append)
    assert outcome.kind == "reached", outcome.text
    return states


@pytest.mark.exact
def test_a_slender_rod_hangs_by_the_uniaxial_law():
    """μ (λ - λ⁻²) = ρ g (length below): own quadrature; sections stay plane up to (radius / length)²."""
    length, radius, g = 200.0, 2.0, 40 * G  # as in a centrifuge: 18 % longer
    model = Model(
        cylinder_body(radius, length, (2, 40)), (Part("core", RUBBER),), (Support("end_high", "axial"),)
    )
    last = states_of(model, Stage("hang", gravity={"axial": -g}, steps=4))[-1]

    def stretch(below):
        return brentq(lambda s: MU * (s - s**-2) - RHO * g * below, 1.0, 9.0, xtol=1e-14)

    grown = quad(lambda below: stretch(below) - 1, 0.0, length, epsrel=1e-10)[0]
    end = model.body.surface_nodes("end_low")
    assert grown > 0.15 * length
    assert -last.displacement[end, 1].mean() == pytest.approx(grown, rel=3e-4)
    weight = RHO * g * np.pi * radius**2 * length
    assert value(last, "axial reaction end_high") == pytest.approx(weight, rel=1e-7)


@pytest.mark.long
@pytest.mark.exact
def test_a_soft_cantilever_sags_as_a_beam():
    """Tip of a beam under its own weight: q L⁴ / 8EI, E = 3μ (handbook, from memory), and its shear.

    The clamped end also hinders the change of the section, an effect that falls with radius over length.
    """
    near, far = (sag_over_beam(length) for length in (60.0, 120.0))
    assert near == pytest.approx(1.0, abs=0.02)
    assert 2 * far - near == pytest.approx(1.0, abs=2e-3)


def sag_over_beam(length):
    inner, outer, g = 1.5, 2.0, 0.02 * G * (60.0 / length) ** 4
    body = tube_body(outer / inner, length, A=inner, along=3.0, model="solid", around=16, through=1)
    model = Model(body, (Part("wall", RUBBER),), (Support("end_low", "all"),))
    last = states_of(model, Stage("sag", gravity={"x": -g}, steps=1))[-1]
    area, moment = np.pi * (outer**2 - inner**2), np.pi * (outer**4 - inner**4) / 4
    load = RHO * g * area
    bent, sheared = load * length**4 / (24 * MU * moment), load * length**2 / (MU * area)
    tip = last.displacement[body.surface_nodes("end_high")].mean(axis=0)
    assert abs(tip[1]) < 1e-6 * abs(tip[0])
    return -tip[0] / (bent + sheared)


@pytest.mark.exact
def test_enclosed_incompressible_body_is_hydrostatic():
    """No motion is possible, so the pressure is hydrostatic: p = ρ g depth."""
    body = cylinder_body(3.0, 10.0, (1, 4))
    model = Model(body, (Part("core", RUBBER),), (Support("end_low", "axial"), Support("outer", "radial")))
    last = states_of(model, Stage("stand", gravity={"axial": -G}, steps=1))[-1]
    assert np.abs(last.displacement).max() < 1e-9
    depth = 10.0 - body.points[body.cells][..., 1]
    np.testing.assert_allclose(last.fields["pressure"], RHO * G * depth, atol=1e-9)


def test_a_part_as_dense_as_its_fluid_does_not_move():
    body = tube_body(1.2, 4.0, along=1.0)
    held = (Support("end_low", "all"),)
    heavy = Model(body, (Part("wall", RUBBER),), held)
    afloat = Model(body, (Part("wall", RUBBER),), held, fluid_density=RHO)
    light = Model(body, (Part("wall", RUBBER),), held, fluid_density=2 * RHO)
    down, none, up = (
        states_of(model, Stage("weigh", gravity={"axial": -G}, steps=1))[-1].displacement
        for model in (heavy, afloat, light)
    )
    assert np.abs(none).max() == 0.0
    assert np.abs(down).max() > 1e-5
    np.testing.assert_allclose(up, -down, rtol=0, atol=1e-2 * np.abs(down).max())  # small: nearly linear


@pytest.mark.long
@pytest.mark.exact
def test_the_weight_is_that_of_the_stress_free_volume():
    """A part drawn 1.25 times too long and wide weighs what its stress-free volume weighs."""
    body = tube_body(1.2, 4.0, along=1.0)
    part = Part("wall", RUBBER, natural_stretch=NaturalStretch(swelling=0.8))
    model = Model(body, (part,), (Support("end_low", "axial"),))
    last = states_of(model, Stage("weigh", gravity={"axial": -G}, steps=1))[-1]
    weight = RHO * G * 0.8**3 * np.pi * (1.2**2 - 1.0) * 4.0
    assert value(last, "axial reaction end_low") == pytest.approx(weight, rel=1e-6)


def test_gravity_rate_is_the_derivative_of_the_residual():
    body = tube_body(1.2, 2.0, model="solid", around=8, through=1)
    model = Model(body, (Part("wall", RUBBER),), (Support("end_low", "all"),))
    system = System(Problem(model))
    residuals = []
    for s in (0.0, 1.0):
        system.apply(Loads(gravity={"x": 2 * s, "y": -s, "axial": 3 * s}))
        system.assemble_residual()
        residuals.append(system.residual.array.copy())
    rate = system.vector()
    system.load_rate(Loads(gravity={"x": 2.0, "y": -1.0, "axial": 3.0}, natural=0.0), rate)
    assert np.abs(rate.array).max() > 0
    np.testing.assert_allclose(
        rate.array, residuals[0] - residuals[1], rtol=0, atol=1e-12 * np.abs(rate.array).max()
    )


def test_gravity_needs_densities_and_valid_directions():
    model = Model(tube_body(), (Part("wall", neo_hookean(MU)),), (Support("end_low", "all"),))
    with pytest.raises(
        InputError, match="material 'rubber': density: missing: gravity acts in stage 'weigh'"
    ):
        follow(model, [Stage("weigh", gravity={"axial": -G})])
    with pytest.raises(InputError, match=r"gravity\.x: 'x' is not a direction of this model; allowed: axial"):
        follow(
            Model(tube_body(), (Part("wall", RUBBER),), model.supports), [Stage("weigh", gravity={"x": G})]
        )
