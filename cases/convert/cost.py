# SPDX-License-Identifier: MIT
"""Estimated size and run time of a case from its mesh."""

from typing import NamedTuple

import numpy as np

from annelid.cases.convert.flow import flow_of
from annelid.cases.convert.making import BARE_STEPS
from annelid.cases.convert.path import NO_SEARCH, loads_with_margin, seek_limit_of
from annelid.cases.convert.twist import has_twist
from annelid.cases.convert.waves import beats_of, steps_of
from annelid.cases.schema.case import Case
from annelid.geometry.body import Body
from annelid.geometry.elements import CORNERS
from annelid.solver.model.stepping import ALL_STATES, MOST_HELD, NO_STATE

__all__ = ["Cost", "cost_of", "rounded_time"]

# Processor time, measured with the library cases and the clamped tube of benchmarks/ (`python -m
# benchmarks.estimates` compares both). Each step needs one state and some factorisations of a new tangent.
_BASE = 4.8  # s: start, libraries, report
_ONCE = {2: 0.0, 3: 6e-5}  # s for each unknown: mesh, pictures
_SKIN_STEP = 0.03  # s for a step of the axisymmetric skin before a lattice is printed on it
_STEP = 0.02  # s
_STATE = {2: 2e-6, 3: 20e-6}  # s for each unknown: residuals, solves, quantities and fields of a state
_TANGENT = {2: 0.8e-6, 3: 10e-6}  # s for each unknown: assembly
_FACTOR = {2: (1.1e-6, 1.0), 3: (3e-7, 4 / 3)}  # s for this power of the number of unknowns
_COLUMN = 4e-7  # s for each unknown and each pressure or voltage that a step of a flow finds
_PLAIN, _LOCATING = 1.5, 4.0  # factorisations in each step, also where critical points are passed
_SEARCH = 30  # factorisations in a search for the limits of a load; every other one is of a new state
# Waves around the axis: s for each unknown and number of waves that is counted at a state, and how many are
# counted at a state that is judged, in a search for a limit, and where the first of them is located.
_COUNT = 5e-6
_JUDGED, _SEARCHED, _TURN = 20, 70, 100
# MB with all libraries, and for each unknown; the libraries that draw need more.
_LIBRARIES, _DRAWING = 240.0, 550.0
_MEMORY = {2: 1.1e-3, 3: 8e-3}


class Cost(NamedTuple):
    """Size and expected cost of a case.

    Attributes:
        cells: Number of cells of the mesh.
        nodes: Number of nodes of the mesh.
        unknowns: Number of unknowns by field, with their sum under ``"all"``.
        steps: Number of load steps if none is halved.
        factorisations: Expected number of factorisations on the path.
        is_least: Whether they may be many more, since they depend on critical points, searches and contacts.
        seconds: Expected time of the path on one free core once the equations are compiled.
        overhead: Expected time of everything else: start, mesh, making, report.
        memory: Expected memory on one rank without the report, MB.
    """

    cells: int
    nodes: int
    unknowns: dict[str, int]
    steps: int
    factorisations: float
    is_least: bool
    seconds: float
    overhead: float
    memory: float

    def lines(self) -> list[str]:
        """Describe the cost in three lines."""
        fields = ", ".join(f"{count} {name}" for name, count in self.unknowns.items() if name != "all")
        whole, least = rounded_time(self.seconds + self.overhead), "at least " if self.is_least else ""
        return [
            f"{self.cells} cells, {self.nodes} nodes, {self.unknowns['all']} unknowns ({fields})",
            f"{self.steps} steps, {least}about {whole} on one free core once the equations are compiled "
            "(compiling takes 3 to 30 s the first time)",
            f"about {self.megabytes} of memory (at least {_DRAWING:.0f} MB with its report)",
        ]

    def scaled(self, factor: float) -> str:
        """Describe the time and the memory with so many times as many unknowns."""
        megabytes = _LIBRARIES + factor * (self.memory - _LIBRARIES)
        return f"{rounded_time(self.seconds * factor)} and {megabytes / 1000:.2g} GB"

    @property
    def megabytes(self) -> str:
        """The expected memory as text."""
        return f"{self.memory / 1000:.1f} GB" if self.memory >= 1000 else f"{round(self.memory, -1):.0f} MB"


