# SPDX-License-Identifier: MIT
"""Non-uniform natural stretch, and parts drawn under pressure."""

import numpy as np
import pytest
from exact import tube as exact
from models import SLIDING, neo_hookean, tube_body, value

from annelid.geometry.errors import InputError
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.solver.continuation.path import follow
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.boundary import Support
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalField, NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

A, RATIO, LA, MU = 1.0, 1.3, 1.4, 0.5


def inflated_tube(pressure=None, cells=12):
    """A tube drawn as inflated, its natural stretch R/r from the exact solution of the thick tube."""
    R = np.array([A, RATIO * A])
    a, b = exact.radius(R, A, LA, 1.0)
    body = tube_body(b / a, A=a, through=cells)
    r = body.points[:, 0]
    drawn = np.sqrt(A**2 + r**2 - a**2)  # reference radius of the material at r, lz = 1
    skin = Part("wall", neo_hookean(MU), natural_stretch=NaturalField(drawn / r, np.ones_like(r)))
    P, _ = exact.pressure_and_force(exact.mooney_rivlin(MU / 2), A, RATIO * A, LA, 1.0)
    return Model(body, (skin,), SLIDING, drawn_pressure=P if pressure is None else pressure), P


@pytest.mark.exact
def test_inflated_tube_is_in_equilibrium_and_returns():
    model, P = inflated_tube()
    states = []
    outcome = follow(model, [Stage("release", pressure=0.0, steps=4)], observe=states.append)
    assert outcome.kind == "reached"
    assert "in equilibrium with its pressure" in outcome.remarks[0]
    first, last = states[0], states[-1]
    assert first.loads["pressure"].value == pytest.approx(P)
    assert np.abs(first.displacement).max() < 2e-4
    assert value(first, "smallest stretch") == pytest.approx(1 / LA, rel=2e-3)
    radius = model.body.points[:, 0] + last.displacement[:, 0]
    assert radius.min() == pytest.approx(A, abs=2e-4)
    assert radius.max() == pytest.approx(RATIO * A, abs=2e-4)
    assert value(last, "strain energy") < 1e-5 * value(first, "strain energy")


@pytest.mark.rate
def test_equilibrium_as_drawn_converges_with_the_mesh():
    # The error of a piecewise linear field is proportional to the square of the element size.
    moved = []
    for cells in (3, 6):
        model, _ = inflated_tube(cells=cells)
        states = []
        follow(model, [Stage("hold", steps=1)], observe=states.append)
        moved.append(np.abs(states[0].displacement).max())
    assert moved[0] / moved[1] > 3.0


def test_inconsistent_pressure_is_refused():
    model, P = inflated_tube(pressure=0.0)
    with pytest.raises(NoEquilibrium, match=r"not in equilibrium with the pressure of 0.MPa"):
        follow(model, [Stage("hold", steps=1)])
    assert P > 0


@pytest.mark.parametrize("hoop", [0.8, pytest.param(1.2, marks=pytest.mark.long)])
def test_uniform_field_is_the_constant(hoop):
    body = tube_body(1.3)
    everywhere = np.ones(len(body.points))
    found = []
    for natural in (NaturalStretch(hoop=hoop, axial=0.9), NaturalField(hoop * everywhere, 0.9 * everywhere)):
        states = []
        part = Part("wall", neo_hookean(MU), natural_stretch=natural)
        follow(Model(body, (part,), SLIDING), [Stage("settle", steps=2)], observe=states.append)
        found.append(states[-1])
    np.testing.assert_allclose(found[1].displacement, found[0].displacement, atol=1e-10)
    for name in ("strain energy", "peak stress", "largest stretch"):
        assert value(found[1], name) == pytest.approx(value(found[0], name), rel=1e-9)


def test_natural_stretches_out_of_range_are_refused():
    with pytest.raises(
        InputError, match=r"natural_stretch.hoop: must be at least 0\.05 and at most 20, got 0\.01"
    ):
        NaturalField(np.full(3, 0.01), np.ones(3))


# sheared across the wall: drawn after u_Z = f(R), so that the stress-free place is R, Z - f(R)

FIXED_LUMEN = (Support("lumen", "axial"),)


def sheared(body, slope):
    """Natural stretch of a part drawn after a shear dZ/dR along its axis."""
    gradient = np.tile(np.eye(3), (len(body.points), 1, 1))
    gradient[:, 2, 0] = -slope
    return NaturalField.of_gradient(gradient, NaturalStretch())


@pytest.mark.parametrize("revolution", [True, False])
def test_natural_stretch_ignores_only_rotations(revolution):
    # Polar decomposition, from memory: the lengths of a natural gradient are those of GᵀG.
    rng = np.random.default_rng(3)
    gradient = np.eye(3) + 0.3 * (rng.random((20, 3, 3)) - 0.4)
    if revolution:
        gradient[:, 1, ::2] = gradient[:, ::2, 1] = 0.0
    before = NaturalStretch(hoop=0.9, axial=1.1, swelling=1.05)
    field = NaturalField.of_gradient(gradient, before)
    assert (field.twist is None) == revolution
    U = _matrices(field)
    G = np.array(before.factors)[:, None] * gradient
    np.testing.assert_allclose(U @ U, np.swapaxes(G, 1, 2) @ G, rtol=1e-12, atol=1e-14)
    # The volume of a sheet is constant, so its thickness is inverse to its area.
    area = np.linalg.norm(np.cross(G[:, :, 1], G[:, :, 2]), axis=1)
    np.testing.assert_allclose(field.thickness, area / np.linalg.det(G), rtol=1e-12)
    kept = NaturalField(field.hoop, field.axial, shear=field.shear, twist=field.twist)
    np.testing.assert_allclose(np.linalg.det(_matrices(kept)), 1.0, rtol=1e-12)


