# SPDX-License-Identifier: MIT
"""Pressures on outer surfaces and radial dead forces, against exact radial solutions.

Formulas in exact/tube.py and exact/annulus.py. In an incompressible tube only the difference of both
pressures matters, because an even pressure only adds to the mean stress.
"""

import numpy as np
import pytest
from exact import annulus, tube
from models import (
    CLOSED,
    FOLLOW,
    SLIDING,
    last_of,
    neo_hookean,
    reached,
    run,
    tube_body,
    tube_model,
    value,
)
from scipy.optimize import brentq, fsolve

from annelid.geometry.errors import InputError
from annelid.solver.assembly.system import System
from annelid.solver.constraints.stage_checks import check_stages
from annelid.solver.continuation.path import Path
from annelid.solver.energy.problem import Problem
from annelid.solver.model.boundary import Support
from annelid.solver.model.loads import Loads
from annelid.solver.model.stage_ends import EndCondition
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

TOLERANCE = 2e-3  # of radii and pressures with two elements through the wall
FINE = 1e-4  # the same with six
RUBBER = neo_hookean(1.0)
SOFT = neo_hookean(1.0, bulk_modulus=5.0)
SECTOR = {"model": "sector", "sector": 90.0, "around": 16, "along": 1.0}
MODELS = ({}, SECTOR, {"model": "solid", "around": 8, "along": 1.0})
NOT_SYMMETRIC = "the tangent is not symmetric"


def radii(state, A=1.0):
    """Inner and outer radius at half height."""
    return A * (1 + value(state, "radial expansion mid")), float(np.mean(state.profiles["outer"].radius))


# pressures


@pytest.mark.exact
def test_the_radial_equation_gives_the_even_compression():
    """Under one pressure on both faces a compressible tube shrinks evenly: P = -W_l/(λ lz) at l = λ."""
    law, λ = annulus.compressible(1.0, 5.0), 0.97
    P = -float(law(np.array([λ]), np.array([λ])).radial[0]) / λ
    found = annulus.deformed_radii(law, 1.0, 2.0, annulus.pressed(P), annulus.pressed(P))
    assert found == pytest.approx((λ, 2 * λ), rel=1e-8)
    assert P > 0.05


@pytest.mark.exact
@pytest.mark.parametrize(("inner", "outer"), [(0.0, 0.3), (0.4, 0.1), (0.3, 0.3)])
def test_a_compressible_wall_between_two_pressures(inner, outer):
    law = annulus.compressible(1.0, 5.0)
    exact = annulus.deformed_radii(law, 1.0, 2.0, annulus.pressed(inner), annulus.pressed(outer))
    model = tube_model(tube_body(2.0, through=6), SOFT)
    stage = Stage("press", pressure=inner, surface_pressures={"outer": outer}, steps=2)
    state = reached(model, [stage])[-1]
    assert radii(state) == pytest.approx(exact, rel=FINE)
    assert abs(radii(state)[0] - 1) > 100 * FINE
    assert state.loads["pressure on outer"].value == outer


@pytest.mark.exact
@pytest.mark.parametrize(
    "size", [{}, SECTOR, pytest.param(SECTOR | {"cells": "tetrahedra"}, marks=pytest.mark.long)], ids=str
)
@pytest.mark.parametrize("inner", [0.0, 0.2])
def test_only_the_difference_of_pressures_matters(size, inner):
    la = 0.96  # before the sector buckles
    P = tube.neo_hookean_pressure(1.0, 1.0, 1.5, la, 1.0)
    model = tube_model(tube_body(1.5, **size), RUBBER)
    stage = Stage("press", pressure=inner, surface_pressures={"outer": inner - P}, steps=2)
    state = reached(model, [stage])[-1]
    exact = (la, float(tube.radius(1.5, 1.0, la, 1.0)))
    assert radii(state) == pytest.approx(exact, rel=TOLERANCE / 4)
    assert state.unstable_modes == 0


@pytest.mark.exact
@pytest.mark.parametrize("size", [{}, pytest.param(SECTOR, marks=pytest.mark.long)], ids=str)
@pytest.mark.parametrize("supports", [SLIDING, CLOSED], ids=["sliding", "closed"])
def test_equal_pressures_do_not_deform_an_incompressible_tube(size, supports):
    """Also with a plate: the fluid outside presses on it over the whole circle of the outer surface."""
    model = tube_model(tube_body(1.5, **size), RUBBER, supports)
    stage = Stage("press", pressure=0.3, surface_pressures={"outer": 0.3}, steps=1)
    state = reached(model, [stage])[-1]
    assert np.abs(state.displacement).max() < 1e-10
    pulled = Stage("press", pressure=0.3, surface_pressures={"outer": 0.2}, steps=1)
    assert np.abs(reached(model, [pulled])[-1].displacement).max() > 1e-3


