# SPDX-License-Identifier: MIT
"""The search for a level on given curves of one variable."""

from types import SimpleNamespace

import pytest

from annelid.solver.continuation.level_search import LevelSample, search_level
from annelid.solver.continuation.newton import Convergence

ROOT = 0.3
CURVES = {
    "line": lambda s: 600 * (s - ROOT),
    "cubic": lambda s: 600 * (s**3 - ROOT**3),
    "lost contact": lambda s: (600 if s < ROOT else 1e6) * (s - ROOT),
    "closed contact": lambda s: (1e6 if s < ROOT else 600) * (s - ROOT),
}
MOST = {"line": 1, "cubic": 14, "lost contact": 16, "closed contact": 16}
"""Solves; a straight line between levels that differ a thousandfold in size needs over 20."""


class Curve:
    """Stands for a stage whose states are their positions."""

    def __init__(self):
        self.s, self.solves = 0.0, 0
        self.system = SimpleNamespace(snapshot=lambda: self.s)

    def solve_between(self, s, low, high):
        self.s, self.solves = s, self.solves + 1
        return Convergence(1, 0.0)

    def read_fields(self):
        return None


@pytest.mark.parametrize("name", CURVES)
def test_level_is_found_in_few_solves(name):
    level, curve = CURVES[name], Curve()
    ends = [LevelSample(s, level(s), s, Convergence(0, 0.0)) for s in (0.0, 1.0)]
    low, high = search_level(curve, *ends, lambda: level(curve.s), 0.5)
    assert low.s <= ROOT <= high.s
    assert min(abs(low.level), abs(high.level)) <= 0.5
    assert curve.solves <= MOST[name]
