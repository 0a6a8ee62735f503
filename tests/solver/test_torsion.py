# SPDX-License-Identifier: MIT
"""Torques and prescribed rotations, against closed forms and between axisymmetric and 3-D models."""

import math
from dataclasses import replace

import numpy as np
import pytest
from exact.torsion import torsion
from models import cylinder_body, reached, tube_body, value
from scipy.optimize import fsolve

from annelid.geometry.errors import InvalidValue
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.fields.surfaces import deformed_surface
from annelid.solver.assembly.system import System
from annelid.solver.continuation.path import Path
from annelid.solver.energy.problem import Problem
from annelid.solver.model.boundary import Foundation, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.loads import Loads
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Fibres, Part
from annelid.solver.model.quantities import names_for
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

C1, C2 = 0.3, 0.2
MOONEY = Material("rubber", "mooney-rivlin", {"c1": C1, "c2": C2})
TURNED = (Support("end_low", "axial twist"), Support("end_high", "axial twist"))
HELD_BELOW = (Support("end_low", "all"), Support("end_high", "axial"))
ROUND = {"model": "solid", "around": 8}


def wall(material=MOONEY, **more):
    return (Part("wall", material, **more),)


def reactions(state):
    return value(state, "reaction torque end_high"), value(state, "axial reaction end_high")


@pytest.mark.exact
def test_quadrature_agrees_with_the_closed_form_of_a_rod():
    """M = π (c1 + c2) τ a⁴, N = -π/2 (c1 + 2 c2) τ² a⁴: Rivlin, Phil. Trans. A 242, 173 (1949) (memory)."""
    exact = torsion(C1, C2, 0.0, 1.2, 0.5)
    assert exact.torque == pytest.approx(math.pi * (C1 + C2) * 0.5 * 1.2**4, rel=1e-12)
    assert exact.force == pytest.approx(-math.pi / 2 * (C1 + 2 * C2) * 0.25 * 1.2**4, rel=1e-12)


@pytest.mark.exact
@pytest.mark.parametrize("degrees", [30.0, 400.0])
def test_rod_is_twisted(degrees):
    """A rod between plates: torque and Poynting force are exact, for more than a turn, too."""
    exact = torsion(C1, C2, 0.0, 0.5, math.radians(degrees))
    model = Model(cylinder_body(0.5, 1.0, (1, 1)), (Part("core", MOONEY),), TURNED)
    state = reached(model, [Stage("turn", twists={"end_high": degrees}, steps=2)])[-1]
    assert reactions(state) == pytest.approx((exact.torque, exact.force), rel=1e-8)
    assert value(state, "twist end_high") == pytest.approx(degrees, rel=1e-12)
    assert value(state, "reaction torque end_low") == pytest.approx(-exact.torque, rel=1e-8)


@pytest.mark.exact
def test_torque_does_work_on_the_rotation():
    """Under its torque the rod turns by the same angle; 2 U = M θ, as the law is linear in torsion."""
    exact = torsion(C1, C2, 0.0, 1.2, math.radians(120.0))
    model = Model(cylinder_body(1.2, 1.0, (2, 2)), (Part("core", MOONEY),), HELD_BELOW)
    state = reached(model, [Stage("turn", torques={"end_high": exact.torque}, steps=2)])[-1]
    assert value(state, "twist end_high") == pytest.approx(120.0, rel=1e-8)
    assert 2 * value(state, "strain energy") == pytest.approx(exact.torque * math.radians(120.0), rel=1e-8)
    assert value(state, "axial reaction end_high") == pytest.approx(exact.force, rel=1e-8)
    assert state.unstable_modes == 0


@pytest.mark.exact
@pytest.mark.parametrize(("lz", "P"), [(1.0, 0.0), (1.2, 0.0), (1.2, 0.3)])
def test_tube_is_stretched_and_twisted(lz, P):
    """A tube whose radius is free narrows under torsion; a fluid all around adds to the mean stress."""
    exact = torsion(C1, C2, 1.0, 1.5, 1.0, lz)
    assert exact.a < 0.9
    model = Model(tube_body(1.5, 1.0, along=1.0, through=4), wall(), TURNED)
    turn = {"twists": {"end_high": math.degrees(1.0)}, "displacements": {"end_high": lz - 1}}
    stage = Stage("turn", pressure=P, surface_pressures={"outer": P}, steps=2, **turn)
    state = reached(model, [stage])[-1]
    force = exact.force - P * math.pi * (1.5**2 - 1.0) / lz
    assert 1 + value(state, "mean radial expansion") == pytest.approx(exact.a, rel=1e-5)
    assert reactions(state) == pytest.approx((exact.torque, force), rel=2e-5)
    assert value(state, "reaction torque end_low") == pytest.approx(-exact.torque, rel=2e-5)


