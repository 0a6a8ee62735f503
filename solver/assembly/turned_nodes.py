# SPDX-License-Identifier: MIT
"""Displacement of nodes that turn about the axis with their support."""

import numpy as np
from dolfinx import fem

from annelid.solver.constraints.constraints import FixedComponent
from annelid.solver.energy.problem import Problem


class TurnedNodes:
    """One displacement component of nodes whose support turns by a prescribed angle.

    Attributes:
        function: The displacement, or its rate.
    """

    def __init__(self, problem: Problem, fixed: FixedComponent) -> None:
        self.function = fem.Function(problem.spaces[0])
        self._arm = None if problem.arm is None else float(problem.arm.value)
        self._component = fixed.component
        self._rows = np.flatnonzero(np.isin(problem.node_of_dof, fixed.nodes))
        self._points = problem.model.body.points[problem.node_of_dof[self._rows]]
        self._angle = 0.0

    def turn(self, angle: float, *, rate: bool = False) -> None:
        """Take the values at an angle in degrees, or their rate at that rate of the present angle."""
        change = np.deg2rad(angle)
        if not rate:
            self._angle = change
        values = self.function.x.array.reshape(-1, self.function.function_space.dofmap.index_map_bs)
        values[self._rows, self._component] = self._motion(change, rate)

    def _motion(self, change: float, rate: bool) -> np.ndarray | float:
        if self._arm is not None:
            return self._arm * change
        c, s = np.cos(self._angle), np.sin(self._angle)
        X = self._points[:, :2]
        if rate:
            return change * (X @ np.array([[-s, -c], [c, -s]])[self._component])
        return X @ np.array([[c - 1, -s], [s, c - 1]])[self._component]
