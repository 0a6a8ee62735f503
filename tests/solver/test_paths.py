# SPDX-License-Identifier: MIT
"""Paths through limit points, onto other branches and against obstacles.

Sources: capped neo-Hookean tube and free dielectric tube, limits recomputed from the radial closed forms
(Rivlin, Phil. Trans. A 242, 173, 1949, from memory; dielectric tube own derivation); thin Gent sphere p
R/(μ H) = 2 (λ⁻¹ - λ⁻⁷) J/(J + 3 - I1); long tube under outside pressure p = E (t/R)³/(4 (1 - ν²)) = μ
(t/R)³ (Timoshenko & Gere, Theory of Elastic Stability, from memory); sleeve on a frictionless rigid rod,
recomputed from Rivlin's tube.
"""

from functools import cache

import numpy as np
import pytest
from models import neo_hookean, reached, tube_body, tube_model
from scipy.optimize import brentq

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.continuation import step_control
from annelid.solver.continuation.path import Path
from annelid.solver.model.boundary import Electrode, Section, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import PointMotion, Stage
from annelid.solver.model.stepping import Stepping
from annelid.solver.model.waveforms import LoadWave, RaisedCosine, Waveform

RUBBER = Material("rubber", "neo-hookean", {"shear_modulus": 1.0}, permittivity=2.8)
EPS = 2.8 * 8.8541878128e-6
CLOSED = (Support("end_low", "axial"), Support("end_high", "plate"))
MIDDLE = (Section("mid", 0.5),)
# B/A, la, lz, P/μ at the first pressure maximum of the closed tube.
CAPPED = [
    (1.05, 1.602779, 1.178174, 0.036586),
    (1.1, 1.628565, 1.178136, 0.071467),
    (1.25, 1.705253, 1.177903, 0.167292),
    (1.5, 1.831036, 1.177257, 0.303837),
    (2.0, 2.076105, 1.175526, 0.518807),
    (3.0, 2.545673, 1.171786, 0.820604),
]
# B/A, la, lz, V √(ε/μ)/(B - A) at the voltage maximum of the free tube.
PULL_IN = [
    (1.01, 1.2630723, 1.2599225, 0.68736529),
    (1.05, 1.2757056, 1.2599549, 0.68737619),
    (1.1, 1.2915609, 1.2600503, 0.68740829),
    (1.25, 1.3395434, 1.2606309, 0.68760579),
    (1.5, 1.4208201, 1.2622777, 0.68818492),
    (2.0, 1.587498, 1.2668842, 0.68994692),
]
# B/A, la, lz free, contact pressure/μ without axial force, contact pressure/μ at lz = 1.
ON_A_ROD = [
    (1.1, 1.2, 0.92366, 0.042149, 0.0466885),
    (1.5, 1.2, 0.95241, 0.153417, 0.164009),
    (1.5, 1.5, 0.893774, 0.291032, 0.283755),
    (2.0, 1.5, 0.931932, 0.432435, 0.428228),
]


def tube(ratio, *, supports=CLOSED, through=2, **more):
    body = build(
        Tube(1.0, 1.0, (Layer("wall", ratio - 1),)),
        MeshSize(along=0.5, through=through),
        more.pop("bands", ()),
    )
    part = Part("wall", RUBBER, Sheets(1, ratio - 1) if body.bands else None)
    return Model(body, (part,), supports, sections=MIDDLE, **more)


def run(model, *stages, **stepping):
    path, states = Path(model, stages, stepping=Stepping(**stepping)), []
    outcome = path.follow(observe=states.append)
    return states, outcome, path.system.count


def shape(state):
    """Inner hoop stretch and axial stretch."""
    return (
        1 + state.quantities["radial expansion mid"].value,
        1 - state.quantities["axial shortening"].value,
    )


def criticals(states):
    return [state for state in states if state.critical]


@pytest.mark.exact
@pytest.mark.parametrize(("ratio", "la", "lz", "P"), CAPPED)
def test_pressure_maximum_of_a_closed_tube_by_volume(ratio, la, lz, P):
    end = np.pi * (1.25 * la) ** 2 * lz
    states, outcome, _ = run(tube(ratio, through=4), Stage("fill", volume=end, control="volume", steps=14))
    assert outcome.kind == "reached"
    (top,) = criticals(states)
    assert top.critical == "limit point"
    assert top.loads["pressure"].value == pytest.approx(P, rel=1e-4)
    assert shape(top) == pytest.approx((la, lz), rel=1e-3)
    assert [s.unstable_modes for s in states] == [int(s.index > top.index) for s in states]
    assert not any(s.unstable_modes_controlled for s in states)