@pytest.mark.long
@pytest.mark.exact
@pytest.mark.parametrize("angle", [35.0, -60.0])
def test_one_fibre_family_twists_a_membrane_under_pressure(angle):
    """Thin closed tube: W(λ, lz, γ) 2πR t - P π r² lz is stationary (own derivation; γ = r dθ/dZ)."""
    μ, k1, k2, t, P = 1.0, 2.0, 0.8, 1e-3, 4e-4
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))

    def energy(x):
        λ, lz, γ = x
        I1 = λ**2 + lz**2 + γ**2 + 1 / (λ * lz) ** 2
        e = max((c * λ + s * γ) ** 2 + (s * lz) ** 2 - 1, 0.0)
        return (μ / 2 * (I1 - 3) + k1 / (2 * k2) * (math.exp(k2 * e**2) - 1)) * 2 * t - P * λ**2 * lz

    def slope(x):
        steps = 1e-5 * np.eye(3)
        return [(energy(x + h) - energy(x - h)) / 2e-5 / t for h in steps]

    λ, lz, γ = fsolve(slope, [1.05, 1.05, 0.0], xtol=1e-12)
    assert abs(γ) > 0.03
    fibres = Fibres(angle, k1, k2, families=1)
    body = tube_body(A=1 - t / 2, B_over_A=(1 + t / 2) / (1 - t / 2), along=1.0)
    supports = (Support("end_low", "axial twist"), Support("end_high", "plate"))
    matrix = Material("rubber", "mooney-rivlin", {"c1": μ / 2, "c2": 0.0})
    model = Model(body, wall(matrix, fibres=fibres), supports)
    state = reached(model, [Stage("blow", pressure=P, steps=4)])[-1]
    assert math.radians(value(state, "twist end_high")) == pytest.approx(γ / λ, rel=2e-3)
    assert value(state, "mean radial expansion") == pytest.approx(λ - 1, rel=5e-3)
    assert value(state, "axial shortening") == pytest.approx(1 - lz, rel=5e-3)


@pytest.mark.long
def test_axisymmetric_and_solid_models_agree():
    """A tube with one fibre family under pressure and torque, clamped below."""
    supports = (Support("end_low", "all"), Support("end_high", "plate"))
    stage = Stage("load", torques={"end_high": 1.5}, pressure=0.05, steps=1)
    names = ("twist end_high", "axial shortening", "strain energy", "reaction torque end_low")
    found = []
    for size in ({}, ROUND):
        body = tube_body(1.4, 1.0, along=0.5, **size)
        model = Model(body, wall(fibres=Fibres(35.0, 0.5, 0.5, families=1)), supports)
        state = reached(model, [stage])[-1]
        found.append([value(state, name) for name in names])
    assert found[0][0] > 10.0
    assert found[0][3] == pytest.approx(-1.5, rel=1e-9)
    assert found[1] == pytest.approx(found[0], rel=0.02)


@pytest.mark.long
def test_solid_end_turns_by_more_than_half_a_turn():
    """Whole turns are counted, and the clamp turns rigidly."""
    body = tube_body(1.6, 6.0, along=3.0, **ROUND)
    model = Model(body, wall(), (Support("end_low", "all"), Support("end_high", "all")))
    stage = Stage("turn", twists={"end_high": 220.0}, steps=4)
    state = reached(model, [stage], stepping=Stepping(beyond_instability="follow"))[-1]
    assert value(state, "twist end_high") == pytest.approx(220.0, rel=1e-9)
    nodes = body.surface_nodes("end_high")
    x = (body.points + state.displacement)[nodes]
    turned = np.exp(1j * np.deg2rad(220.0)) * (body.points[nodes] @ [1, 1j, 0])
    assert x @ [1, 1j, 0] == pytest.approx(turned, abs=1e-12)
    assert value(state, "reaction torque end_low") == pytest.approx(-reactions(state)[0], rel=1e-6)


LOADS = {
    "surface_pressures": {"outer": 0.2},
    "forces": {"outer": 0.3},
    "radial_forces": {"outer": 0.4},
    "torques": {"end_high": 0.6},
    "twists": {"end_low": 6.0},
}


def loads(factor):
    """A multiple of all loads."""
    scaled = {kind: {name: factor * x for name, x in entries.items()} for kind, entries in LOADS.items()}
    return Loads(pressure=0.1 * factor, natural=0.0, **scaled)


