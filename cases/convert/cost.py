# SPDX-License-Identifier: MIT
"""Estimated size and run time of a case from its mesh."""

from typing import NamedTuple

import numpy as np

from annelid.cases.schema.case import Case
from annelid.geometry.body import Body
from annelid.geometry.elements import CORNERS

__all__ = ["Cost", "cost_of"]

# Time of a load step on one core of a 2020s desktop: seconds, for this number of unknowns, its exponent.
# Measured: 0.27 s at 45,000 unknowns axisymmetric; 2.2 s at 52,000 and 9.6 s at 157,000 in 3-D.
_AXISYMMETRIC = (0.27, 45_000, 1.1)
_THREE_D = (2.2, 52_000, 1.35)
# MB with all libraries, and for each unknown. Measured: 199 MB at 45,000 unknowns axisymmetric; 606 MB at
# 51,000 and 4.4 GB at 512,000 in 3-D.
_LIBRARIES = 150.0
_MEMORY = {2: 1.1e-3, 3: 9e-3}


class Cost(NamedTuple):
    """Size and expected cost of a case.

    Attributes:
        cells: Number of cells of the mesh.
        nodes: Number of nodes of the mesh.
        unknowns: Number of unknowns by field, with their sum under ``"all"``.
        steps: Number of load steps if none is halved.
        seconds: Expected time on one core once the equations are compiled.
        memory: Expected memory on one rank, MB.
    """

    cells: int
    nodes: int
    unknowns: dict[str, int]
    steps: int
    seconds: float
    memory: float

    def lines(self) -> list[str]:
        """Describe the cost in three lines."""
        fields = ", ".join(f"{count} {name}" for name, count in self.unknowns.items() if name != "all")
        return [
            f"{self.cells} cells, {self.nodes} nodes, {self.unknowns['all']} unknowns ({fields})",
            f"{self.steps} steps, about {_rounded(self.seconds)} on one core once the equations are compiled "
            "(compiling takes 3 to 30 s the first time)",
            f"about {self.megabytes} of memory",
        ]

    @property
    def megabytes(self) -> str:
        """The expected memory as text."""
        return f"{self.memory / 1000:.1f} GB" if self.memory >= 1000 else f"{round(self.memory, -1):.0f} MB"


def cost_of(case: Case, body: Body) -> Cost:
    """Count the unknowns of a resolved case and estimate its cost."""
    dimension = body.points.shape[1]
    unknowns = {"displacement": body.points.size, "pressure": _pressures(body, dimension)}
    if case.electrodes and case.electrics.model == "solved":
        unknowns["potential"] = len(body.points)
    unknowns["all"] = sum(unknowns.values())
    steps = 1 + sum(stage.steps for stage in case.stages)
    factor, size, power = _AXISYMMETRIC if dimension == 2 else _THREE_D
    seconds = 0.02 * steps + factor * steps * (unknowns["all"] / size) ** power
    memory = _LIBRARIES + _MEMORY[dimension] * unknowns["all"]
    return Cost(len(body.cells), len(body.points), unknowns, steps, seconds, memory)


def _pressures(body: Body, dimension: int) -> int:
    """Return the number of pressure unknowns.

    The pressure is discontinuous and linear in quadrilaterals and hexahedra. In tetrahedra it is continuous,
    with values at the corners.
    """
    if body.cell_type == "tetra10":
        return len(np.unique(body.cells[:, : CORNERS[body.cell_type]]))
    return len(body.cells) * (dimension + 1)


def _rounded(seconds: float) -> str:
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