@cache
def through_the_maximum(control):
    stage = {
        "volume": Stage("go", volume=13.0, control="volume", steps=10),
        "opening": Stage("go", pressure=0.08, opening=("mid", 2.0), control="opening", steps=10),
        "displacement": Stage(
            "go", pressure=0.08, point=PointMotion((1.0, 0.5), 0, 1.0), control="displacement", steps=10
        ),
        "arc": Stage("go", pressure=0.08, arc=1.2, control="arc", steps=12),
    }[control]
    return run(tube(1.1), stage, beyond_instability="follow")


@pytest.mark.exact
@pytest.mark.parametrize("control", ["opening", "displacement", "arc"])
def test_every_control_follows_the_same_path(control):
    (top,) = criticals(through_the_maximum(control)[0])
    (reference,) = criticals(through_the_maximum("volume")[0])
    assert top.loads["pressure"].value == pytest.approx(reference.loads["pressure"].value, rel=1e-7)
    last = through_the_maximum(control)[0][-1]
    la, lz = shape(last)
    lb = np.sqrt((la**2 + 0.21 / lz) / 1.21)
    pressure = (lz * np.log(la / lb) + 1 / (2 * lb**2) - 1 / (2 * la**2)) / lz**2
    assert last.unstable_modes == 1
    assert last.loads["pressure"].value == pytest.approx(pressure, rel=1e-3)


def test_a_located_maximum_costs_at_most_eight_states():
    """Each state takes one factorisation to count its modes; the search takes those of eight states."""
    states, _, count = through_the_maximum("volume")
    (top,) = criticals(states)
    assert top.factorisations <= 2 * 8 + 2
    smooth = [s.factorisations for s in states if not s.critical and s.index != top.index + 1]
    assert max(smooth) <= 2
    assert count.factorisations <= sum(s.factorisations for s in states) + 2


def test_arc_length_does_not_depend_on_the_mesh():
    ends = [
        run(
            tube(1.5, through=through),
            Stage("go", pressure=0.3, arc=0.4, control="arc", steps=8),
            beyond_instability="follow",
        )[0][-1]
        for through in (2, 5)
    ]
    loads = [state.loads["pressure"].value for state in ends]
    assert loads[0] == pytest.approx(loads[1], rel=1e-3)
    assert loads[0] > 0.05


@pytest.mark.exact
@pytest.mark.parametrize(("ratio", "la", "lz", "v"), PULL_IN)
def test_free_dielectric_tube_pulls_in(ratio, la, lz, v):
    model = tube(
        ratio,
        through=4,
        bands=(Band("whole", "wall", 0.0, 1.0),),
        electrodes=(Electrode("whole"),),
        electrics="solved",
    )
    kilovolts = v * (ratio - 1) / np.sqrt(EPS)
    states, outcome, _ = run(model, Stage("on", voltages={"whole": 1.3 * kilovolts}, steps=6))
    assert outcome.kind == "limit point"
    assert states[-1].loads["voltage whole"].value == pytest.approx(kilovolts, rel=2e-4)
    assert shape(states[-1]) == pytest.approx((la, lz), rel=5e-3)  # the maximum is flat


@pytest.mark.exact
def test_pull_in_is_passed_by_charge():
    model = tube(1.05, bands=(Band("whole", "wall", 0.0, 1.0),), electrodes=(Electrode("whole"),))
    states, outcome, _ = run(model, Stage("charge", charges={"whole": 0.12}, control="charge", steps=14))
    top = criticals(states)[0]
    assert top.critical == "limit point"
    # Just behind it the charge may also become uneven, which charge control does not prevent.
    assert [s.critical for s in criticals(states)[1:]] == ["bifurcation"]
    assert outcome.kind == "lost stability"
    assert top.loads["voltage whole"].value == pytest.approx(0.68737619 * 0.05 / np.sqrt(EPS), rel=1e-3)
    after = [s for s in states if s.index > top.index]
    assert after
    assert all(s.loads["voltage whole"].value < top.loads["voltage whole"].value for s in after)


def gent_sphere(λ, J):
    I1 = 2 * λ**2 + λ**-4
    return 2 * (1 / λ - λ**-7) * J / (J + 3 - I1)


