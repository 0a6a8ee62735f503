# SPDX-License-Identifier: MIT
"""Paths through the pressure maximum of a closed tube: unstable modes, halved steps and outcomes.

The limit of the closed neo-Hookean tube (no axial force but the thrust of the pressure, exact/tube.py) was
recomputed from the radial solution.
"""

import numpy as np
import pytest
from exact import tube
from models import CLOSED, neo_hookean, run, tube_body, tube_model, value

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.self_crossing import SelfCrossing
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.solver.continuation.path import Path, follow
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.boundary import Support
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.ramp import ramp_of
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

# B/A, la, lz and P/μ at the first pressure maximum.
LIMITS = (
    (1.1, 1.628565, 1.178136, 0.071467),
    (1.5, 1.831036, 1.177257, 0.303837),
    (2.0, 2.076105, 1.175526, 0.518807),
)
LOAD = 5e-4  # relative, of a pressure maximum with two elements through the wall
BRACKET = 0.02  # half-width in la of the two states around a maximum

WRONG = -4.0  # times the correct prediction: off by more than 2 % of the part, but Newton converges

LIMIT = pytest.mark.parametrize("limit", LIMITS, ids=lambda row: f"B/A {row[0]}")


def closed_tube(ratio):
    return tube_model(tube_body(ratio, length=0.5), neo_hookean(1.0), CLOSED)


@pytest.mark.exact
@LIMIT
def test_limits_are_maxima_of_the_exact_pressure(limit):
    ratio, la, lz, P = limit
    W = tube.mooney_rivlin(0.5)
    near = [
        tube.pressure_and_force(W, 1.0, ratio, x, tube.capped_stretch(W, 1.0, ratio, x))[0]
        for x in (la - 1e-3, la, la + 1e-3)
    ]
    assert near[1] == pytest.approx(P, rel=2e-5)
    assert near[1] > near[0]
    assert near[1] > near[2]
    assert tube.capped_stretch(W, 1.0, ratio, la) == pytest.approx(lz, rel=1e-5)


@pytest.mark.exact
@LIMIT
def test_volume_control_passes_the_maximum(limit):
    """At prescribed pressure the mode count changes from 0 to 1 between states that bracket the limit."""
    ratio, la_limit, _, P_limit = limit
    W = tube.mooney_rivlin(0.5)

    def stage(la):
        lz = tube.capped_stretch(W, 1.0, ratio, la)
        return Stage(f"{la}", volume=np.pi * la**2 * lz * 0.5, control="volume", steps=4)

    stretches = [1.3, la_limit - BRACKET, la_limit + BRACKET, 2.6]
    outcome, states = run(closed_tube(ratio), [stage(la) for la in stretches])
    assert outcome.kind == "reached"
    regular = [s for s in states if not s.critical]
    for state in regular:
        la = 1 + value(state, "radial expansion mid")
        assert state.unstable_modes == (1 if la > la_limit else 0), la
        assert state.unstable_modes_controlled == 0
    ends = [s for s in regular if s.parameter == 1.0]
    for la, state in zip(stretches, ends, strict=True):
        P, _ = tube.pressure_and_force(W, 1.0, ratio, la, tube.capped_stretch(W, 1.0, ratio, la))
        assert state.loads["pressure"].value == pytest.approx(P, rel=LOAD)
        assert 1 + value(state, "radial expansion mid") == pytest.approx(la, rel=1e-3)
    pressures = [s.loads["pressure"].value for s in states]
    assert 0 < int(np.argmax(pressures)) < len(states) - 1
    assert max(pressures) == pytest.approx(P_limit, rel=LOAD)
    [critical] = [s for s in states if s.critical]
    assert critical.critical == "limit point"
    assert critical.loads["pressure"].value == pytest.approx(P_limit, rel=LOAD)
    assert 1 + value(critical, "radial expansion mid") == pytest.approx(la_limit, rel=2e-3)


