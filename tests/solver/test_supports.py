# SPDX-License-Identifier: MIT
"""Supports, natural stretch, and the three models of one part against each other."""

import numpy as np
import pytest
from exact import tube
from models import (
    CLAMPED,
    CLOSED,
    SLIDING,
    cylinder_body,
    last_of,
    neo_hookean,
    reached,
    tube_body,
    tube_model,
    value,
)
from scipy.optimize import brentq

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.solver.model.boundary import Section, Support
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

RUBBER = neo_hookean(1.0)


def test_symmetric_end_represents_the_other_half():
    """Half a clamped tube, cut at its plane of symmetry, has the same states as the whole one."""
    stage = [Stage("inflate", pressure=0.06, steps=2)]
    whole = reached(tube_model(tube_body(length=2.0, along=0.25), RUBBER, CLAMPED), stage)[-1]
    supports = (Support("end_low", "symmetric"), Support("end_high", "all"))
    body = tube_body(length=1.0, along=0.25)
    half = reached(Model(body, (Part("wall", RUBBER),), supports, sections=(Section("mid", 0.0),)), stage)[-1]
    expansion = value(whole, "radial expansion mid")
    assert expansion > 0.1
    assert value(half, "radial expansion mid") == pytest.approx(expansion, rel=1e-7)
    assert 2 * value(half, "lumen volume") == pytest.approx(value(whole, "lumen volume"), rel=1e-8)
    for end in ("axial reaction end_high", "radial reaction end_high"):
        assert value(half, end) == pytest.approx(value(whole, end), rel=1e-6)


def test_clamps_and_bonded_plates():
    """Clamps and bonded plates fix the radius; a plate remains plane and moves along the axis."""
    body = tube_body(length=2.0, along=0.25)
    stage = [Stage("inflate", pressure=0.03, steps=2)]
    clamped = reached(tube_model(body, RUBBER, CLAMPED), stage)[-1]
    inner = clamped.profiles["inner"]
    assert inner.radius[[0, -1]] == pytest.approx(1.0, abs=1e-12)
    assert inner.radius.max() > 1.05
    assert inner.current_height == pytest.approx(inner.height, abs=0.1)
    held = reached(
        tube_model(body, RUBBER, (Support("end_low", "all"), Support("end_high", "plate all"))), stage
    )[-1]
    assert held.profiles["inner"].radius[-1] == pytest.approx(1.0, abs=1e-12)
    assert abs(value(held, "axial shortening")) > 1e-3
    nodes = body.surface_nodes("end_high")
    assert np.ptp(held.displacement[nodes, 1]) < 1e-14  # a plate remains plane


@pytest.mark.exact
def test_radial_support_confines_a_core():
    """A compressible cylinder whose side may slide but not expand is pushed: confined compression."""
    side = (Support("end_low", "axial"), Support("end_high", "axial"), Support("outer", "radial"))
    soft = neo_hookean(1.0, bulk_modulus=2.0)
    state = reached(
        Model(cylinder_body(1.0, 1.0), (Part("core", soft),), side),
        [Stage("push", displacements={"end_high": -0.1}, steps=2)],
    )[-1]
    λ = 0.9  # confined: W = μ/2 (λ^(-2/3)(λ² + 2) - 3) + κ/2 (λ - 1)²
    slope = 0.5 * (4 / 3 * λ ** (1 / 3) - 4 / 3 * λ ** (-5 / 3)) + 2.0 * (λ - 1)
    assert value(state, "axial reaction end_high") == pytest.approx(slope * np.pi, rel=1e-8)
    assert abs(value(state, "mean radial expansion")) < 1e-12
    side_stress = 2 / 3 * λ ** (-5 / 3) * (1 - λ**2) / 2 + 2.0 * (λ - 1)  # μ J^(-5/3) (1 - I1/3) + κ (J - 1)
    assert value(state, "radial reaction outer") == pytest.approx(side_stress * 2 * np.pi * λ, rel=1e-8)
    for end in ("end_low", "end_high"):  # the ends slide, so the corners are held across by the side alone
        assert value(state, f"radial reaction {end}") == 0.0