@pytest.mark.exact
@pytest.mark.parametrize("H", [0.1, 0.02])
def test_gent_balloon_jumps_up_and_down(H):
    R, J = 10.0, 30.0
    rubber = Material("rubber", "gent", {"shear_modulus": 1.0, "stretch_limit": J})
    body = build(Balloon(sphere(R, half=True), (Layer("skin", H),)), MeshSize(along=2.5, through=1))
    model = Model(body, (Part("skin", rubber),), (Support("end_low", "symmetric"),))
    scale = H / (R + H / 2)
    states, outcome, _ = run(
        model,
        Stage("up", pressure=1.33 * scale, steps=8),
        Stage("down", pressure=1.0 * scale, steps=6),
        beyond_instability="jump",
    )
    assert outcome.kind == "reached"
    top, bottom = criticals(states)
    assert top.loads["pressure"].value / scale == pytest.approx(1.292599, rel=3e-3)
    assert bottom.loads["pressure"].value / scale == pytest.approx(1.157450, rel=3e-3)
    assert sum("to another stable state" in remark for remark in outcome.remarks) == 2
    assert sum(state.reached_by != "" for state in states) == 2
    for landed, bracket in ((states[top.index + 1], (2.5, 3.9)), (states[bottom.index + 1], (1.0, 1.38))):
        p = landed.loads["pressure"].value / scale
        stretch = brentq(lambda λ, p=p: gent_sphere(λ, J) - p, *bracket)
        assert landed.unstable_modes == 0
        assert landed.reached_by == "jump"
        assert 1 + landed.quantities["mean radial expansion"].value == pytest.approx(stretch, rel=5e-3)


def test_release_of_a_prescribed_volume_loses_stability():
    model = tube(1.1)
    stages = (
        Stage("fill", volume=13.0, control="volume", steps=8),
        Stage("release", pressure=0.065, steps=2),
    )
    _, outcome, _ = run(model, *stages)
    assert outcome.kind == "lost stability"
    assert outcome.stage == "release"


@cache
def thin_ring(**stepping):
    t = 0.05
    body = build(
        Tube(1 - t / 2, 0.2, (Layer("wall", t),)),
        MeshSize(model="sector", along=0.2, through=1, around=48, sector=90.0),
    )
    model = Model(body, (Part("wall", RUBBER),), (Support("end_low", "axial"), Support("end_high", "axial")))
    share = stepping.pop("share")
    return (*run(model, Stage("suck", pressure=-share * t**3, steps=6), **stepping), t**3)


@pytest.mark.exact
@pytest.mark.reference
def test_long_tube_collapses_into_two_lobes():
    states, outcome, _, p = thin_ring(share=1.4, beyond_instability="branch")
    (start,) = criticals(states)
    assert start.critical == "bifurcation"
    assert [s.index - start.index for s in states if s.reached_by == "branch"] == [1]
    assert not any(s.reached_by == "jump" for s in states)
    assert -start.loads["pressure"].value == pytest.approx(p, rel=1e-2)
    assert outcome.kind == "reached"
    assert states[-1].loads["pressure"].value == pytest.approx(-1.4 * p, rel=1e-9)
    inward = np.abs(states[-1].displacement[:, :2]).max()
    # Inextensible ring, recomputed: half opening 0.37 R at p R³/EI = 3.7807, 0.25 R at 4.131; 0.23 R at 4.2.
    assert inward == pytest.approx(0.74, abs=0.03)


def test_a_path_ends_after_many_branches(monkeypatch):
    """Branches may form a closed loop, on which the path would never end."""
    monkeypatch.setattr(step_control, "MOST_BRANCHES", 0)
    states, outcome, _, _ = thin_ring.__wrapped__(share=1.4, beyond_instability="branch")
    assert outcome.kind == "bifurcation"
    assert outcome.text.endswith("; the path is followed along 0 branches only")
    assert states[-1].critical == "bifurcation"


@pytest.mark.exact
def test_margin_to_buckling():
    _, outcome, _, _ = thin_ring(share=0.5, seek_limit=4.0)
    (margin,) = outcome.margins
    assert (margin.load, margin.kind) == ("pressure", "bifurcation")
    assert margin.value == pytest.approx(2.0, rel=2e-2)


