# SPDX-License-Identifier: MIT
"""Walls of uneven thickness against closed forms: capacitance, field, stress and inflation where they are
thin.

Sources: capacitance of eccentric cylinders 2πε / acosh((a² + b² - d²)/(2ab)) per length (Smythe, Static and
Dynamic Electricity, chapter 4, from memory); largest hoop stress of an eccentric tube under inner pressure
(Jeffery, Phil. Trans. R. Soc. A 221, 1921, as in Timoshenko, Goodier, Theory of Elasticity, section 66, from
memory); balance of long thick tubes (Rivlin, see ``exact.tube``); ε A/h of a film.
"""

from functools import cache

import numpy as np
import pytest
from dielectric_cases import EPS, MU, RUBBER, follow, sheet, value
from exact import tube
from models import SLIDING, last_of, neo_hookean, reached
from scipy.optimize import root

from annelid.geometry.body import Body
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.thickness_map import ThicknessMap
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Electrode, Section, Support
from annelid.solver.model.material import Breakdown, Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

RADIUS, LENGTH = 4.0, 40.0
HELD = (*SLIDING, Support("outer", "rigid motion"))
HEIGHTS = np.linspace(0.0, LENGTH, 81)
FILM = 1e-4  # of a capacitance and a field, by quadrature of the same formula
THIN = 2e-3  # of a tube that is locally a long one: the wall tapers by 1 in 200
ECCENTRIC = 2e-3  # of a capacitance of eccentric cylinders
STRESS = 1e-2  # of a stress at a node
_ACROSS = [7, 8, 5]  # nodes of a quad9 across the wall at its half height


def tapered(z):
    """Thickness of the wall, mm."""
    return 0.3 - 0.2 * z / LENGTH


def body_of(values, *, length=LENGTH, heights=HEIGHTS, radius=RADIUS, bare=False, **size) -> Body:
    given = ThicknessMap(heights, np.atleast_2d(values))
    shape = Tube(radius, length, (Layer("wall", given.mean, given),))
    bands = () if bare else (Band("whole", "wall", 0.0, length),)
    return build(shape, MeshSize(**({"along": 1.0} | size)), bands)


def charged(body, *, count=1, electrics="layered", material=RUBBER):
    part = sheet("wall", 0.2 / count, count=count, material=material)  # the body knows the local thickness
    supports = HELD if body.model == "sector" else SLIDING
    return Model(body, (part,), supports, electrodes=(Electrode("whole"),), electrics=electrics)


def capacitance(model):
    """At a small voltage, because a solved potential has none without."""
    states, _ = follow(model, Stage("on", voltages={"whole": 1e-3}, steps=1))
    return value(states[-1], "capacitance whole")


@pytest.mark.parametrize("count", [1, 3])
def test_capacitance_is_that_of_the_local_sheets(count):
    """n sheets of h/n in parallel: C = ∫ n² ε 2π (R + h/2)/h dz."""
    found = capacitance(charged(body_of(tapered(HEIGHTS)), count=count))
    z = np.linspace(0.0, LENGTH, 20001)
    expected = np.trapezoid(count**2 * EPS * 2 * np.pi * (RADIUS + tapered(z) / 2) / tapered(z), z)
    assert found == pytest.approx(expected, rel=FILM)


def test_solved_potential_sees_the_local_thickness():
    """C = ∫ 2π ε/ln(1 + h/R) dz."""
    found = capacitance(charged(body_of(tapered(HEIGHTS)), electrics="solved"))
    z = np.linspace(0.0, LENGTH, 20001)
    expected = np.trapezoid(2 * np.pi * EPS / np.log1p(tapered(z) / RADIUS), z)
    assert found == pytest.approx(expected, rel=FILM)


def test_field_and_breakdown_margin_are_those_of_the_thinnest_place():
    """E = V/h(z) at a small voltage, with the strength of a sheet of the local thickness, E_b ∝ h^(-1/2)."""
    strong = Material(
        "rubber",
        "neo-hookean",
        {"shear_modulus": MU},
        permittivity=2.8,
        breakdown=Breakdown(60.0, thickness_exponent=-0.5, reference_thickness=0.1),
    )
    model = charged(body_of(tapered(HEIGHTS), along=0.25, through=1), material=strong)
    states, _ = follow(model, Stage("on", voltages={"whole": 0.01}, steps=1))
    thinnest = tapered(LENGTH)
    assert value(states[-1], "largest true field") == pytest.approx(0.01 / thinnest, rel=2e-3)
    expected = 60.0 * (thinnest / 0.1) ** -0.5 / (0.01 / thinnest)
    assert value(states[-1], "least breakdown margin") == pytest.approx(expected, rel=2e-3)
    where = states[-1].places["least breakdown margin"]
    assert where[1] > LENGTH - 0.5


@cache
def inflated():
    """A long tapering wall under pressure, its ends slide in their planes at a fixed distance."""
    body = body_of(tapered(HEIGHTS), along=0.5, through=1, bare=True)
    sections = tuple(Section(f"at {z:g}", z) for z in (10.0, 20.0, 30.0))
    model = Model(body, (Part("wall", neo_hookean(MU)),), SLIDING, sections=sections)
    return body, last_of(reached(model, [Stage("fill", pressure=0.0015, steps=2)]), "fill")