@pytest.mark.exact
@pytest.mark.parametrize("order", [1, -1])
def test_parts_that_share_the_nodes_of_their_ends_have_their_own_reactions(order):
    """Two bonded neo-Hookean bars pulled together: S = μ (λ - λ⁻²) on the area of each (any textbook)."""
    body = build(Sleeve(1.0, 1.0, (Layer("wall", 0.5),)), MeshSize(along=0.5))
    parts = (Part("core", neo_hookean(1.0)), Part("wall", neo_hookean(3.0)))
    ends = ("end_low", "core_end_low", "end_high", "core_end_high")[::order]
    pull = Stage("pull", displacements={"end_high": 0.2, "core_end_high": 0.2}, steps=2)
    state = reached(Model(body, parts, tuple(Support(end, "axial") for end in ends)), [pull])[-1]
    S = 1.2 - 1.2**-2
    for end, force in (("core_end", S * np.pi), ("end", 3 * S * np.pi * (1.5**2 - 1))):
        assert value(state, f"axial reaction {end}_high") == pytest.approx(force, rel=1e-7)
        assert value(state, f"axial reaction {end}_low") == pytest.approx(-force, rel=1e-7)


def test_prescribed_motion_is_exact_and_reversible():
    """The prescribed end motion is exact; when it returns to zero, the part is undeformed again."""
    stages = [
        Stage("pull", displacements={"end_high": 0.4}, steps=2),
        Stage("back", displacements={"end_high": 0.0}, steps=2),
    ]
    states = reached(tube_model(tube_body(), RUBBER, CLAMPED), stages)
    pulled, back = last_of(states, "pull"), last_of(states, "back")
    assert value(pulled, "axial shortening") == pytest.approx(-0.4, rel=1e-12)
    assert value(pulled, "axial reaction end_high") > 0.4
    assert np.abs(back.displacement).max() < 1e-8
    assert value(back, "strain energy") < 1e-12


# natural stretch

FREE = (Support("end_low", "axial"),)
COMPATIBLE = (
    NaturalStretch(hoop=1.15, axial=1.15**-2),
    NaturalStretch(hoop=0.9, axial=0.9**-2),
    NaturalStretch(swelling=1.2),
    NaturalStretch(hoop=1.1, axial=1.1**-2, swelling=0.8),
)


@pytest.mark.exact
@pytest.mark.parametrize("natural", COMPATIBLE, ids=str)
@pytest.mark.parametrize("body", ["tube", "cylinder"])
def test_free_part_rests_at_its_natural_stretch(body, natural):
    """With equal normal and hoop factors F = G is compatible: the free part is deformed without stress."""
    normal, hoop, axial = natural.factors
    assert normal == pytest.approx(hoop)
    drawn, region = (tube_body(1.5), "wall") if body == "tube" else (cylinder_body(1.0, 1.0), "core")
    state = reached(
        Model(drawn, (Part(region, RUBBER, natural_stretch=natural),), FREE), [Stage("settle", steps=4)]
    )[-1]
    assert state.displacement[:, 0] == pytest.approx((hoop - 1) * drawn.points[:, 0], abs=1e-7)
    assert state.displacement[:, 1] == pytest.approx((axial - 1) * drawn.points[:, 1], abs=1e-7)
    assert abs(value(state, "peak stress")) < 1e-7
    assert value(state, "strain energy") < 1e-10
    assert value(state, "largest stretch") == pytest.approx(1.0, abs=1e-7)


BONDED = (
    (NaturalStretch(hoop=0.9), NaturalStretch()),
    (NaturalStretch(), NaturalStretch(hoop=0.85, axial=0.95)),
    (NaturalStretch(axial=0.8), NaturalStretch(swelling=1.08)),
)


