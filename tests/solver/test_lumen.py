# SPDX-License-Identifier: MIT
"""How far a lumen is open, and the thickness of each layer, against closed forms.

Areas of prescribed shapes are those of circles and ellipses; radii of an incompressible tube follow from its
volume. Own examples.
"""

import numpy as np
import pytest
from dielectric_cases import MU, RUBBER, follow, value

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tapered_tube import TaperedTube
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.quantities import CLOSED
from annelid.solver.model.stages import Stage
from annelid.solver.readout.lumen import Lumen

RADIUS, LENGTH = 2.0, 10.0
WALL = (Layer("wall", 0.2),)
MODELS = {
    "axisymmetric": MeshSize(along=0.5, through=1),
    "hexahedra": MeshSize(model="solid", along=0.5, through=1, around=16),
    "tetrahedra": MeshSize(model="solid", along=0.5, through=1, around=16, cells="tetrahedra"),
    "sector": MeshSize(model="sector", sector=90.0, along=0.5, through=1, around=16),
    "narrow sector": MeshSize(model="sector", sector=45.0, along=0.5, through=1, around=16),
}
SPACE = ["hexahedra", "tetrahedra", "sector"]
AREA = 3e-3  # sections have straight lines between points; 16 elements around
HALVED = 0.01


def tube(size):
    return build(Tube(RADIUS, LENGTH, WALL), size)


def waist(z):
    """1 at the middle height, 0 at the ends."""
    return np.sin(np.pi * z / LENGTH) ** 2


def elliptical(x, a, b, shift=0.0):
    """Displacement that makes the middle section an ellipse of half axes a and b, moved by ``shift``."""
    u = np.zeros_like(x)
    u[:, 0] = (x[:, 0] * (a / RADIUS - 1) + shift) * waist(x[:, 2])
    u[:, 1] = x[:, 1] * (b / RADIUS - 1) * waist(x[:, 2])
    return u


def rings(x, radius, height):
    """Displacement of rings to a radius and a height that depend on the present ones."""
    across, z = x[:, :-1], x[:, -1]
    r = np.linalg.norm(across, axis=1)
    return np.column_stack([across * (radius(r, z) / r)[:, None], height(z)]) - x


@pytest.mark.exact
@pytest.mark.parametrize("turned", [1.0, -1.0])
@pytest.mark.parametrize("kind", SPACE)
def test_area_of_an_ellipse(kind, turned):
    """Also where the low rim has come to lie above the high one, as in an inverted dome."""
    body = tube(MODELS[kind])
    u = elliptical(body.points, 1.8, 0.6)
    u[:, 2] += (turned - 1) * body.points[:, 2]
    opening = Lumen(body).opening(u)
    assert opening.area == pytest.approx(np.pi * 1.8 * 0.6, rel=AREA)
    assert opening.area < np.pi * 1.8 * 0.6  # chords
    assert opening.height == pytest.approx(LENGTH / 2, rel=1e-6)
    assert opening.diameter == pytest.approx(2 * 0.6, rel=1e-9)
    assert np.abs(opening.narrowest) == pytest.approx([0.0, RADIUS, LENGTH / 2], abs=1e-9)
    assert opening.closed_length == 0.0


@pytest.mark.exact
def test_area_does_not_need_the_axis_inside():
    body = tube(MODELS["hexahedra"])
    opening = Lumen(body).opening(elliptical(body.points, 1.2, 0.6, shift=3.0))
    assert opening.area == pytest.approx(np.pi * 1.2 * 0.6, rel=AREA)


@pytest.mark.exact
@pytest.mark.parametrize("kind", MODELS)
def test_area_of_a_squeezed_cone(kind):
    body = build(TaperedTube(1.5, 3.0, LENGTH, WALL), MODELS[kind])
    opening = Lumen(body).opening(rings(body.points, lambda r, z: 0.7 * r, lambda z: 1.3 * z))
    assert opening.area == pytest.approx(np.pi * (0.7 * 1.5) ** 2, rel=AREA)
    assert opening.diameter == pytest.approx(2 * 0.7 * 1.5, rel=1e-9)
    assert opening.height == pytest.approx(0.0, abs=1e-9)


