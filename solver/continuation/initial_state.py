# SPDX-License-Identifier: MIT
"""The first state of a path: without loads, or under the pressure under which the part is drawn."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from annelid.solver.continuation.deposition import deposit, describe_deposition, equilibrium_of_skin
from annelid.solver.continuation.drawn_state import settle_drawn
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.display import DisplayUnits
from annelid.solver.energy.problem import Problem
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import LOAD_KINDS, Loads
from annelid.solver.model.stages import Stage
from annelid.solver.readout.evaluation import Evaluation

_UNBALANCED = 0.02  # fraction of its size by which a part drawn under pressure may move to equilibrium


def initial_state(
    newton: Newton,
    evaluation: Evaluation,
    stages: Sequence[Stage],
    remarks: list[str],
    units: DisplayUnits,
) -> Convergence:
    """Find the first state of a path and read its fields; collective.

    Args:
        newton: Solver of the equations.
        evaluation: Reads the state.
        stages: The stages of the path.
        remarks: Receives a sentence on the equilibrium of a part that is drawn under pressure.
        units: For numbers in sentences.

    Raises:
        NoEquilibrium: There is no such state, or it is far from the reference shape.
    """
    problem = newton.system.problem
    model, first = problem.model, _unloaded(problem, stages)
    if model.drawn_pressure is None:
        convergence = newton.solve(first)
    elif not model.deposited:
        convergence = settle_drawn(newton, first)
        displacement = evaluation.displacement()
        moved = 0.0 if displacement is None else float(np.abs(displacement).max())
        moved = problem.comm.bcast(moved)
        _check_balance(newton, moved, units)
        distance = units.show("length", moved, 2)
        remarks.append(f"as drawn, the part is in equilibrium with its pressure to {distance}")
    else:
        skin = equilibrium_of_skin(model, problem.comm, newton.tolerance)
        _check_balance(newton, skin.moved, units)
        deposit(newton.system, skin)
        convergence = newton.solve(first)
        remarks.append(describe_deposition(newton.system, skin, convergence, units))
    evaluation.read_fields()
    return convergence


def _check_balance(newton: Newton, moved: float, units: DisplayUnits) -> None:
    """A body drawn under pressure must nearly be in equilibrium in its reference shape."""
    pressure = newton.system.problem.model.drawn_pressure
    assert pressure is not None
    if moved > _UNBALANCED * newton.scales.length:
        raise NoEquilibrium(
            "the part as drawn is not in equilibrium with the pressure of "
            f"{units.show('pressure', pressure)}: it moves by {units.show('length', moved, 3)}; its natural "
            "stretch does not match that pressure",
            residual=moved,
        )


def _unloaded(problem: Problem, stages: Sequence[Stage]) -> Loads:
    """The loads of the first state, with an entry for every load that any stage changes."""
    model, values = problem.model, dict[str, Any]()
    for kind in LOAD_KINDS:
        if kind.acts_on:
            values[kind.attribute] = {name: 0.0 for stage in stages for name in stage.target(kind)}
    values["voltages"] = dict.fromkeys((e.name for e in model.electrodes), 0.0)
    values["obstacles"] = {c.name: c.position for c in model.contacts}
    drawn = model.drawn_pressure
    return Loads(
        pressure=drawn or 0.0,
        natural=0.0 if problem.fields.natural and drawn is None else 1.0,
        **values,
    )
