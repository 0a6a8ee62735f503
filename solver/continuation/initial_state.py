# SPDX-License-Identifier: MIT
"""The state in which a path begins: without loads, or under the pressure under which the part is drawn."""

from collections.abc import Sequence

import numpy as np

from annelid.solver.continuation.deposition import balance_of_skin, lay, printed_in_words
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.energy.problem import Problem
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import Loads
from annelid.solver.model.stages import Stage
from annelid.solver.readout.evaluation import Evaluation

_UNBALANCED = 0.02  # share of the size of a part by which one drawn under pressure may move to its balance


def first_state(
    newton: Newton, evaluation: Evaluation, stages: Sequence[Stage], remarks: list[str]
) -> Convergence:
    """Find the state in which a path begins and read its fields; collective.

    Args:
        newton: Solver of the equations.
        evaluation: Reads the state.
        stages: The stages of the path.
        remarks: Takes a sentence on the balance of a part that is drawn under pressure.

    Raises:
        NoEquilibrium: There is no such state, or it lies far from the part as drawn.
    """
    problem = newton.system.problem
    model, first = problem.model, _unloaded(problem, stages)
    if model.drawn_pressure is None:
        convergence = newton.solve(first)
    elif not model.deposited:
        convergence = newton.settle_drawn(first)
        displacement = evaluation.displacement()
        moved = 0.0 if displacement is None else float(np.abs(displacement).max())
        moved = problem.comm.bcast(moved)
        _check_balance(newton, moved)
        remarks.append(f"as drawn, the part is in balance with its pressure to {moved:.2g} mm")
    else:
        skin = balance_of_skin(model, problem.comm, newton.tolerance)
        _check_balance(newton, skin.moved)
        lay(newton.system, skin)
        convergence = newton.solve(first)
        remarks.append(printed_in_words(newton.system, skin, convergence))
    evaluation.read_fields()
    return convergence


def _check_balance(newton: Newton, moved: float) -> None:
    """A body drawn under pressure must be in balance nearly as drawn."""
    pressure = newton.system.problem.model.drawn_pressure
    assert pressure is not None
    if moved > _UNBALANCED * newton.scales.length:
        raise NoEquilibrium(
            f"the part as drawn is not in balance with the pressure of {pressure * 1e3:.4g} kPa: it "
            f"moves by {moved:.3g} mm; its natural stretch and that pressure do not belong together",
            residual=moved,
        )


def _unloaded(problem: Problem, stages: Sequence[Stage]) -> Loads:
    """The loads of the first state, with an entry for every load that any stage moves."""
    drawn = problem.model.drawn_pressure
    return Loads(
        voltages=dict.fromkeys((e.name for e in problem.model.electrodes), 0.0),
        forces={name: 0.0 for stage in stages for name in stage.forces},
        displacements={name: 0.0 for stage in stages for name in stage.displacements},
        obstacles={c.name: c.position for c in problem.model.contacts},
        pressure=drawn or 0.0,
        natural=0.0 if problem.fields.natural and drawn is None else 1.0,
    )
