# SPDX-License-Identifier: MIT
"""Walls with lattices as solids: periodic around, equal to a sector, and against tubes and spheres."""

import math
from dataclasses import replace

import numpy as np
import pytest
from exact import tube
from exact.sphere import neo_hookean_pressure

from annelid.geometry.lattice.catalogue import CELLS
from annelid.geometry.lattice.chart import chart_of
from annelid.geometry.lattice.measured_chart import measured_chart
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.lattice_mesh.core_surface import Core
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube
from annelid.solver.continuation.path import follow
from annelid.solver.model.boundary import Foundation, Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

AROUND = 8
TUBE = Tube(5.0, 8.0, (Layer("skin", 0.3),))
SOFT = Material("soft", "neo-hookean", {"shear_modulus": 0.1})
STIFF = Material("stiff", "neo-hookean", {"shear_modulus": 1.0})


def inflated(kind, parameters, **size):
    lattice = wrap(CELLS[kind](**parameters).pattern(), chart_of(TUBE), height=0.5, around=AROUND)
    body = lattice_body(lattice, TUBE.layers, LatticeMeshSize(along=2.5, on_struts=1.2, **size))
    model = Model(
        body,
        (Part("skin", SOFT), Part("lattice", STIFF)),
        (Support("end_low", "all"), Support("end_high", "all")),
    )
    states = []
    outcome = follow(model, [Stage("inflate", pressure=0.006, steps=2)], observe=states.append)
    assert outcome.kind == "reached"
    return body, states[-1]


HEXACHIRAL = {"node_radius": 0.8, "ligament": 3.3, "width": 0.4, "node": "disc"}
REENTRANT = {"vertical": 2.9, "inclined": 2.7, "angle": 15.0, "width": 0.5}


@pytest.mark.long
def test_displacement_has_no_seam():
    # The mesh is the same in every cell around, so the displacement must be, also across the seam.
    body, state = inflated("hexachiral", HEXACHIRAL)
    assert np.abs(state.displacement).max() > 0.05
    angle = 2 * math.pi / AROUND
    turn = np.array(
        [[math.cos(angle), -math.sin(angle), 0], [math.sin(angle), math.cos(angle), 0], [0, 0, 1]]
    )
    place = {tuple(p): i for i, p in enumerate(np.round(body.points, 5) + 0.0)}
    partner = np.array([place[tuple(p)] for p in np.round(body.points @ turn.T, 5) + 0.0])
    np.testing.assert_allclose(state.displacement[partner], state.displacement @ turn.T, atol=1e-7)


@pytest.mark.long
def test_sector_deforms_like_the_whole():
    _, whole = inflated("re-entrant", REENTRANT)
    _, piece = inflated("re-entrant", REENTRANT, sector=22.5)
    for name in ("lumen volume", "strain energy", "mean radial expansion"):
        assert piece.quantities[name].value == pytest.approx(whole.quantities[name].value, rel=1e-2)


def without_lattice(body):
    """The body without its struts and without the part of the outer surface on them."""
    kept = np.setdiff1d(np.arange(len(body.cells)), body.regions["lattice"])
    number = np.full(len(body.cells), -1)
    number[kept] = np.arange(len(kept))
    used, cells = np.unique(body.cells[kept], return_inverse=True)
    node = np.full(len(body.points), -1)
    node[used] = np.arange(len(used))
    facets = node[body.facets]
    whole = np.flatnonzero((facets >= 0).all(axis=1))
    return replace(
        body,
        points=body.points[used],
        cells=cells.reshape(len(kept), -1),
        regions={name: number[members] for name, members in body.regions.items() if name != "lattice"},
        facets=facets[whole],
        surfaces={
            name: np.flatnonzero(np.isin(whole, members))
            for name, members in body.surfaces.items()
            if "lattice" not in name
        },
        normal=body.normal[used],
        hoop=body.hoop[used],
    )


