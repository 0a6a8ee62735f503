# SPDX-License-Identifier: MIT
"""The pressure at which a lumen that is shut on an obstacle leaks, against closed forms.

A long tube that holds a rigid rod of the radius c leaks when the lumen pressure alone keeps its inner radius
at c: at Rivlin's pressure of the tube for λa = c/A (exact/tube.py), less the Maxwell stress
(exact/dielectric.py). For small strain the fit δ = c/A - 1 of an incompressible tube gives 2 μ δ (1 - A²/B²)
(Lamé, plane strain; any textbook). A core drawn around its rod does not deform before it leaks, so it passes
on the squeeze of the sleeve around it whatever the radius of the rod is.
"""

import math

import numpy as np
import pytest
from exact import dielectric, tube
from models import SLIDING, last_of, neo_hookean, reached, run, tube_body, value

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.quantities import names_for
from annelid.solver.model.stage_ends import EndCondition
from annelid.solver.model.stages import Stage
from annelid.solver.readout.leak_path import LeakPath

B = 1.5  # outer radius; the inner one is 1 mm
MESH = 2e-3  # of a pressure, four elements through the wall
ROUND = 6e-3  # of a pressure in space, sixteen elements around: 3e-2 with eight, 6e-4 with thirty-two
RADIUS = 1e-6  # of a pressure that does not depend on the radius of the rod
LEAKING = EndCondition("leak gap", "at least", 0.0)


def rod(radius=0.99, **more):
    return Contact("rod", "lumen", position=radius, **more)


def on_rod(*, sheets=None, bands=(), tolerance=0.002, **size):
    body = tube_body(B, through=4, bands=bands, **size)
    part = Part("wall", neo_hookean(permittivity=3.0), sheets)
    electrodes = tuple(Electrode(band.name) for band in bands)
    return Model(body, (part,), SLIDING, electrodes, contacts=(rod(tolerance=tolerance),))


def mount(radius):
    return Stage("mount", obstacles={"rod": radius}, steps=3)


def leak(pressure, **more):
    return Stage("leak", pressure=pressure, steps=10, until=(LEAKING,), **more)


SECTOR = {"model": "sector", "sector": 90.0, "around": 16, "along": 1.0}


@pytest.mark.exact
@pytest.mark.parametrize(
    ("size", "tolerance", "error"),
    [({}, 2e-3, MESH), ({}, 2e-4, MESH), pytest.param(SECTOR, 2e-3, ROUND, marks=pytest.mark.long)],
    ids=["axisymmetric", "stiffer contact", "sector"],
)
def test_tube_on_a_rod_leaks_at_its_pressure(size, tolerance, error):
    states = reached(on_rod(tolerance=tolerance, **size), [mount(1.2), leak(1.0)])
    shut, open_ = last_of(states, "mount"), states[-1]
    expected = tube.neo_hookean_pressure(1.0, 1.0, B, 1.2, 1.0)
    assert value(open_, "lumen pressure") == pytest.approx(expected, rel=error)
    assert value(open_, "leak pressure") == value(open_, "lumen pressure")
    assert value(open_, "contact force rod") == pytest.approx(
        0.0, abs=2 * error * value(shut, "contact force rod")
    )
    assert 0 <= value(open_, "leak gap") < 1e-5
    assert value(shut, "leak gap") == pytest.approx(-value(shut, "penetration rod"), rel=0.1)
    assert math.isnan(value(shut, "leak pressure"))
    pressed = tube.neo_hookean_pressure(1.0, 1.0, B, 1.2 + value(shut, "leak gap"), 1.0)
    assert value(shut, "contact pressure rod") == pytest.approx(pressed, rel=error)


@pytest.mark.exact
def test_small_fit_leaks_at_the_pressure_of_lame():
    δ = 1e-4
    states = reached(on_rod(tolerance=1e-5), [mount(1 + δ), leak(1e-3)])
    assert value(states[-1], "leak pressure") == pytest.approx(2 * δ * (1 - B**-2), rel=MESH)


@pytest.mark.exact
def test_voltage_lowers_the_leak_pressure_by_the_maxwell_stress():
    """The rod is left, grasped again by a lower pressure, and left again with the voltage on."""
    model = on_rod(sheets=Sheets(1, B - 1), bands=(Band("ring", "wall", 0.0, 1.0),))
    v = 0.3  # nominal field, of √(μ/ε)
    ε = 3.0 * 8.8541878128e-6
    volts = {"ring": v / math.sqrt(ε) * (B - 1)}
    grasp = Stage("grasp", pressure=0.0, steps=2)
    drive = Stage("drive", voltages=volts, steps=2)
    again = Stage("again", pressure=1.0, steps=5, until=(LEAKING,))
    states = reached(model, [mount(1.2), leak(1.0), grasp, drive, again])
    off = value(last_of(states, "leak"), "leak pressure")
    on = value(states[-1], "leak pressure")
    assert math.isnan(value(last_of(states, "drive"), "leak pressure"))
    mechanical = dielectric.tube_pressure(B, 1.0, 1.2)
    assert off == pytest.approx(mechanical, rel=MESH)
    assert on == pytest.approx(mechanical - v**2 * math.log(B), rel=MESH)
    assert on < 0.85 * off