@pytest.mark.exact
@LIMIT
def test_prescribed_pressure_ends_at_the_maximum(limit):
    """Beyond the limit load there is no equilibrium: steps are halved, and the outcome is a limit point."""
    ratio, la_limit, lz_limit, P_limit = limit
    outcome, states = run(closed_tube(ratio), [Stage("inflate", pressure=1.2 * P_limit, steps=6)])
    assert outcome.kind == "limit point"
    assert "beyond it there is no equilibrium" in outcome.text
    last = states[-1]
    assert last.critical == "limit point"
    assert last.loads["pressure"].value == pytest.approx(P_limit, rel=LOAD)
    assert 1 + value(last, "radial expansion mid") == pytest.approx(la_limit, rel=5e-3)
    assert 1 - value(last, "axial shortening") == pytest.approx(lz_limit, rel=5e-3)
    assert outcome.parameter == pytest.approx(1 / 1.2, rel=LOAD)
    assert all(s.unstable_modes == 0 for s in states)


def test_steps_are_halved_and_grow_again():
    """A step near the limit is halved; one far below the limit is not."""
    limit = LIMITS[0][3]
    outcome, states = run(closed_tube(1.1), [Stage("inflate", pressure=0.995 * limit, steps=1)])
    assert outcome.kind == "reached"
    parameters = [s.parameter for s in states]
    assert len(states) > 2  # the start and more than the one requested step
    assert np.min(np.diff(parameters)) < 0.9
    outcome, states = run(closed_tube(1.1), [Stage("inflate", pressure=0.3 * limit, steps=2)])
    assert [s.parameter for s in states] == [0.0, 0.5, 1.0]


def test_a_path_stops_where_it_becomes_unstable():
    """Past the maximum under volume, then under pressure: unstable from the start of that stage."""
    model = closed_tube(1.1)
    stages = [
        Stage("blow", volume=np.pi * 4 * 0.5 * 1.3854, control="volume", steps=8),
        Stage("release", pressure=0.06, steps=3),
    ]
    outcome, states = run(model, stages, stepping=Stepping(beyond_instability="stop"))
    assert outcome.kind == "lost stability"
    assert outcome.stage == "release"
    assert "1 unstable mode" in outcome.text
    assert all(s.unstable_modes_controlled == 0 for s in states if s.stage == "blow")
    assert value(states[-1], "radial expansion mid") == pytest.approx(1.0, rel=2e-3)


def inflated_tube():
    path = Path(closed_tube(1.1), [Stage("inflate", pressure=0.05, steps=1)])
    assert path.follow().kind == "reached"
    return path


def continuation_of(path, read_fields):
    """A continuation from the present state to a little more pressure."""
    stage = Stage("on", pressure=0.055)
    ramp = ramp_of(stage, path.system.loads)
    continuation = StageContinuation(path.newton, stage, ramp, read_fields)
    continuation.start()
    return continuation


def test_states_far_off_the_path_are_refused():
    """Newton converges from a wrong prediction, but that state does not continue the path: it is refused."""
    path = inflated_tube()
    continuation = continuation_of(path, path.evaluation.read_fields)
    before = path.system.x.array.copy()
    continuation.advance(1.0)
    assert not np.allclose(path.system.x.array, before, rtol=0, atol=1e-3)
    continuation.go_back()
    continuation.last.tangent.scale(WRONG)
    with pytest.raises(NoEquilibrium, match="far off the path"):
        continuation.advance(1.0)
    assert np.allclose(path.system.x.array, before, rtol=0, atol=1e-15)
    assert path.system.loads.pressure == 0.05


def test_states_with_inverted_elements_are_refused():
    path = inflated_tube()
    continuation = continuation_of(path, lambda: NoEquilibrium("inverted"))
    with pytest.raises(NoEquilibrium, match="inverted"):
        continuation.advance(1.0)
    assert path.evaluation.read_fields() is None
    path.system.x.array_w[:] *= -60.0  # the wall penetrates itself
    path.system.read_x()
    impossible = path.evaluation.read_fields()
    assert impossible is not None
    assert "inverted elements" in impossible.message