@pytest.mark.exact
@pytest.mark.parametrize("kind", MODELS)
@pytest.mark.parametrize("lean", [0.0, 4.0])
def test_area_of_a_ring_fold(kind, lean):
    """The wall is pushed in by 1 mm; where the fold hangs over, planes across it cut the wall three times."""
    body = tube(MODELS[kind])

    def bump(z):
        return np.exp(-((z - 5.0) ** 2))

    u = rings(body.points, lambda r, z: r - bump(z), lambda z: z - lean * bump(z))
    opening = Lumen(body).opening(u)
    assert opening.area == pytest.approx(np.pi, rel=2 * AREA)
    assert opening.height == pytest.approx(5.0, abs=0.3)


@pytest.mark.exact
@pytest.mark.parametrize("kind", MODELS)
@pytest.mark.parametrize("turned", [1.0, -1.0])
def test_area_of_a_dome_with_a_hole(kind, turned):
    """As drawn, and snapped through: the hole is the narrowest section on both sides of its rim."""
    body = build(Dome(5.0, 2.0, WALL, hole_radius=1.0), MODELS[kind])
    u = np.zeros_like(body.points)
    u[:, -1] = (turned - 1) * body.points[:, -1]
    assert Lumen(body).opening(u).area == pytest.approx(np.pi, rel=AREA)


@pytest.mark.exact
@pytest.mark.parametrize("kind", MODELS)
def test_closed_length_of_a_neck(kind):
    """r/R = 0.01 + 0.99 ζ², ζ from -1 to 1 along the tube, is below 5 % for |ζ| < √(0.04/0.99)."""
    body = tube(MODELS[kind])

    def ratio(z):
        return 0.01 + 0.99 * (2 * z / LENGTH - 1) ** 2

    opening = Lumen(body).opening(rings(body.points, lambda r, z: r * ratio(z), lambda z: 0.8 * z))
    closed = 0.8 * LENGTH * np.sqrt((CLOSED - 0.01) / 0.99)
    assert opening.closed_length == pytest.approx(closed, rel=0.03)
    assert opening.diameter == pytest.approx(2 * 0.01 * RADIUS, rel=1e-6)


@pytest.mark.exact
def test_values_on_a_mesh_of_half_the_element_size():
    coarse, fine = (tube(MeshSize(model="solid", along=s, through=1, around=8 / s)) for s in (0.5, 1.0))
    one, two = (Lumen(body).opening(elliptical(body.points, 1.8, 0.6)) for body in (coarse, fine))
    assert one.area == pytest.approx(two.area, rel=HALVED)
    assert one.diameter == pytest.approx(two.diameter, rel=HALVED)


# computed states


def clamped(along, **size):
    """A clamped tube under suction."""
    body = build(Tube(4.0, 6.0, (Layer("wall", 1.0),)), MeshSize(along=along, through=1, **size))
    supports = (Support("end_low", "all"), Support("end_high", "all"))
    states, outcome = follow(
        Model(body, (Part("wall", RUBBER),), supports), Stage("suck", pressure=-0.015, steps=1)
    )
    assert outcome.kind == "reached"
    return body, states[-1]


def test_clamped_tube_is_narrowest_at_its_middle():
    """Against the nodes of the inner surface, on two meshes and in a sector."""
    body, state = clamped(1.0)
    inner = body.surface_nodes("lumen")
    least = (body.points + state.displacement)[inner, 0].min()
    assert least < 0.97 * 4.0
    assert value(state, "smallest lumen diameter") == 2 * least
    assert value(state, "smallest open area") == pytest.approx(np.pi * least**2, rel=1e-12)
    assert state.places["smallest lumen diameter"] == pytest.approx((4.0, 3.0), abs=0.01)
    assert state.places["smallest open area"] == pytest.approx((0.0, 3.0), abs=0.01)
    _, halved = clamped(0.5)
    space, sector = clamped(1.0, model="sector", around=16)
    for name in ("smallest lumen diameter", "smallest open area"):
        assert value(state, name) == pytest.approx(value(halved, name), rel=HALVED)
        assert value(state, name) == pytest.approx(value(sector, name), rel=HALVED)
    ring = space.surface_nodes("lumen")
    ring = (space.points + sector.displacement)[ring][np.abs(space.points[ring, 2] - 3.0) < 1e-6]
    x, y = ring[np.argsort(np.arctan2(ring[:, 1], ring[:, 0]))][:, :2].T
    polygon = 4 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) / 2  # with half as many corners as sections have
    assert value(sector, "smallest open area") == pytest.approx(polygon, rel=HALVED)
    assert value(sector, "smallest open area") > polygon
    assert sector.places["smallest open area"] == pytest.approx((0.0, 0.0, 3.0), abs=0.01)