def squeezed_core(hole, wall_hoop=0.9, **contact):
    """A soft core with a thin hole in a pre-stretched sleeve, drawn around a rod that fills the hole."""
    shape = Sleeve(1.0, 0.5, (Layer("wall", 0.2),), core_inner_radius=hole)
    body = build(shape, MeshSize(along=0.25, through=3))
    parts = (
        Part("wall", neo_hookean(), natural_stretch=NaturalStretch(hoop=wall_hoop)),
        Part("core", neo_hookean(0.1)),
    )
    ends = ("end_low", "end_high", "core_end_low", "core_end_high")
    supports = tuple(Support(end, "axial") for end in ends)
    return Model(body, parts, supports, contacts=(rod(hole, **contact),))


@pytest.mark.exact
@pytest.mark.parametrize("hole", [0.2, 0.1, 0.05])
def test_core_that_rests_shut_leaks_at_the_squeeze_on_it(hole):
    states = reached(squeezed_core(hole, tolerance=1e-3), [Stage("settle", steps=2), leak(0.1)])
    radii, natural = (hole, 1.0, 1.2), ((1.0, 1.0, 1.0), (1 / 0.9, 0.9, 1.0))
    squeeze = tube.bonded(1.0, radii, (0.1, 1.0), natural, 1.0)[0]
    assert value(states[-1], "leak pressure") == pytest.approx(squeeze, rel=RADIUS)


@pytest.mark.exact
def test_suction_that_shuts_a_tube_on_a_thin_rod_is_that_at_which_it_opens():
    model = Model(tube_body(B, through=4), (Part("wall", neo_hookean()),), SLIDING, contacts=(rod(0.8),))
    shutting = Stage("shut", pressure=-1.0, until=(EndCondition("leak gap", "at most", 0.0, tolerance=1e-6),))
    press = Stage("press", pressure=-0.6, steps=2)
    states = reached(model, [shutting, press, leak(0.0)])
    expected = tube.neo_hookean_pressure(1.0, 1.0, B, 0.8, 1.0)
    assert expected < -0.2
    assert value(last_of(states, "shut"), "lumen pressure") == pytest.approx(expected, rel=MESH)
    assert value(last_of(states, "press"), "contact force rod") > 0.1
    assert value(states[-1], "leak pressure") == pytest.approx(expected, rel=MESH)


def test_every_obstacle_must_be_clear():
    """A ball and a thinner rod: the tube leaves the rod first and the ball later."""
    ball = Contact("ball", "lumen", "sphere", position=0.99, height=1.0)
    body = tube_body(B, 2.0, through=2, along=0.25)
    model = Model(body, (Part("wall", neo_hookean()),), SLIDING, contacts=(rod(), ball))
    grow = Stage("mount", obstacles={"rod": 1.1, "ball": 1.3}, steps=4)
    states = reached(model, [grow, leak(1.0)])
    rows = [s for s in states if s.stage == "leak"]
    assert value(rows[0], "contact force ball") > value(rows[-1], "contact force ball") == 0.0
    assert value(rows[-1], "contact force rod") == 0.0
    expected = tube.neo_hookean_pressure(1.0, 1.0, B, 1.3, 1.0)  # straight again, and touched by the ball
    assert value(states[-1], "leak pressure") == pytest.approx(expected, rel=MESH)
    assert all((value(s, "contact force ball") > 0) == (value(s, "leak gap") < 0) for s in rows)


def test_pressure_too_low_to_open_is_remarked_and_gives_no_leak_pressure():
    outcome, states = run(on_rod(), [mount(1.2), leak(0.1)])
    assert math.isnan(value(states[-1], "leak pressure"))
    remark = outcome.remarks[-1].replace("\N{NO-BREAK SPACE}", " ")
    assert remark.startswith("stage 'leak': not met up to pressure 100 kPa, obstacle rod")
    assert "leak gap at least 0 mm (it is \N{MINUS SIGN}" in remark


def test_lumen_that_was_never_shut_has_no_leak_pressure():
    outcome, states = run(on_rod(), [leak(0.1)])
    assert all(value(state, "leak gap") > 0 for state in states)
    assert math.isnan(value(states[-1], "leak pressure"))
    assert outcome.remarks[-1].endswith("already at its start")


def test_lumen_that_is_closed_at_one_end_cannot_leak():
    dome = build(Dome(2.0, 1.0, (Layer("wall", 0.2),)), MeshSize(along=0.4, through=1))
    model = Model(dome, (Part("wall", neo_hookean()),), (Support("end_low", "all"),), contacts=(rod(),))
    assert set(names_for(on_rod().scope)) > {"contact force rod", "leak gap", "leak pressure"}
    assert "contact force rod" in names_for(model.scope)
    assert not {"leak gap", "leak pressure"} & set(names_for(model.scope))


@pytest.mark.exact
@pytest.mark.parametrize("cells", ["hexahedra", "tetrahedra"])
def test_leak_path_follows_a_helix(cells):
    """A groove that winds once around a tube of 32 elements around, and a ring that shuts it."""
    size = MeshSize(model="solid", along=0.1, through=1, around=32, cells=cells)
    body = build(Tube(1.0, 2.0, (Layer("wall", 0.1),)), size)
    path = LeakPath(body, ("end_low", "end_high"))

    def widest(at_ring=None):
        def gap(x):
            groove = np.cos(np.arctan2(x[:, 1], x[:, 0]) - np.pi * x[:, 2])
            return groove if at_ring is None else np.where(np.abs(x[:, 2] - 1.0) < 0.06, at_ring, groove)

        return path.widest(np.zeros_like(body.points), gap)

    turn = 2 * np.pi / 32 + np.pi * 0.1  # over one facet and from one to the next; triangles take a detour
    assert np.cos(1.25 * turn) < widest() < np.cos(np.pi / 32)
    assert widest(-0.5) == -0.5
    assert widest(2.0) >= widest()
