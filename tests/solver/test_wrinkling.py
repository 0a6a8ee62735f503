# SPDX-License-Identifier: MIT
"""Thin walls in compression: where they are compressed, which fraction of them, and when they wrinkle.

Sources: a long cylinder under axial load wrinkles at σ = E t / (R √(3 (1 - ν²))), 2 μ t/R at ν = ½, into half
waves of the length π √(R t) / (12 (1 - ν²))^(1/4) (Timoshenko & Gere, Theory of Elastic Stability, from
memory). Stresses of thin walls of equal stretch: own derivations beside the tests.
"""

import math

import numpy as np
import pytest
from dielectric_cases import MU, RUBBER, sheet, volts
from models import FOLLOW, SLIDING, last_of, neo_hookean, reached, tube_body, value
from scipy.optimize import brentq

from annelid.geometry.shapes.band import Band
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

THIN = 1e-2  # of the critical stress: (λ² - 1/λ) against 3 ln λ, and t/R beside 1
EVEN = 1e-7  # of a stress that is the same everywhere
WALL = 2e-3  # of a stress in a wall of 1/1000 of its radius, over μ


@pytest.mark.parametrize(("thickness", "waves"), [(0.01, 6), (0.02, 4)])
def test_cylinder_wrinkles_under_axial_load(thickness, waves):
    """Unstable modes begin at the stress 2 μ t/R; the ends slide, so whole half waves fit between them."""
    half = np.pi * np.sqrt(thickness) / 9**0.25
    inner = 1 - thickness / 2
    body = tube_body(1 + thickness / inner, waves * half, A=inner, along=half / 6, through=1)
    model = Model(body, (Part("wall", neo_hookean()),), SLIDING)
    shortening = 1.2 * 2 * thickness / 3 * waves * half
    states = reached(
        model, [Stage("press", displacements={"end_high": -shortening}, steps=7)], stepping=FOLLOW
    )
    first = next(state for state in states if state.critical)
    assert first.critical == "bifurcation"
    stress = -value(first, "axial reaction end_high") / (2 * np.pi * thickness)
    assert stress == pytest.approx(2 * thickness, rel=THIN)
    assert {s.unstable_modes for s in states if s.index < first.index} == {0}
    assert min(s.unstable_modes for s in states if s.index > first.index) > 0
    outer = body.points[:, 0] > 1
    along = np.argsort(body.points[outer, 1])
    wave = first.mode[outer][along, 0]
    assert (np.diff(np.sign(wave[np.abs(wave) > 1e-3 * np.abs(wave).max()])) != 0).sum() == waves
    for state in states[1 : first.index]:
        λ = 1 - value(state, "axial shortening")
        assert value(state, "least in-plane stress") == pytest.approx(λ**2 - 1 / λ, rel=EVEN)
        assert value(state, "compressed wall fraction") == 1.0


def test_voltage_compresses_a_tube_of_fixed_length():
    """Stretched to λz and slightly inflated, it expands under voltage until its axial tension vanishes.

    σh = p λh² λz with p = P R/H, σz = σh + μ (λz² - λh²): compressed from λh² (1 - p λz/μ) = λz² on.
    """
    R, H, λz, p = 50.0, 0.05, 1.5, 0.05 * MU
    body = tube_body(1 + H / R, 1.0, A=R, along=1.0, through=1, bands=(Band("film", "wall", 0.0, 1.0),))
    model = Model(body, (sheet("wall", H, material=RUBBER),), SLIDING, electrodes=(Electrode("film"),))
    limit = λz / np.sqrt(1 - p * λz / MU)

    def spread(name, λh):
        """ε E² = μ (λh² - λr²) - σh, E = e λh λz √(μ/ε)."""
        square = (λh**2 - (λh * λz) ** -2 - p / MU * λh**2 * λz) / (λh * λz) ** 2
        return Stage(name, voltages={"film": volts(np.sqrt(square), H)}, steps=3)

    stages = [
        Stage("draw", displacements={"end_high": λz - 1}, pressure=p * H / R, steps=4),
        spread("tensioned", 0.99 * limit),
        spread("compressed", 1.01 * limit),
    ]
    states = reached(model, stages)
    for name, share, λ in (
        ("draw", 0.0, None),
        ("tensioned", 0.0, 0.99 * limit),
        ("compressed", 1.0, 1.01 * limit),
    ):
        state = last_of(states, name)
        assert value(state, "compressed wall fraction") == share
        λh = 1 + value(state, "mean radial expansion")
        assert λ is None or λh == pytest.approx(λ, rel=WALL)
        σh = p * λh**2 * λz
        least = min(σh, σh + MU * (λz**2 - λh**2))
        assert value(state, "least in-plane stress") == pytest.approx(least, abs=WALL * MU)


def test_oversized_liner_is_the_compressed_part_of_a_wall():
    """A liner a tenth too wide in a tube of twice its thickness and fixed length: hoop forces balance.

    With μ = 1, σh = λ² - λ⁻² at λz = 1: f(a/g) + 2 f(a) = 0 gives the stretch a of the tube.
    """
    R, t, g = 100.0, 0.05, 1.1
    body = tube_body(A=R, layers=(("liner", t), ("tube", 2 * t)), along=1.0, through=1)
    tight = Part("liner", neo_hookean(), natural_stretch=NaturalStretch(hoop=g))
    model = Model(body, (tight, Part("tube", neo_hookean())), SLIDING)

    def f(λ):
        return λ**2 - λ**-2

    a = brentq(lambda a: f(a / g) + 2 * f(a), 1.0, g)
    rest = reached(model, [Stage("rest", steps=2)])[-1]
    assert 1 + value(rest, "mean radial expansion") == pytest.approx(a, rel=WALL)
    assert value(rest, "compressed wall fraction") == pytest.approx(1 / 3, rel=WALL)
    assert value(rest, "least in-plane stress") == pytest.approx(f(a / g), abs=WALL)


@pytest.mark.parametrize(("carried", "share"), [(0.0, 1.0), (0.09, 1.0), (0.11, 0.0), (math.inf, 0.0)])
def test_compression_that_a_wall_carries_is_no_folding(carried, share):
    """A bar shortened to λ has the stress μ (λ² - 1/λ), -0.1 μ at λ = 0.9667."""
    λ = brentq(lambda λ: λ**2 - 1 / λ + 0.1, 0.9, 1.0)
    part = Part("wall", neo_hookean())
    model = Model(tube_body(1.01), (part,), SLIDING, smooth_compression=carried)
    state = reached(model, [Stage("press", displacements={"end_high": λ - 1}, steps=2)])[-1]
    assert value(state, "least in-plane stress") == pytest.approx(-0.1, rel=1e-6)
    assert value(state, "compressed wall fraction") == share