def cost_of(case: Case, body: Body) -> Cost:
    """Count the unknowns of a resolved case and estimate its cost."""
    dimension = body.points.shape[1]
    components = dimension + (dimension == 2 and has_twist(case))
    unknowns = {"displacement": len(body.points) * components, "pressure": _pressures(body, dimension)}
    if case.electrodes and case.electrics.model == "solved":
        unknowns["potential"] = len(body.points)
    unknowns["all"] = sum(unknowns.values())
    beats = beats_of(case)
    size, steps = unknowns["all"], 1 + sum(steps_of(stage, beats) for stage in case.stages)
    locates = case.path.beyond_instability != "stop"
    searches = _searches(case)
    factorisations = steps * (_LOCATING if _turns(case) else _PLAIN) + searches * _SEARCH
    factor, power = _FACTOR[dimension]
    flowing = sum(steps_of(stage, beats) for stage in case.stages if stage.control == "flow")
    factorisations += flowing * _PLAIN  # a step in time has two states
    return Cost(
        len(body.cells),
        len(body.points),
        unknowns,
        steps,
        factorisations,
        locates or bool(searches) or bool(case.contacts),
        seconds=(steps + flowing + searches * _SEARCH / 2) * (_STEP + _STATE[dimension] * size)
        + flowing * _found(case) * _COLUMN * size
        + factorisations * (_TANGENT[dimension] * size + factor * size**power)
        + _waves_counted(case, steps, searches) * _COUNT * size,
        overhead=_BASE + _ONCE[dimension] * size + _SKIN_STEP * _skin_steps(case),
        memory=_LIBRARIES + _MEMORY[dimension] * size,
    )


def _waves_counted(case: Case, steps: int, searches: int) -> int:
    """Return how often the modes with some number of waves around the axis are counted."""
    path = case.path
    if case.mesh.model != "axisymmetric" or path.harmonics == NO_STATE or has_twist(case) or case.fluid:
        return 0
    judged = steps if path.harmonics == ALL_STATES else len(case.stages) + 1 + steps // MOST_HELD
    return judged * _JUDGED + searches * _SEARCHED + (path.beyond_instability == "follow") * _TURN


def _turns(case: Case) -> bool:
    """Whether a path may go on past critical points that are located with the tangent of the part itself."""
    beyond = case.path.beyond_instability
    return beyond in ("jump", "branch") or (
        beyond == "follow" and any(stage.control != "load" for stage in case.stages)
    )


def _found(case: Case) -> int:
    """Return the number of pressures and voltages that the steps of a flow find together with the part."""
    flow = flow_of(case)
    return 0 if flow is None else len(flow.system.pressures)


def _searches(case: Case) -> int:
    """Return the number of loads whose limits are searched, one more for several loads together."""
    if seek_limit_of(case) == NO_SEARCH:
        return 0
    loads = len(loads_with_margin(case))
    return loads + (loads > 1)


def _skin_steps(case: Case) -> int:
    """Return the number of steps in which the bare skin is inflated, and energised for the comparison."""
    return 0 if case.making is None else case.making.steps + BARE_STEPS * case.making.compare


def _pressures(body: Body, dimension: int) -> int:
    """Return the number of pressure unknowns.

    The pressure is discontinuous and linear in quadrilaterals and hexahedra. In tetrahedra it is continuous
    within each region, with values at the corners.
    """
    if body.cell_type == "tetra10":
        corners = body.cells[:, : CORNERS[body.cell_type]]
        return sum(len(np.unique(corners[members])) for members in body.regions.values())
    return len(body.cells) * (dimension + 1)


def rounded_time(seconds: float) -> str:
    """Return a time in s, min or h."""
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
