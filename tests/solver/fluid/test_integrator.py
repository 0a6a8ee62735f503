# SPDX-License-Identifier: MIT
"""Order, stiff limit and failures of the time integrator."""

import math

import numpy as np
import pytest
from soft import no_lumen, run

from annelid.solver.errors import FlowNotFound
from annelid.solver.fluid.flow_system import Terms
from annelid.solver.fluid.integrator import GAMMA, integral, line_integral, starting_state, step_alone


class Decay:
    """d/dt (y0 + y0³) = -k y0 y1 with the algebraic row y1 = 1 + y0²."""

    names, units = ("a", "b"), ("1", "1")
    scales, pressures = np.ones(2), np.zeros((0, 2))

    def __init__(self, speed=1.0):
        self.speed = speed

    def stored(self, y, volumes, t):
        return Terms(
            np.array([y[0] + y[0] ** 3, 0.0]),
            np.array([[1 + 3 * y[0] ** 2, 0], [0, 0]]),
            np.zeros((2, 0)),
        )

    def rate(self, y, radii, t):
        value = np.array([-self.speed * y[0] * y[1], y[1] - 1 - y[0] ** 2])
        return Terms(
            value, np.array([[-self.speed * y[1], -self.speed * y[0]], [-2 * y[0], 1]]), np.zeros((2, 0))
        )


@pytest.mark.rate
def test_halving_the_step_quarters_the_error():
    # Separation of variables: t = [ln y + ln(1 + y²)] from y to 1.
    def time(y):
        return math.log(2) - math.log(y) - math.log(1 + y**2)

    errors, integrals = [], []
    for n in (20, 40, 80):
        steps = run(Decay(), [1.0, 0.0], np.linspace(0, 1.0, n + 1))
        y, b = steps[-1].last.unknowns
        errors.append(abs(time(y) - 1.0))
        assert b == pytest.approx(1 + y**2, abs=1e-12)
        # ∫ y (1 + y²) dt is what left the store, to rounding.
        flow = sum(integral(1 / n, s.first.unknowns.prod(), s.last.unknowns.prod()) for s in steps)
        integrals.append(2 - (y + y**3) - flow)
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders == pytest.approx([2, 2], abs=0.05)
    assert errors[-1] < 3e-5
    assert integrals == pytest.approx([0] * 3, abs=1e-10)


def test_very_fast_decay_is_damped_in_one_step():
    state = run(Decay(1e9), [1.0, 0.0], [0.0, 1.0])[-1].last
    assert abs(state.unknowns[0]) < 1e-6


def test_equations_that_determine_nothing_are_refused():
    class Loose(Decay):
        def rate(self, y, radii, t):
            return Terms(np.array([-y[0], 0.0]), np.diag([-1.0, 0.0]), np.zeros((2, 0)))

    start = starting_state(Loose(), np.array([1.0, 0.0]), no_lumen(0))
    with pytest.raises(FlowNotFound, match=r"at 0\.29\d* s is not determined") as info:
        step_alone(Loose(), start, 1.0, no_lumen)
    assert info.value.data["time"] == pytest.approx(1 - 1 / math.sqrt(2))


def test_equations_without_a_solution_are_refused():
    class Unsolvable(Decay):
        def rate(self, y, radii, t):
            return Terms(np.array([-y[0], y[1] ** 2 + 1]), np.diag([-1.0, 2 * y[1]]), np.zeros((2, 0)))

    start = starting_state(Unsolvable(), np.array([1.0, 0.3]), no_lumen(0))
    with pytest.raises(FlowNotFound, match="take smaller time steps"):
        step_alone(Unsolvable(), start, 1.0, no_lumen)


def test_work_along_a_step_is_exact_for_parabolas():
    # ∫ e dw of e = 1 + 2 t + 3 t², w = 5 t - t² from 0 to 1: 5 + (10 - 2)/2 + (15 - 4)/3 - 6/4.
    t = np.array([0.0, GAMMA, 1.0])
    e, w = 1 + 2 * t + 3 * t**2, 5 * t - t**2
    found = line_integral([np.array([x, 0.0]) for x in e], [np.array([x, 7.0]) for x in w])
    assert found == pytest.approx(5 + 4 + 11 / 3 - 1.5, rel=1e-12)