@pytest.mark.exact
def test_a_closed_tube_in_a_pressure_chamber():
    """Radius and length of a tube closed by plates: outside pressure acts as suction does."""
    la, ratio = 0.9, 1.5
    W = tube.mooney_rivlin(0.5)
    lz = tube.capped_stretch(W, 1.0, ratio, la)
    P, _ = tube.pressure_and_force(W, 1.0, ratio, la, lz)
    model = tube_model(tube_body(ratio), RUBBER, CLOSED)
    state = reached(model, [Stage("press", surface_pressures={"outer": -P}, steps=2)])[-1]
    assert radii(state)[0] == pytest.approx(la, rel=TOLERANCE)
    assert value(state, "axial shortening") == pytest.approx(1 - lz, rel=0.01)
    assert abs(value(state, "axial reaction end_low")) < 1e-8


@pytest.mark.exact
def test_a_pressed_tube_on_a_rigid_core_keeps_its_shape():
    """The core and the ends take the whole pressure: P 2π A L and P π (B² - A²); supports share nodes.

    The supports that hold the radius, of which one is on the rim of the pressed surface, take the former
    together: ∫ σ_hoop dr dz = -P (B - A) L of the wall and P B L of the fluid, over the whole circle.
    """
    supports = (Support("end_low", "all"), *SLIDING[1:], Support("lumen", "radial"), Support("outer", "free"))
    model = tube_model(tube_body(1.5), RUBBER, supports)
    state = reached(model, [Stage("press", surface_pressures={"outer": 0.4}, steps=1)])[-1]
    assert np.abs(state.displacement).max() < 1e-10
    radial = sum(value(state, f"radial reaction {name}") for name in ("lumen", "end_low"))
    assert radial == pytest.approx(0.4 * 2 * np.pi, rel=1e-8)
    assert value(state, "axial reaction end_low") == pytest.approx(0.4 * np.pi * 1.25, rel=1e-8)


@pytest.mark.exact
def test_an_even_pressure_all_around_is_conservative():
    """A pressure all around leaves the tangent symmetric, one on a side with a free rim does not."""
    supports = (Support("end_low", "axial"), Support("end_high", "free"))
    model = tube_model(tube_body(1.5), RUBBER, supports)
    around = Stage("press", pressure=0.2, surface_pressures={"outer": 0.2, "end_high": 0.2}, steps=1)
    outcome, states = run(model, [around])
    assert outcome.remarks == ()
    assert np.abs(states[-1].displacement).max() < 1e-10
    outcome, _ = run(model, [Stage("press", surface_pressures={"outer": 0.1}, steps=2)])
    assert NOT_SYMMETRIC in outcome.remarks[0]


@pytest.mark.exact
def test_a_pressure_on_the_side_alone_stretches_an_open_tube():
    """An even P added to all faces gives suction -P inside and the force P π (b² - a²), so F = P π b²."""
    W, P = tube.mooney_rivlin(0.5), 0.1

    def unbalanced(x):
        b = float(tube.radius(1.5, 1.0, *x))
        found = tube.pressure_and_force(W, 1.0, 1.5, *x)
        return found[0] + P, found[1] - P * np.pi * b**2

    la, lz = fsolve(unbalanced, (0.95, 1.05), xtol=1e-12)
    model = tube_model(tube_body(1.5), RUBBER, (Support("end_low", "axial"),))
    state = reached(model, [Stage("press", surface_pressures={"outer": P}, steps=2)])[-1]
    assert radii(state)[0] == pytest.approx(la, rel=TOLERANCE)
    assert -value(state, "axial shortening") == pytest.approx(lz - 1, rel=0.01)
    assert lz > 1.03


def deformed_system(size, pressure):
    """A system away from equilibrium under a pressure on its outer face."""
    system = System(Problem(tube_model(tube_body(1.5, **size), RUBBER, CLOSED, pressed=("outer",))))
    u = system.problem.unknowns[0]
    u.x.array[:] = 2e-3 * np.sin(np.arange(u.x.array.size))
    system.set_unknowns()
    system.apply(Loads(surface_pressures={"outer": pressure}))
    return system


def residual_of(system):
    system.assemble_residual()
    return system.residual.copy()


