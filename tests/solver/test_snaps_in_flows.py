# SPDX-License-Identifier: MIT
"""Parts that snap while a flow answers: limit points in time.

A balloon under a pressure that rises evenly in time snaps at the maximum of its pressure (formulas, sources
in exact/sphere.py). Its electrode is fed, without a voltage, so that charges answer and the balloon is in a
stage with ``control = "flow"``; the charge is zero and does not stabilise it. Gent's material has a second
stable state.
"""

from dataclasses import replace

import pytest
from exact import sphere
from models import run, value
from scipy.optimize import minimize_scalar
from walls import half_sphere

from annelid.geometry.errors import InvalidValue
from annelid.solver.continuation.coupled_newton import CoupledNewton
from annelid.solver.fluid.charging import Charging, Feed
from annelid.solver.fluid.flow import Flow
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.material import Material
from annelid.solver.model.parts import Sheets
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

WALL, J, DURATION = 0.05, 30.0, 4.0
TOP = -minimize_scalar(
    lambda la: -sphere.gent_pressure(1.0, J, la, 1.0, 1 + WALL), bounds=(1.2, 1.8), method="bounded"
).fun


def balloon():
    rubber = Material("rubber", "gent", {"shear_modulus": 1.0, "stretch_limit": J}, permittivity=3.0)
    model = half_sphere(WALL, rubber, electrode=(Electrode("all"), Sheets(1, WALL)))
    return replace(model, flow=Flow(charging=Charging((Feed("all", None, 0.02),))))


def rise(name, pressure, steps, duration=DURATION):
    return Stage(
        name, control="flow", duration=duration, pressure=pressure, voltages={"all": 0.0}, steps=steps
    )


def expansion(state):
    return value(state, "mean radial expansion")


@pytest.mark.exact
@pytest.mark.parametrize("steps", [5, pytest.param(60, marks=pytest.mark.long)])
def test_a_balloon_snaps_at_the_time_of_its_largest_pressure(steps):
    outcome, states = run(balloon(), [rise("rise", 1.25 * TOP, steps)], stepping=Stepping())
    exact = DURATION / 1.25
    last = states[-1]
    assert outcome.kind == last.critical == "limit point"
    assert value(last, "time") == pytest.approx(exact, rel=2e-3)
    assert value(last, "time") <= exact * (1 + 1e-4)  # of the pressure with one element through the wall
    assert last.unstable_modes == 0
    located = float(outcome.text.partition("after ")[2].replace("\N{NO-BREAK SPACE}", " ").split()[0])
    assert located == pytest.approx(exact, rel=2e-4)
    assert last.mode is not None


def test_a_state_far_off_in_the_first_step_behind_a_corner_is_refused(monkeypatch):
    # Below the largest pressure Gent's balloon has another stable state. The solver is made to end away
    # from the path once, as if it had found that.
    stages = [rise("near", 0.9 * TOP, 6), rise("beyond", 0.92 * TOP, 2)]
    _, alone = run(balloon(), stages, stepping=Stepping())
    solve, ends = CoupledNewton.solve, []

    def astray(coupled, loads, stage):
        found = solve(coupled, loads, stage)
        ends.append(stage.time > DURATION * (1 + 1e-9))
        if ends.count(True) == 2:
            coupled.system.x.scale(1.5)
        return found

    monkeypatch.setattr(CoupledNewton, "solve", astray)
    outcome, states = run(balloon(), stages, stepping=Stepping())
    assert outcome.kind == "reached"
    assert len(states) == len(alone) + 1
    for state, other in ((states[-1], alone[-1]), (states[-2], alone[-2])):
        assert expansion(state) == pytest.approx(expansion(other), rel=1e-6)
    assert max(map(expansion, states)) == expansion(states[-1])


@pytest.mark.parametrize("beyond", ["jump", "branch"])
def test_jumps_and_branches_are_refused_in_a_flow(beyond):
    with pytest.raises(InvalidValue, match=r"'stop'.*'follow'"):
        run(balloon(), [rise("rise", TOP, 5)], stepping=Stepping(beyond_instability=beyond))
