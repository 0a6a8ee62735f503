# SPDX-License-Identifier: MIT
"""Contact with planes, cones and spheres: Hertz's ball, balance of forces, and penetration.

Sources: Hertz's contact of a rigid ball of radius R with a half-space, F = 4/3 E/(1 - ν²) √R d^(3/2), contact
radius √(R d) (Johnson, Contact Mechanics, ch. 4, from memory); an incompressible one has E/(1 - ν²) = 4 μ.
Everything else is statics.
"""

import numpy as np
import pytest
from dielectric_cases import grid_body
from models import SLIDING, neo_hookean, reached, tube_body, value
from scipy.optimize import brentq

from annelid.geometry.elements import shape_values
from annelid.solver.energy import form_libraries
from annelid.solver.model.boundary import Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

BALANCE = 1e-6  # relative, of forces in equilibrium
UNIFORM = 1e-6  # relative, of a stress that is the same everywhere
HERTZ = 2e-3  # of the force: a half-space of 100 contact radii, strains of some percent
REACTION = 3e-4  # of a force on cells a thousand times as small as the body
EDGE = 6e-2  # of the contact area, found at quadrature points
TOLERANCE = 1e-3  # mm


def wall(contact, *supports, **shape):
    return Model(tube_body(**shape), (Part("wall", neo_hookean()),), supports, contacts=(contact,))


@pytest.mark.exact
@pytest.mark.parametrize(
    ("surface", "held", "part_is", "at"),
    [("end_low", "end_high", "outside", (0.0, 0.1)), ("end_high", "end_low", "inside", (1.0, 0.9))],
    ids=["standing on a plane", "pressed down by one"],
)
def test_tube_against_a_plane(surface, held, part_is, at):
    """The contact force is k w A with the penetration w; the wall is in uniaxial stress, μ (λ - λ⁻²)."""
    plane = Contact("plane", surface, "plane", position=at[0], part_is=part_is, tolerance=TOLERANCE)
    model = wall(plane, Support(held, "axial"), B_over_A=1.5)
    last = reached(model, [Stage("press", obstacles={"plane": at[1]}, steps=2)])[-1]
    λ = brentq(lambda λ: λ**-2 - λ - (λ - 0.9) / TOLERANCE, 0.9, 1.0)
    force = np.pi * 1.25 * (λ**-2 - λ)
    assert value(last, "contact force plane") == pytest.approx(force, rel=UNIFORM)
    assert value(last, "contact pressure plane") == pytest.approx((λ**-2 - λ) * λ, rel=UNIFORM)
    assert value(last, "penetration plane") == pytest.approx(λ - 0.9, rel=UNIFORM)
    sense = 1 if held == "end_low" else -1
    assert value(last, f"axial reaction {held}") == pytest.approx(sense * force, rel=BALANCE)


@pytest.mark.exact
@pytest.mark.parametrize("angle", [10.0, -25.0])
def test_tube_pushed_onto_a_cone(angle):
    """Without friction the push is the contact force times the sine of the half angle."""
    slope = np.tan(np.radians(angle))
    cone = Contact("cone", "lumen", "cone", position=0.99, height=0.5, angle=angle, tolerance=TOLERANCE)
    pushed = "end_low" if angle > 0 else "end_high"  # towards the thicker part of the cone
    model = wall(cone, Support(pushed, "axial"), B_over_A=1.2, along=0.1)
    way = 0.2 * np.sign(angle)
    last = reached(model, [Stage("push", displacements={pushed: way}, steps=4)])[-1]
    force = value(last, "contact force cone")
    assert force > 0.01
    push = value(last, f"axial reaction {pushed}")
    assert push == pytest.approx(force * np.sin(np.radians(angle)), rel=BALANCE)
    lumen = last.profiles["inner"]
    gap = (lumen.radius - 0.99 - slope * (lumen.current_height - 0.5)) * np.cos(np.radians(angle))
    assert value(last, "penetration cone") == pytest.approx(-gap.min(), rel=UNIFORM)
    assert value(last, "penetration cone") < TOLERANCE
    assert value(last, "largest stretch") < 1.4  # stretched by the cone, not wrinkled on it
    touching = np.ptp(lumen.current_height[gap < 0])
    assert value(last, "contact length cone") == pytest.approx(touching, rel=UNIFORM)