@pytest.mark.exact
@pytest.mark.parametrize("natural", BONDED, ids=["shrunk liner", "wound skin", "swollen skin"])
@pytest.mark.parametrize("lz", [1.0, 1.1])
def test_bonded_tubes_with_their_own_natural_stretch(lz, natural):
    """Two bonded layers squeeze each other, as in a shrink fit; radially exact (exact/tube.py)."""
    radii, moduli = (1.0, 1.2, 1.5), (1.0, 0.4)
    factors = tuple(n.factors for n in natural)
    la = brentq(lambda x: tube.bonded(x, radii, moduli, factors, lz)[0], 0.6, 1.6, xtol=1e-13)
    _, force, r = tube.bonded(la, radii, moduli, factors, lz)
    assert abs(r[1] / radii[1] - 1) > 0.004  # the layers deform each other
    body = tube_body(layers=(("liner", 0.2), ("skin", 0.3)), through=2)
    parts = tuple(
        Part(region, neo_hookean(mu), natural_stretch=n)
        for region, mu, n in zip(("liner", "skin"), moduli, natural, strict=True)
    )
    model = Model(body, parts, SLIDING, sections=(Section("mid", 0.5),))
    stages = [Stage("settle", steps=4), Stage("stretch", displacements={"end_high": lz - 1}, steps=2)]
    state = reached(model, stages)[-1]
    found = body.points[:, 0] + state.displacement[:, 0]
    for R, exact in zip(radii, r, strict=True):
        at = np.abs(body.points[:, 0] - R) < 1e-9
        assert found[at] == pytest.approx(exact, rel=2e-5), R
    assert value(state, "axial reaction end_high") == pytest.approx(force, rel=1e-3, abs=1e-4)


# models of the same part

PRESSURE = 0.25  # of a tube with B/A = 1.5, near la = 1.4
SIDES = (  # relative tolerance: 16 or 18 second-order elements around the circumference
    pytest.param({"model": "sector", "sector": 90.0, "around": 16}, 2e-4, id="sector of 90 degrees"),
    pytest.param({"model": "sector", "sector": 60.0, "around": 18}, 2e-4, id="sector of 60 degrees"),
)


@pytest.fixture(scope="module")
def axisymmetric():
    model = tube_model(tube_body(1.5, length=0.5, along=0.5), RUBBER, CLOSED)
    return reached(model, [Stage("inflate", pressure=PRESSURE, steps=2)])[-1]


def check_same(state, reference, tolerance):
    assert value(reference, "radial expansion mid") > 0.3
    for name in (
        "radial expansion mid",
        "lumen volume",
        "volume change",
        "strain energy",
    ):
        assert value(state, name) == pytest.approx(value(reference, name), rel=5 * tolerance), name
    name = "minimum wall thickness"  # measured to straight pieces of the outer surface
    assert value(state, name) == pytest.approx(value(reference, name), rel=2e-3)
    ratio = (1 + value(state, "radial expansion mid")) / (1 + value(reference, "radial expansion mid"))
    assert ratio == pytest.approx(1.0, abs=tolerance)
    assert value(state, "axial shortening") == pytest.approx(
        value(reference, "axial shortening"), abs=tolerance
    )
    assert state.unstable_modes == reference.unstable_modes == 0


@pytest.mark.reference
@pytest.mark.parametrize(("size", "tolerance"), SIDES)
def test_sector_is_the_axisymmetric_part(axisymmetric, size, tolerance):
    model = tube_model(tube_body(1.5, length=0.5, along=0.5, **size), RUBBER, CLOSED)
    state = reached(model, [Stage("inflate", pressure=PRESSURE, steps=2)])[-1]
    check_same(state, axisymmetric, tolerance)


@pytest.mark.reference
def test_tetrahedra_and_hexahedra_agree(axisymmetric):
    """Only a sector, for speed; the meshes of the whole circumference are those of sectors."""
    size = {"model": "sector", "sector": 90.0, "around": 16, "cells": "tetrahedra"}
    model = tube_model(tube_body(1.5, length=0.5, along=0.5, **size), RUBBER, CLOSED)
    state = reached(model, [Stage("inflate", pressure=PRESSURE, steps=2)])[-1]
    check_same(state, axisymmetric, 5e-4)


@pytest.mark.reference
def test_solid_has_the_reactions_of_the_axisymmetric_part():
    """Clamped at both ends, a full 3-D tube with twelve elements around: volume, reactions and stability."""
    stage = [Stage("inflate", pressure=0.15, steps=2)]
    flat = tube_body(1.5, length=1.0, along=0.5, through=1)
    round_ = tube_body(1.5, length=1.0, along=0.5, through=1, model="solid", around=12)
    reference = reached(tube_model(flat, RUBBER, CLAMPED), stage)[-1]
    state = reached(tube_model(round_, RUBBER, CLAMPED), stage)[-1]
    for name in (
        "radial expansion mid",
        "axial reaction end_high",
        "radial reaction end_high",
        "lumen volume",
    ):
        assert abs(value(reference, name)) > 0.05
        assert value(state, name) == pytest.approx(value(reference, name), rel=2e-3), name
    assert state.unstable_modes == 0
