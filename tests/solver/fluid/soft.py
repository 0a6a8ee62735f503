# SPDX-License-Identifier: MIT
"""What the tests of flow systems share: a wall with a given law in place of the structure, and runs."""

import numpy as np

from annelid.solver.fluid.flow_system import LumenState, Terms
from annelid.solver.fluid.integrator import starting_state, step_alone

NOTHING = LumenState(np.zeros(0), np.zeros(0), np.zeros(0))


def no_lumen(t):
    return NOTHING


class Soft:
    """A flow system with the volumes as further unknowns, tied to the pressures by a law of the wall.

    ``law(V, t)`` gives the pressures (k,) and their derivatives by the volumes (k,); ``radius(V)`` the radii
    and their derivatives; ``length`` is that of each section.
    """

    def __init__(
        self, system, law, radius=lambda V: (np.ones_like(V), np.zeros_like(V)), volume=1.0, length=1.0
    ):
        self.system, self.law, self.radius = system, law, radius
        k, self.n = system.pressures.shape
        self.names = system.names + tuple(f"volume {i}" for i in range(k))
        self.units = system.units + ("mm3",) * k
        self.scales = np.concatenate([system.scales, np.full(k, volume)])
        self.pressures = np.zeros((0, self.n + k))
        self.k, self.lengths = k, np.full(k, length)

    def stored(self, y, volumes, t):
        inner = self.system.stored(y[: self.n], y[self.n :], t)
        value = np.concatenate([inner.value, np.zeros(self.k)])
        matrix = np.zeros((self.n + self.k,) * 2)
        matrix[: self.n] = np.hstack([inner.by_unknowns, inner.by_lumen])
        return Terms(value, matrix, np.zeros((self.n + self.k, 0)))

    def lumen(self, y):
        """Lumen that belongs to the unknowns."""
        V = y[self.n :]
        return LumenState(V, self.radius(V)[0], self.lengths)

    def rate(self, y, lumen, t):
        pressure, V = y[: self.n], y[self.n :]
        _, slope = self.radius(V)
        inner = self.system.rate(pressure, self.lumen(y), t)
        law, stiffness = self.law(V, t)
        value = np.concatenate([inner.value, self.system.pressures @ pressure - law])
        matrix = np.block(
            [
                [inner.by_unknowns, inner.by_lumen[:, self.k : 2 * self.k] * slope],
                [self.system.pressures, -np.diag(stiffness)],
            ]
        )
        return Terms(value, matrix, np.zeros((self.n + self.k, 0)))


def run(system, y, times, lumen_at=no_lumen):
    """Steps from time to time."""
    state, steps = starting_state(system, np.asarray(y, float), lumen_at(times[0]), times[0]), []
    for t in times[1:]:
        steps.append(step_alone(system, state, t - state.time, lumen_at))
        state = steps[-1].last
    return steps


def slope_errors(system, y, lumen, t, step=1e-6):
    """Largest error of the derivatives against central differences, relative to the largest entry."""
    k, core, worst = len(lumen.volumes), lumen.core, 0.0

    def stored(y, volumes):
        return system.stored(y, volumes, t)

    def rate(y, lumen):
        return system.rate(y, LumenState(*lumen.reshape(3, k), core=core), t)

    for terms, given in ((stored, lumen.volumes), (rate, np.concatenate(lumen[:3]))):
        there = terms(y, given)
        for exact, point, at in (
            (there.by_unknowns, y, lambda x, given=given, terms=terms: terms(x, given).value),
            (there.by_lumen, given, lambda x, terms=terms: terms(y, x).value),
        ):
            moves = [step * max(abs(x), 1e-3) * e for x, e in zip(point, np.eye(len(point)), strict=True)]
            found = np.array([(at(point + d) - at(point - d)) / (2 * d.sum()) for d in moves]).T
            if exact.size:
                scale = np.abs(exact).max() or 1.0
                worst = max(worst, np.abs(found - exact).max() / scale)
    return worst