def test_obstacle_parameters_compile_no_form():
    """A change of the angle or of the height of an obstacle does not compile a form again."""
    for angle, height in ((10.0, 0.5), (35.0, 0.2)):
        before = form_libraries.compiled_libraries()
        cone = Contact("cone", "lumen", "cone", position=0.9, height=height, angle=angle, tolerance=TOLERANCE)
        model = wall(cone, Support("end_low", "axial"), B_over_A=1.2)
        last = reached(model, [Stage("push", displacements={"end_low": 0.6}, steps=4)])[-1]
        assert value(last, "contact force cone") > 0
    assert form_libraries.compiled_libraries() == before


def test_ball_in_a_tube():
    """A growing ball at the middle of a free tube: its forces on the tube are in equilibrium."""
    ball = Contact("ball", "lumen", "sphere", position=0.99, height=1.0, tolerance=TOLERANCE)
    model = wall(ball, Support("end_low", "axial"), B_over_A=1.2, length=2.0, along=0.1)
    last = reached(model, [Stage("grow", obstacles={"ball": 1.1}, steps=4)])[-1]
    nodes = model.body.facets[model.body.surfaces["lumen"]]
    along = shape_values("line3", np.linspace(0, 1, 41)[:, None])  # also between the nodes
    r, z = np.einsum("qk,fkd->dqf", along, (model.body.points + last.displacement)[nodes])
    deepest = 1.1 - np.hypot(r, z - 1.0).min()
    assert 0.5 * deepest < value(last, "penetration ball") <= deepest  # evaluated at quadrature points
    assert 0 < value(last, "penetration ball") < TOLERANCE
    force = value(last, "contact force ball")
    assert abs(value(last, "axial reaction end_low")) < 1e-2 * force
    assert value(last, "contact pressure ball") * 1.1 / 0.2 > 0.01
    assert 0 < value(last, "contact length ball") < 1.0


def half_space(size, cells, grading):
    """A cylinder as wide as high, the cells small near the middle of its upper face."""

    def place(q):
        near = np.stack([q[:, 0], 1 - q[:, 1]], axis=1)
        x = size * (grading**near - 1) / (grading - 1)
        return np.stack([x[:, 0], size - x[:, 1]], axis=1)

    surfaces = {(0, 1): "outer", (1, 0): "end_low", (1, 1): "end_high"}
    return grid_body("axisymmetric", (cells, cells), place, "block", surfaces, (0.0, 1.0))


@pytest.mark.exact
@pytest.mark.parametrize("depth", [0.00125, 0.0025])
def test_hertz_ball_on_a_half_space(depth):
    radius, size, tolerance = 4.0, 10.0, 1e-4
    body = half_space(size, 20, 1000.0)
    ball = Contact("ball", "end_high", "sphere", position=radius, height=size + radius, tolerance=tolerance)
    model = Model(body, (Part("block", neo_hookean()),), (Support("end_low", "axial"),), contacts=(ball,))
    last = reached(model, [Stage("press", obstacles={"ball": radius + depth}, steps=3)])[-1]
    force = 4 / 3 * 4 * np.sqrt(radius) * depth**1.5
    found = value(last, "contact force ball")
    assert found == pytest.approx(force, rel=HERTZ)
    area = np.pi * radius * depth
    assert value(last, "contact pressure ball") == pytest.approx(force / area, rel=EDGE)
    assert value(last, "axial reaction end_low") == pytest.approx(found, rel=REACTION)
    peak = 1.5 * force / area  # of Hertz's half ellipse; k = μ / tolerance
    assert value(last, "penetration ball") == pytest.approx(peak * tolerance, rel=EDGE)


@pytest.mark.exact
@pytest.mark.parametrize("radius", [1.0, 0.4])
def test_a_stretched_tube_that_is_drawn_on_a_rod_squeezes_it(radius):
    """Nothing moves, so the stretches are the natural ones everywhere: P = μ (λθ² - λr²) ln(B/A)."""
    λθ, λz, B_over_A = 1.5, 1.1, 1.1
    rod = Contact("rod", "lumen", "cylinder", position=radius, tolerance=5e-4 * radius)
    body = tube_body(B_over_A, radius, A=radius)
    part = Part("wall", neo_hookean(), natural_stretch=NaturalStretch(1 / λθ, 1 / λz))
    states = reached(Model(body, (part,), SLIDING, contacts=(rod,)), [Stage("settle", steps=2)])
    assert len(states) == 3  # no step was halved: the tangent has the contact from the start
    pressure = (λθ**2 - (λθ * λz) ** -2) * np.log(B_over_A)
    assert value(states[-1], "contact pressure rod") == pytest.approx(pressure, rel=1e-4)