@pytest.mark.parametrize("size", MODELS, ids=str)
def test_rates_are_the_derivatives_of_the_residual(size):
    system = deformed_system(size, 0.2)
    rate = Loads(surface_pressures={"outer": 0.7}, radial_forces={"outer": 0.3}, natural=0.0)
    residuals = []
    for sign in (1, -1):
        now = {"surface_pressures": {"outer": 0.2 + sign * 0.7}, "radial_forces": {"outer": sign * 0.3}}
        system.apply(Loads(**now))
        residuals.append(residual_of(system))
    found = system.vector()
    system.load_rate(rate, found)
    difference = residuals[1] - residuals[0]  # linear in the loads
    assert difference.norm() > 0.1
    assert (difference - 2 * found).norm() < 1e-12 * difference.norm()


@pytest.mark.parametrize("size", MODELS, ids=str)
def test_the_tangent_contains_the_turning_of_the_pressure(size):
    step = 1e-5
    found = []
    for pressure in (0.0, 5.0):
        system = deformed_system(size, pressure)
        system.factorise()
        direction = system.vector()
        direction.array_w[:] = np.cos(3.0 * np.arange(direction.array_r.size))
        system.zero_fixed(direction)
        product = system.vector()
        system.tangent.matrix.mult(direction, product)
        system.zero_fixed(product)
        system.x.axpy(step, direction)
        above = residual_of(system)
        system.x.axpy(-2 * step, direction)
        difference = (above - residual_of(system)) * (1 / (2 * step))
        assert (difference - product).norm() < 1e-5 * product.norm()
        found.append(product)
    assert (found[1] - found[0]).norm() > 1e-2 * found[0].norm()


@pytest.mark.exact
def test_the_margin_of_an_outside_pressure():
    """A sector of 90 degrees buckles into two waves at 0.0688764 μ as under suction: test_compression.py."""
    size = {"model": "sector", "sector": 90.0, "along": 0.125, "through": 4, "around": 48}
    model = tube_model(tube_body(1.5, 0.125, **size), RUBBER)
    outcome, _ = run(
        model, [Stage("press", surface_pressures={"outer": 0.05}, steps=1)], stepping=Stepping(seek_limit=2.0)
    )
    (margin,) = outcome.margins
    assert (margin.load, margin.kind) == ("surface pressure", "bifurcation")
    assert 0.05 * margin.value == pytest.approx(0.0688764, rel=5e-3)


@pytest.mark.exact
def test_controls_find_an_outside_pressure():
    model = tube_model(tube_body(1.5), RUBBER)
    P = -tube.neo_hookean_pressure(1.0, 1.0, 1.5, 0.9, 1.0)
    opening = Stage(
        "squeeze", opening=("mid", 0.9), control="opening", surface_pressures={"outer": 0.1}, steps=3
    )
    until = EndCondition("radial contraction mid", "at least", 0.1, 1e-4)
    stage = Stage("press", surface_pressures={"outer": 1.0}, until=(until,), steps=8)
    for found in (reached(model, [opening])[-1], reached(model, [stage])[-1]):
        assert found.loads["pressure on outer"].value == pytest.approx(P, rel=TOLERANCE)


def test_the_work_of_an_outside_pressure_is_the_strain_energy():
    model = tube_model(tube_body(1.5), RUBBER, CLOSED)
    states = reached(model, [Stage("press", surface_pressures={"outer": 0.2}, steps=20)])
    P = np.array([s.loads["pressure on outer"].value for s in states])
    V = np.array([value(s, "displaced volume at outer") for s in states])
    work = float(np.sum((P[1:] + P[:-1]) / 2 * np.diff(V)))
    assert work == pytest.approx(value(states[-1], "strain energy"), rel=2e-3)
    assert value(states[-1], "displaced volume") == pytest.approx(-V[-1], rel=1e-6)


# dead forces


@pytest.mark.exact
@pytest.mark.parametrize("size", [{"through": 4}, SECTOR], ids=str)
def test_a_tube_pulled_radially_at_its_outer_face(size):
    """Plane strain, incompressible: the dead force N is a tension N/(2π b L) on the deformed outer face."""
    N = 2 * np.pi * 1.5 * 0.3

    def unbalanced(la):
        outward = N / (2 * np.pi * float(tube.radius(1.5, 1.0, la, 1.0)))
        return tube.neo_hookean_pressure(1.0, 1.0, 1.5, la, 1.0) - outward

    la = brentq(unbalanced, 1.0, 3.0)
    assert la > 1.2
    model = tube_model(tube_body(1.5, **size), RUBBER)
    state = reached(model, [Stage("pull", radial_forces={"outer": N}, steps=3)])[-1]
    assert radii(state)[0] == pytest.approx(la, rel=TOLERANCE)
    assert state.unstable_modes == 0