@pytest.mark.parametrize(
    "size", [{}, pytest.param(ROUND, marks=pytest.mark.long)], ids=["axisymmetric", "solid"]
)
def test_rates_and_tangent_are_derivatives(size):
    """-∂R/∂s and K against central differences, at a displaced state under loads of all surfaces."""
    body = tube_body(1.5, 1.0, along=1.0, **size)
    model = Model(body, wall(), HELD_BELOW, foundations=(Foundation("outer", 0.3, "all"),), twist=True)
    system = System(Problem(replace(model, pressed=("outer",))))
    rng = np.random.default_rng(3)
    system.apply(loads(1.0))
    system.x.array_w[:] += 0.004 * rng.standard_normal(system.x.getLocalSize())
    x = system.x.copy()

    def residual(factor, direction=None, step=0.0):
        x.copy(system.x)
        if direction is not None:
            system.x.axpy(step, direction)
        system.apply(loads(factor))
        system.assemble_residual()
        return system.residual.array_r.copy()

    h = 1e-5
    numeric = -(residual(1 + h) - residual(1 - h)) / (2 * h)
    residual(1.0)
    rate = system.vector()
    system.load_rate(loads(1.0), rate)
    system.zero_fixed(rate)
    assert np.abs(numeric).max() > 0.01
    assert rate.array_r == pytest.approx(numeric, abs=1e-6 * np.abs(numeric).max())

    v = system.vector()
    v.array_w[:] = rng.standard_normal(v.getLocalSize())
    system.zero_fixed(v)
    numeric = (residual(1.0, v, h) - residual(1.0, v, -h)) / (2 * h)
    residual(1.0)
    system.factorise()
    image = system.vector()
    system.tangent.matrix.mult(v, image)
    system.zero_fixed(image)
    assert image.array_r == pytest.approx(numeric, abs=1e-5 * np.abs(numeric).max())
    assert system.tangent.is_symmetric()


def test_zero_torque_changes_nothing():
    """Under pressures and dead forces the twist stays zero, and all other results are those without it."""
    others = {kind: LOADS[kind] for kind in ("surface_pressures", "forces", "radial_forces")}
    model = Model(tube_body(1.5), wall(), HELD_BELOW)
    plain, torque = (
        reached(model, [Stage("load", pressure=0.05, steps=1, **others, **more)])[-1]
        for more in ({}, {"torques": {"end_high": 0.0}})
    )
    assert abs(value(plain, "mean radial expansion")) > 1e-3
    assert value(torque, "twist end_high") == 0.0
    assert not any("twist" in name or "torque" in name for name in plain.quantities)
    assert plain.displacement.shape[1] == 2
    for name in plain.quantities:
        assert value(torque, name) == pytest.approx(value(plain, name), rel=1e-7, abs=1e-9), name


def test_hoop_direction_is_coupled_only_with_twist():
    """Laws and principal values that need the hoop direction uncoupled are not used with twist."""
    plain, twisted = (Problem(Model(tube_body(), wall(), twist=twist)) for twist in (False, True))
    assert plain.elastic(plain.fields.groups[0], plain.F).axisymmetric
    assert not twisted.elastic(twisted.fields.groups[0], twisted.F).axisymmetric
    state = reached(Model(tube_body(1.5), wall(), TURNED), [Stage("t", twists={"end_high": 50.0}, steps=1)])[
        -1
    ]
    σ, λ = state.fields["Cauchy stress"], state.fields["principal stretches"]
    assert np.abs(σ[..., 1, 2]).max() > 0.1
    assert state.fields["largest principal stress"] == pytest.approx(np.linalg.eigvalsh(σ)[..., -1])
    assert np.prod(λ, axis=-1) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize(
    ("angle", "families", "twist"), [(35.0, 1, True), (35.0, 2, False), (0.0, 1, False), (90.0, 1, False)]
)
def test_only_fibres_that_wind_one_way_twist(angle, families, twist):
    model = Model(tube_body(), wall(fibres=Fibres(angle, 1.0, families=families)))
    assert model.solved_twist == twist
    assert ("twist end_high" in names_for(model.scope)) == twist