@pytest.mark.exact
@pytest.mark.parametrize(("ratio", "la", "lz", "free", "held"), ON_A_ROD)
def test_sleeve_presses_on_a_rigid_rod(ratio, la, lz, free, held):
    held_ends = (Support("end_low", "axial"), Support("end_high", "axial"))
    for supports, length, pressure in (
        (CLOSED, lz, free),
        (held_ends, 1.0, held),
    ):
        model = tube(
            ratio, supports=supports, contacts=(Contact("rod", "lumen", position=1.0, tolerance=1e-3),)
        )
        states, _, _ = run(model, Stage("push in", obstacles={"rod": la}, steps=3))
        last = states[-1]
        assert last.quantities["contact pressure rod"].value == pytest.approx(pressure, rel=1e-2)
        assert 1 - last.quantities["axial shortening"].value == pytest.approx(length, rel=1e-3)
        assert 0 < last.quantities["penetration rod"].value < 1e-3
        assert last.quantities["contact length rod"].value == pytest.approx(length, rel=1e-3)


# c/b, pressure over E of a ring on a rigid core, plane stress and plane strain, interference 0.01 of the
# radius, ν = ½ (Lamé's press fit, textbook formula from memory).
PRESS_FIT = [(1.1, 0.000907127, 0.00115702), (1.5, 0.00322581, 0.0037037), (2.0, 0.00461538, 0.005)]


@pytest.mark.exact
@pytest.mark.parametrize(("ratio", "stress", "strain"), PRESS_FIT)
def test_small_interference_gives_the_press_fit_of_lame(ratio, stress, strain):
    held = (Support("end_low", "axial"), Support("end_high", "axial"))
    for supports, expected in ((CLOSED, stress), (held, strain)):
        rod = Contact("rod", "lumen", position=1.0, tolerance=1e-3)
        model = tube(ratio, supports=supports, contacts=(rod,))
        states, _, _ = run(model, Stage("push in", obstacles={"rod": 1.0005}, steps=1))
        pressure = states[-1].quantities["contact pressure rod"].value
        assert pressure / 3 / 0.0005 * 0.01 == pytest.approx(expected, rel=5e-3)


# φ = (V/H) √(ε/μ), hoop stretch and p R/(μ H) at the pressure maximum of a thin neo-Hookean dielectric
# sphere, p = 2 (λ⁻¹ - λ⁻⁷) - 2 φ² λ (own derivation from Zhu, Cai, Suo, Polym. Int. 59, 378, 2010).
CHARGED_SPHERES = [(0.2, 1.366580, 1.129491), (0.4, 1.327033, 0.806503)]


@pytest.mark.exact
@pytest.mark.parametrize(("phi", "stretch", "maximum"), CHARGED_SPHERES)
def test_pressure_maximum_of_a_sphere_at_constant_voltage(phi, stretch, maximum):
    R, H = 10.0, 0.1
    body = build(
        Balloon(sphere(R, half=True), (Layer("skin", H),)),
        MeshSize(along=2.0, through=1),
        [Band("whole", "skin", 0.0, R)],
    )
    model = Model(
        body,
        (Part("skin", RUBBER, Sheets(1, H)),),
        (Support("end_low", "symmetric"),),
        electrodes=(Electrode("whole"),),
    )
    drawn, kilovolts = 2 / 3 * np.pi * R**3, phi * H / np.sqrt(EPS)
    states, _, _ = run(
        model,
        Stage("stretch", volume=1.15**3 * drawn, control="volume", steps=4),  # it would wrinkle if compressed
        Stage("on", volume=1.15**3 * drawn, voltages={"whole": kilovolts}, control="volume", steps=4),
        Stage("fill", volume=1.6**3 * drawn, control="volume", steps=12),
        beyond_instability="follow",
    )
    top = criticals(states)[0]
    scale = H / (R + H / 2)
    assert top.critical == "limit point"
    assert top.loads["pressure"].value / scale == pytest.approx(maximum, rel=1e-2)
    assert 1 + top.quantities["mean radial expansion"].value == pytest.approx(stretch, rel=1e-2)


def test_the_last_step_of_a_stage_may_be_shorter():
    """Steps of 0.3 s in 1 s have no further states between them."""
    waveform = Waveform(form=RaisedCosine(), amplitude=0.01, period=2.0)
    breathe = Stage(
        "breathe", duration=1.0, steps=4, time_step=0.3, waves=(LoadWave("pressure", "", waveform),)
    )
    states = reached(tube_model(tube_body(), neo_hookean()), [breathe])
    assert [state.parameter for state in states] == pytest.approx([0.0, 0.3, 0.6, 0.9, 1.0])