@pytest.mark.exact
def test_skin_over_a_pole_inflates_like_a_sphere():
    # Incompressible neo-Hookean sphere (tests/exact/sphere.py), also at the pole.
    radius, la = 5.0, 1.08
    shape = Balloon(sphere(radius, half=True), TUBE.layers)
    lattice = wrap(CELLS["re-entrant"](**REENTRANT).pattern(), chart_of(shape), height=0.3)
    size = LatticeMeshSize(along=1.5, on_struts=0.8, sector=360.0 / lattice.around)
    body = without_lattice(lattice_body(lattice, shape.layers, size))
    model = Model(body, (Part("skin", SOFT),), (Support("end_low", "symmetric"),))
    pressure = neo_hookean_pressure(0.1, la, radius, radius + 0.3)
    states = []
    follow(model, [Stage("inflate", pressure=pressure, steps=2)], observe=states.append)
    now = np.linalg.norm(body.points + states[-1].displacement, axis=1)
    lumen = body.surface_nodes("lumen")
    np.testing.assert_allclose(now[lumen] / radius, la, rtol=1e-4)


@pytest.mark.long
@pytest.mark.exact
def test_measured_cylinder_inflates_like_a_tube():
    # Incompressible neo-Hookean tube between planes (tests/exact/tube.py).
    radius, la = 5.0, 1.08
    chart = measured_chart(np.linspace(0.0, 6.0, 9), np.full((24, 9), radius + 0.3))
    lattice = wrap(CELLS["re-entrant"](**REENTRANT).pattern(), chart, height=0.3, around=6)
    body = without_lattice(lattice_body(lattice, TUBE.layers, LatticeMeshSize(along=2.5, on_struts=1.5)))
    held = (Support("end_low", "axial"), Support("end_high", "axial"))
    faint = Foundation("outer", 1e-7, "all")  # against rigid motions
    model = Model(body, (Part("skin", SOFT),), held, foundations=(faint,))
    exact_pressure = tube.neo_hookean_pressure(0.1, radius, radius + 0.3, la, 1.0)
    states = []
    follow(model, [Stage("inflate", pressure=exact_pressure, steps=2)], observe=states.append)
    now = np.hypot(*(body.points + states[-1].displacement)[:, :2].T)
    lumen = body.surface_nodes("lumen")
    np.testing.assert_allclose(now[lumen] / radius, la, rtol=1e-4)


def cored(overhang):
    """A sleeve on a hollow core, of one material, and its mesh without struts."""
    sleeve = Sleeve(5.0, TUBE.length, TUBE.layers, core_inner_radius=3.0, core_overhang=overhang)
    core = Core(radius=5.0, inner_radius=3.0, low=0.0, high=sleeve.length + 2 * overhang, along=2.0)
    lattice = wrap(CELLS["re-entrant"](**REENTRANT).pattern(), chart_of(sleeve), height=0.3, around=AROUND)
    size = LatticeMeshSize(along=2.0, on_struts=1.0, sector=360.0 / AROUND)
    return sleeve, without_lattice(lattice_body(lattice, sleeve.layers, size, core=core))


def pressed(body, pressure, held):
    """The last state of a body of one material under a pressure."""
    parts = tuple(Part(region, SOFT) for region in body.regions)
    states = []
    model = Model(body, parts, tuple(Support(name, "axial") for name in held))
    follow(model, [Stage("inflate", pressure=pressure, steps=2)], observe=states.append)
    return states[-1]


@pytest.mark.exact
def test_sleeve_and_hollow_core_inflate_like_one_tube():
    # Between planes: an incompressible neo-Hookean tube (tests/exact/tube.py).
    _, body = cored(0.0)
    pressure = tube.neo_hookean_pressure(0.1, 3.0, 5.3, 1.05, 1.0)
    state = pressed(body, pressure, ("core_end_low", "core_end_high", "end_low", "end_high"))
    now = np.hypot(*(body.points + state.displacement)[:, :2].T)
    lumen = body.surface_nodes("lumen")
    np.testing.assert_allclose(now[lumen] / 3.0, 1.05, rtol=1e-3)


@pytest.mark.reference
def test_overhanging_core_agrees_with_its_meridian():
    # The same sleeve as a body of revolution, meshed by quadrilaterals.
    sleeve, body = cored(1.5)
    ends = ("core_end_low", "core_end_high")
    found, meridian = (pressed(b, 0.008, ends) for b in (body, build(sleeve, MeshSize(along=0.5))))
    for name in ("volume change", "mean radial expansion", "strain energy"):
        assert found.quantities[name].value == pytest.approx(meridian.quantities[name].value, rel=2e-3)