@pytest.mark.exact
@pytest.mark.parametrize("T", [3e-4, 0.5])
def test_a_thin_annulus_pulled_at_its_edge(T):
    """A flat ring, free across its plane: Lamé at small strain, the equation of the sheet at any."""
    H = 0.02
    exact = annulus.deformed_radii(annulus.sheet(1.0), 1.0, 2.0, annulus.pulled(0.0), annulus.pulled(T))
    model = tube_model(tube_body(2.0, H, through=8), RUBBER, (Support("end_low", "axial"),))
    stage = Stage("pull", radial_forces={"outer": T * 2 * np.pi * 2.0 * H}, steps=4)
    found = radii(reached(model, [stage])[-1])
    assert np.array(found) - (1, 2) == pytest.approx(np.array(exact) - (1, 2), rel=1e-3)
    if T < 1e-3:
        lame = [annulus.lame_pull(T, 3.0, 0.5, 1.0, 2.0, R) for R in (1.0, 2.0)]
        assert np.array(found) - (1, 2) == pytest.approx(lame, rel=2e-3)
    else:
        assert found[0] > 1.5


@pytest.mark.exact
def test_a_compressible_ring_pulled_at_its_inner_face():
    law = annulus.compressible(1.0, 5.0)
    exact = annulus.deformed_radii(law, 1.0, 2.0, annulus.pulled(-0.2), annulus.pulled(0.0))
    model = tube_model(tube_body(2.0, through=6), SOFT)
    state = reached(model, [Stage("push", radial_forces={"lumen": 0.2 * 2 * np.pi}, steps=2)])[-1]
    assert radii(state) == pytest.approx(exact, rel=FINE)
    assert radii(state)[0] > 1.05


@pytest.mark.exact
def test_a_wall_much_thicker_than_its_radius():
    ratio, la = 4.0, 1.3
    P = tube.neo_hookean_pressure(1.0, 1.0, ratio, la, 1.0)
    state = reached(tube_model(tube_body(ratio, through=10), RUBBER), [Stage("fill", pressure=P, steps=3)])[
        -1
    ]
    assert radii(state)[0] == pytest.approx(la, rel=TOLERANCE)


# refusals

ON_PLATE = (Support("end_low", "radial"), Support("end_high", "plate"), Support("outer", "rigid motion"))
REFUSED = {
    "no such surface": (
        SLIDING,
        {"surface_pressures": {"skin": 0.1}},
        "'skin' is not a surface of this shape",
    ),
    "lumen": (SLIDING, {"surface_pressures": {"lumen": 0.1}}, "has a key of its own: give it as pressure"),
    "clamped": (
        (*SLIDING, Support("outer", "all")),
        {"surface_pressures": {"outer": 0.1}},
        "the support of 'outer'.* takes the whole pressure",
    ),
    "held end": (SLIDING, {"surface_pressures": {"end_high": 0.1}}, "takes the whole pressure"),
    "plate": (
        CLOSED,
        {"surface_pressures": {"end_high": 0.1}},
        "give the force on the plate as force.end_hi",
    ),
    "half closed": (ON_PLATE, {"surface_pressures": {"outer": 0.1}}, "its edge at 'end_low' moves freely"),
    "held edge": (
        (Support("end_low", "all"), *SLIDING[1:]),
        {"radial_forces": {"end_low": 0.1}},
        "radial_force.end_low: the support.* takes the whole radial force",
    ),
    "held axially": (SLIDING, {"forces": {"end_low": 0.1}}, "takes the whole axial force"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_loads_that_act_on_nothing(case):
    supports, loads, message = REFUSED[case]
    with pytest.raises(InputError, match=message):
        check_stages(tube_model(tube_body(), RUBBER, supports), (Stage("s", **loads),))


@pytest.mark.parametrize("surface", ["side_low", "wall|core"])
def test_planes_and_interfaces_carry_no_load(surface):
    with pytest.raises(InputError, match="is not a surface of this shape"):
        Path(tube_model(tube_body(**SECTOR), RUBBER), [Stage("s", radial_forces={surface: 1.0})])


def test_a_load_stays_in_force_in_the_next_stage():
    stages = [
        Stage("press", surface_pressures={"outer": 0.1}, steps=1),
        Stage("fill", pressure=0.1, steps=1),
    ]
    states = reached(tube_model(tube_body(1.5), RUBBER), stages, stepping=FOLLOW)
    assert np.abs(last_of(states, "press").displacement).max() > 0.01
    assert np.abs(last_of(states, "fill").displacement).max() < 1e-9