def local_radii(pressure):
    """Inner radii at heights of long tubes in a row with one axial force: own derivation from
    ``exact.tube``."""
    z = np.linspace(0.0, LENGTH, 33)[:-1] + LENGTH / 64
    W = tube.mooney_rivlin(MU / 2)

    def defect(x):
        stretch, axial = np.split(x, 2)
        both = np.array(
            [
                tube.pressure_and_force(W, RADIUS, RADIUS + tapered(h), a, s)
                for h, a, s in zip(z, stretch, axial, strict=True)
            ]
        )
        return np.concatenate(
            [
                both[:, 0] / pressure - 1,
                (both[1:, 1] - both[0, 1]) / (pressure * RADIUS**2),
                [axial.mean() - 1],
            ]
        )

    solution = root(defect, np.ones(2 * len(z)) * 1.02, tol=1e-10)
    assert solution.success
    return z, RADIUS * solution.x[: len(z)]


def test_slowly_tapering_wall_inflates_as_long_tubes_do():
    _, state = inflated()
    z, radius = local_radii(0.0015)
    found = [value(state, f"radial expansion at {h:g}") for h in (10, 20, 30)]
    expected = np.interp([10.0, 20.0, 30.0], z, radius) / RADIUS - 1
    assert found[-1] > 1.3 * found[0]  # the thin end is much wider
    np.testing.assert_allclose(found, expected, rtol=1e-2)


def test_hoop_stress_is_that_of_the_local_wall():
    """The mean hoop stress of a ring is P a/(b - a), whatever the rubber does: of a thin wall P r/h."""
    body, state = inflated()
    nodes = body.cells[
        :, _ACROSS
    ]  # inside, middle, outside at half height of each element, by Simpson's rule
    Z, r = body.points[nodes[:, 1], 1], (body.points + state.displacement)[nodes, 0]
    hoop = state.fields["Cauchy stress"][:, _ACROSS, 1, 1] @ [1 / 6, 4 / 6, 1 / 6]
    far = (Z > 4.0) & (Z < LENGTH - 4.0)  # from the ends, which bend
    expected = 0.0015 * r[:, 0] / (r[:, 2] - r[:, 0])
    assert expected[far].max() > 2.5 * expected[far].min()
    np.testing.assert_allclose(hoop[far], expected[far], rtol=STRESS)


def eccentric(outer, off, count=72):
    """Thickness around of a bore of the radius 1 that is off the middle of an outer circle, shape (count,
    2), mm.

    From the middle of the bore the outer face is at r = d cos θ + sqrt(b² - d² sin² θ).
    """
    angle = 2 * np.pi * np.arange(count) / count
    wall = off * np.cos(angle) + np.sqrt(outer**2 - (off * np.sin(angle)) ** 2) - 1.0
    return np.repeat(wall[:, None], 2, axis=1)


@pytest.mark.parametrize(
    ("electrics", "outer", "tolerance"),
    [pytest.param("layered", 1.1, 5e-3, marks=pytest.mark.long), ("solved", 1.5, ECCENTRIC)],
)
def test_capacitance_of_an_eccentric_bore(electrics, outer, tolerance):
    """The layered model takes the sheets as plane, with their area in the middle: thin walls only."""
    off = 0.5 * (outer - 1.0)
    size = {"model": "sector", "sector": 180.0, "along": 0.5, "around": 32}
    body = body_of(eccentric(outer, off), length=0.5, heights=np.array([0.0, 0.5]), radius=1.0, **size)
    found = capacitance(charged(body, electrics=electrics))
    expected = 0.5 * 2 * np.pi * EPS / np.arccosh((1.0 + outer**2 - off**2) / (2 * outer))
    assert expected > 1.1 * 0.5 * 2 * np.pi * EPS / np.log(outer)  # what a centred bore would have
    assert found == pytest.approx(expected, rel=tolerance)


def test_stress_of_an_eccentric_tube():
    """σ = P [2 b² (b² + a² - 2 a d - d²) / ((a² + b²)(b² - a² - 2 a d - d²)) - 1] at the thinnest place
    inside."""
    a, b, d, P = 1.0, 1.5, 0.2, 1e-4
    size = {"model": "sector", "sector": 180.0, "along": 0.2, "around": 48, "through": 3}
    body = body_of(eccentric(b, d), length=0.2, heights=np.array([0.0, 0.2]), radius=a, bare=True, **size)
    model = Model(body, (Part("wall", neo_hookean(1.0)),), HELD)
    state = last_of(reached(model, [Stage("fill", pressure=P, steps=1)]), "fill")
    x = body.points
    thinnest = (np.abs(x[:, 0] + a) < 1e-9) & (np.abs(x[:, 1]) < 1e-9)
    hoop = state.fields["Cauchy stress"][..., 1, 1][thinnest[body.cells]]
    expected = 2 * b**2 * (b**2 + a**2 - 2 * a * d - d**2)
    expected = P * (expected / ((a**2 + b**2) * (b**2 - a**2 - 2 * a * d - d**2)) - 1)
    assert expected > 1.4 * P * (a**2 + b**2) / (b**2 - a**2)  # Lamé's, of a centred bore
    assert hoop.mean() == pytest.approx(expected, rel=STRESS)


def test_map_that_is_the_same_all_around_gives_the_axisymmetric_state():
    def stretched(values, **size):
        body = body_of(values, length=4.0, heights=np.linspace(0.0, 4.0, 9), along=0.5, through=1, **size)
        model = charged(body)
        states, _ = follow(model, Stage("on", pressure=0.002, voltages={"whole": 1.0}, steps=2))
        return [value(states[-1], name) for name in ("mean radial expansion", "capacitance whole")]

    profile = 0.3 - 0.15 * np.linspace(0.0, 1.0, 9)
    flat = stretched(profile)
    space = stretched(np.repeat(profile[None], 8, axis=0), model="sector", sector=60.0, around=36)
    assert flat[0] > 0.05
    np.testing.assert_allclose(space, flat, rtol=2e-4)