SLEEVES = {
    "axisymmetric": MeshSize(along=1.0, through=1),
    "sector": MeshSize(model="sector", along=1.0, through=1, around=16),
    "tetrahedra": MeshSize(model="sector", along=1.0, through=1, around=16, cells="tetrahedra"),
}


def inflated_sleeve(kind, hole=1.0):
    """A cuff of two layers on a core, held at the ends and inflated, and its body."""
    layers = (Layer("inner", 0.5), Layer("outer", 0.3))
    body = build(Sleeve(2.0, 1.0, layers, core_inner_radius=hole), SLEEVES[kind])
    ends = ("end_low", "end_high", "core_end_low", "core_end_high")
    model = Model(
        body, tuple(Part(region, RUBBER) for region in body.regions), tuple(Support(e, "axial") for e in ends)
    )
    states, outcome = follow(model, Stage("inflate", pressure=0.05 if hole else 0.0, steps=1))
    assert outcome.kind == "reached"
    return states[-1]


@pytest.mark.exact
@pytest.mark.parametrize("kind", ["axisymmetric", "sector"])
def test_thickness_of_each_wall_follows_from_its_volume(kind):
    """Plane strain without change of volume: r² - R² is the same for all faces."""
    state = inflated_sleeve(kind)
    growth = (value(state, "smallest lumen diameter") / 2) ** 2 - 1.0
    assert growth > 0.1
    r = np.sqrt(np.array([1.0, 2.0, 2.5, 2.8]) ** 2 + growth)
    for region, thickness in zip(("core", "inner", "outer"), np.diff(r), strict=True):
        assert value(state, f"minimum thickness of {region}") == pytest.approx(thickness, rel=6e-3)
    assert value(state, "minimum wall thickness") == pytest.approx(r[-1] - r[0], rel=6e-3)


def test_walls_without_two_faces_or_of_tetrahedra_have_no_thickness():
    assert [n for n in inflated_sleeve("tetrahedra").quantities if n.startswith("minimum thickness")] == []
    names = inflated_sleeve("axisymmetric", hole=0.0).quantities
    assert "minimum thickness of outer" in names
    assert "minimum thickness of core" not in names
    assert "smallest open area" not in names


def test_opposite_walls_of_a_collapsing_ring_meet():
    """A long thin tube under suction buckles into two lobes, whose walls meet in the middle.

    Without thickness the ring buckles at 3 EI/R³; its walls meet at 5.247 EI/R³, where 27 % of its area is
    still open. Flaherty, Keller, Rubinow, SIAM J. Appl. Math. 23, 446 (1972), from memory. Inner faces meet
    before middle surfaces do.
    """
    A, t, length = 4.0, 0.2, 1.0
    size = MeshSize(model="sector", sector=90.0, along=length, through=1, around=48)
    body = build(Tube(A, length, (Layer("wall", t),)), size)
    model = Model(body, (Part("wall", RUBBER),), (Support("end_low", "axial"), Support("end_high", "axial")))
    R, EI = A + t / 2, 4 * MU * t**3 / 12
    states, outcome = follow(model, Stage("suck", pressure=-6.6 * EI / R**3, steps=6), beyond="jump")
    assert outcome.kind == "self-contact"
    assert "walls of the lumen touch each other at X 0 mm, Y" in outcome.text
    buckled = next(state for state in states if state.critical == "bifurcation")
    assert buckled.loads["pressure"].value == pytest.approx(-3 * EI / R**3, rel=0.02)
    last = states[-1]
    assert last.loads["pressure"].value == pytest.approx(-5.247 * EI / R**3, rel=0.03)
    assert value(last, "smallest lumen diameter") < 0.01
    middle = value(last, "smallest open area") + np.pi * R * t  # up to the middle surface
    assert middle / (np.pi * R**2) == pytest.approx(0.27, abs=0.03)
    assert value(last, "closed length") == 0.0