def test_fields_and_surfaces_contain_the_twist():
    body = tube_body(1.5, 1.0, along=1.0)
    state = reached(Model(body, wall(), TURNED), [Stage("turn", twists={"end_high": 60.0}, steps=1)])[-1]
    grid = FieldGrid(body)
    arrays = grid.point_arrays(state)
    x, y, _ = (arrays["reference position [mm]"] + arrays["displacement [mm]"]).T
    assert np.rad2deg(np.arctan2(y, x)) == pytest.approx(60.0 * body.points[grid.nodes, 1], abs=1e-3)
    outer = deformed_surface(body, state.displacement, "outer", around=4)
    x, y, z = outer.points.T
    assert np.rad2deg(np.arctan2(y, x))[z > 0.999] % 90 == pytest.approx(60.0, abs=1e-6)
    (corner,) = np.intersect1d(body.surface_nodes("outer"), body.surface_nodes("end_low"))
    assert np.hypot(x, y) == pytest.approx(1.5 + state.displacement[corner, 0], rel=1e-6)


CYLINDER = Contact("tube", "outer", "cylinder", 2.0, part_is="inside")


@pytest.mark.parametrize(
    ("supports", "more"),
    [
        ((Support("end_low", "axial"), Support("end_high", "axial")), {}),
        ((Support("end_low", "axial"), Support("end_high", "plate")), {}),
        (
            (Support("end_low", "axial"),),
            {"contacts": (CYLINDER,)},
        ),
        ((Support("end_low", "axial"),), {"foundations": (Foundation("outer", 1.0),)}),
    ],
)
def test_a_part_that_nothing_keeps_from_turning_is_refused(supports, more):
    model = Model(tube_body(), wall(), supports, **more)
    with pytest.raises(InvalidValue, match="nothing prevents a rotation about the axis"):
        Path(model, [Stage("turn", torques={"end_high": 1.0})])


def test_balanced_torques_need_no_support_against_rotation():
    supports = (Support("end_low", "axial"), Support("end_high", "axial"), Support("outer", "rigid motion"))
    model = Model(tube_body(1.5, along=0.5), wall(), supports)
    torques = {"end_low": -0.5, "end_high": 0.5}
    state = reached(model, [Stage("turn", torques=torques, steps=1)])[-1]
    turn = value(state, "twist end_high") - value(state, "twist end_low")
    held = reached(Model(tube_body(1.5, along=0.5), wall(), TURNED), [Stage("t", twists={"end_high": turn})])[
        -1
    ]
    assert reactions(held)[0] == pytest.approx(0.5, rel=1e-3)
    with pytest.raises(InvalidValue, match="do not balance"):
        reached(model, [Stage("turn", torques={"end_high": 0.5}, steps=1)])


SECTOR = {"model": "sector", "sector": 90.0, "around": 8}
REFUSED = {
    "clamped end": ({}, TURNED, {}, {"torques": {"end_high": 1.0}}, "takes the torque"),
    "sector": (SECTOR, HELD_BELOW, {}, {"torques": {"end_high": 1.0}}, "planes of symmetry"),
    "twist of a sector": (SECTOR, HELD_BELOW, {}, {"twists": {"end_low": 1.0}}, "planes of symmetry"),
    "fibres in a sector": (SECTOR, HELD_BELOW, {"fibres": Fibres(30.0, 1.0, families=1)}, {}, "one family"),
    "solid": (ROUND, TURNED, {}, {}, "axisymmetric model"),
    "radial force": (
        ROUND,
        HELD_BELOW,
        {},
        {"torques": {"end_high": 1.0}, "radial_forces": {"outer": 1.0}},
        "where it stays radial",
    ),
    "free end": ({}, HELD_BELOW, {}, {"twists": {"end_high": 1.0}}, "holds the rotation"),
    "no end": ({}, HELD_BELOW, {}, {"torques": {"outer": 1.0}}, "an end surface"),
    "shared edge": (
        {},
        (*TURNED, Support("outer", "radial")),
        {},
        {"twists": {"end_high": 5.0}},
        "share an edge but are turned by",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_turn_is_refused_in_words(case):
    size, supports, part, loads, text = REFUSED[case]
    model = Model(tube_body(1.5, **size), wall(**part), supports)
    with pytest.raises(InvalidValue, match=text):
        Path(model, [Stage("load", pressure=0.01, steps=1, **loads)])


def test_margin_of_a_torque_is_sought():
    model = Model(tube_body(1.5, along=1.0), wall(), HELD_BELOW)
    stage = Stage("turn", torques={"end_high": 0.5}, steps=1)
    outcome = Path(model, [stage], stepping=Stepping(seek_limit=1.5)).follow()
    (margin,) = outcome.margins
    assert (margin.load, margin.is_bound) == ("torque", True)
    assert margin.value == pytest.approx(1.5)