def _matrices(field):
    normal, hoop, axial, shear, aslant, along = np.pad(field.factors, ((0, 0), (0, 2)))[:, :6].T
    return np.stack([normal, aslant, shear, aslant, hoop, along, shear, along, axial], -1).reshape(-1, 3, 3)


@pytest.mark.exact
def test_free_tube_rests_at_its_sheared_natural_stretch():
    """Own reasoning: drawn after a telescoping shear, the tube reverses the shear and is free of stress."""
    body = tube_body(1.5)
    part = Part("wall", neo_hookean(MU), natural_stretch=sheared(body, 0.3))
    states = []
    follow(Model(body, (part,), FIXED_LUMEN), [Stage("settle", steps=3)], observe=states.append)
    R = body.points[:, 0]
    assert states[-1].displacement[:, 0] == pytest.approx(0.0, abs=1e-8)
    assert states[-1].displacement[:, 1] == pytest.approx(-0.3 * (R - 1.0), abs=1e-8)
    assert value(states[-1], "strain energy") < 1e-12
    assert value(states[-1], "largest stretch") == pytest.approx(1.0, abs=1e-6)


@pytest.mark.long
@pytest.mark.exact
def test_a_tube_drawn_twisted_unwinds():
    """Own reasoning: drawn after a twist of τ per length, it reverses the twist and is free of stress."""
    τ, length = 0.2, 0.6
    body = tube_body(1.3, length=length, along=0.3, model="solid", around=12, through=1)
    x, y, z = body.points.T
    gradient = np.tile(np.eye(3), (len(body.points), 1, 1))
    gradient[:, 1, 2] = -τ * np.hypot(x, y)
    twisted = NaturalField.of_gradient(gradient, NaturalStretch())
    part = Part("wall", neo_hookean(MU), natural_stretch=twisted)
    states = []
    model = Model(body, (part,), (Support("end_low", "all"),))
    follow(model, [Stage("settle", steps=2)], observe=states.append)
    back = np.exp(-1j * τ * z) * (x + 1j * y)
    place = body.points + states[-1].displacement
    expected = np.column_stack([back.real, back.imag, z])
    np.testing.assert_allclose(place, expected, atol=2e-3 * τ * length)
    shear_energy = MU * τ**2 / 2 * np.pi / 2 * (1.3**4 - 1.0) * length  # of the twist if it remained
    assert value(states[-1], "strain energy") < 1e-3 * shear_energy
    assert value(states[-1], "largest stretch") == pytest.approx(1.0, abs=1e-2)


@pytest.mark.long
@pytest.mark.exact
def test_inflated_sphere_is_in_equilibrium_up_to_its_pole():
    """At the pole the circumference has no direction; the state of the thick sphere is uniform around."""
    A, B, a = 1.0, 1.2, 1.15
    b = (a**3 + B**3 - A**3) ** (1 / 3)
    size = MeshSize(along=0.4, model="sector", sector=90.0, around=16, through=2)
    body = build(Balloon(sphere(a, half=True), (Layer("wall", b - a),)), size)
    r = np.linalg.norm(body.points, axis=1)
    λ = r / np.cbrt(r**3 - a**3 + A**3)
    skin = Part("wall", neo_hookean(MU), natural_stretch=NaturalField(1 / λ, 1 / λ))
    P = MU * sum(sign * (2 / x + 1 / (2 * x**4)) for sign, x in ((1, b / B), (-1, a / A)))
    states = []
    model = Model(body, (skin,), (Support("end_low", "symmetric"),), drawn_pressure=P)
    follow(model, [Stage("release", pressure=0.0, steps=3)], observe=states.append)
    assert np.abs(states[0].displacement).max() < 2e-3
    assert value(states[-1], "strain energy") < 1e-4 * value(states[0], "strain energy")
    assert value(states[-1], "largest stretch") == pytest.approx(1.0, abs=0.02)


@pytest.mark.exact
def test_bonded_tubes_with_sheared_natural_stretch():
    """Own derivation: with both faces fixed, the shear force K per length is the same in both layers.

    2πR μ (w' + c) = K in each, with w the motion along the axis, so that ∫ w' dR = 0 gives K. Shears are
    small, because large ones also pull the ends inwards.
    """
    radii, moduli, slopes = (1.0, 1.2, 1.5), (1.0, 0.3), (0.0004, -0.0010)
    body = tube_body(layers=(("liner", 0.2), ("skin", 0.3)))
    parts = tuple(
        Part(name, neo_hookean(mu), natural_stretch=sheared(body, c))
        for name, mu, c in zip(("liner", "skin"), moduli, slopes, strict=True)
    )
    ends = (Support("end_low", "radial"), Support("end_high", "radial"))
    both = (*FIXED_LUMEN, Support("outer", "axial"), *ends)
    states = []
    follow(Model(body, parts, both), [Stage("settle", steps=1)], observe=states.append)
    thickness, logs = np.diff(radii), np.diff(np.log(radii))
    k = (slopes @ thickness) / (logs / moduli).sum()  # K / 2π
    w = k * logs[0] / moduli[0] - slopes[0] * thickness[0]
    assert abs(w) > 5e-5
    at = np.abs(body.points[:, 0] - 1.2) < 1e-9
    assert states[-1].displacement[at, 1] == pytest.approx(w, rel=1e-3)