@pytest.mark.parametrize(("ends", "remarked"), [("axial", False), ("free", True)])
@pytest.mark.parametrize("sector", [30.0, 45.0, 90.0])
def test_only_free_rims_make_mode_counts_approximate(sector, ends, remarked):
    # Pressure on a surface whose rims keep to planes has a potential (Bufler, Z. angew. Math. Mech. 64, 1984,
    # from memory), whatever the angle of the planes of a sector.
    body = tube_body(1.5, length=0.5, along=0.25, model="sector", sector=sector, around=24, through=1)
    supports = (Support("end_low", "all" if remarked else ends), Support("end_high", ends))
    model = Model(body, (Part("wall", neo_hookean()),), supports)
    outcome = follow(model, [Stage("inflate", pressure=0.05, steps=1)])
    assert outcome.kind == "reached"
    assert any("numbers of unstable modes are approximate" in text for text in outcome.remarks) == remarked


@pytest.mark.parametrize("beyond", ["stop", "follow", "branch", "jump"])
def test_a_stage_without_loads_has_an_outcome(beyond):
    """A natural stretch alone may make a tube unstable; an arc has no loads that it could scale then."""
    body = tube_body(1.125, A=4.0, length=20.0, along=1.0)
    part = Part("wall", neo_hookean(0.1), natural_stretch=NaturalStretch(hoop=0.05))
    model = Model(body, (part,), (Support("end_low", "all"), Support("end_high", "all")))
    outcome = Path(model, [Stage("settle", steps=2)], stepping=Stepping(beyond_instability=beyond)).follow()
    assert outcome.kind in ("lost stability", "bifurcation", "no equilibrium", "reached")
    assert outcome.kind != "lost stability" or "of the natural stretch" in outcome.text


def collapsing_sphere(**settings):
    """Outcome and states of a thin sphere that jumps to another shape under suction."""
    body = build(Balloon(sphere(5.0), (Layer("wall", 0.1),)), MeshSize(along=0.5, through=1))
    model = Model(body, (Part("wall", neo_hookean(0.1)),), (Support("outer", "rigid motion"),))
    stepping = Stepping(beyond_instability="jump", **settings)
    return run(model, [Stage("suction", pressure=-3e-3, steps=6)], stepping=stepping)


@pytest.mark.long
def test_a_sphere_does_not_turn_inside_out():
    """Its poles meet on the way; what would follow is a sphere whose walls have passed through each other."""
    outcome, states = collapsing_sphere()
    assert outcome.kind == "lost stability"
    assert "walls of the lumen touch each other at R" in outcome.text
    assert min(value(state, "lumen volume") for state in states) > 0
    _, states = collapsing_sphere(self_crossing=True)
    assert value(states[-1], "lumen volume") < 0


def test_folds_that_touch_end_the_path():
    """A thin tube that is pressed folds until its folds touch."""
    supports = (Support("end_low", "all"), Support("end_high", "all"))
    body = tube_body(4.3 / 4, 20.0, A=4.0, along=0.5, through=1)
    model = Model(body, (Part("wall", neo_hookean(0.1)),), supports)
    press = [Stage("press", displacements={"end_high": -15.0}, steps=8)]
    outcome, states = run(model, press, stepping=Stepping(beyond_instability="follow"))
    assert outcome.kind == "self-contact"
    assert "touch each other at R" in outcome.text
    reached = 20.0 * value(states[-1], "axial shortening")
    assert 3.0 < reached < 4.5  # seen in a picture: the fold closes into a loop
    _, through = run(model, press, stepping=Stepping(beyond_instability="follow", self_crossing=True))
    crossing = SelfCrossing(body)
    for state in through:
        shortening = 20.0 * value(state, "axial shortening")
        if abs(shortening - reached) > 0.01:
            assert (crossing.touch(state.displacement) is not None) == (shortening > reached)
