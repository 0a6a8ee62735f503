# SPDX-License-Identifier: MIT
"""Leaving an unstable state: by a jump to another stable one, or along the branch of a bifurcation."""

from petsc4py import PETSc

from annelid.solver.continuation.critical_points import CriticalState
from annelid.solver.continuation.eigenmodes import Eigenmode
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.relaxation import Relaxation, RelaxedState
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium

BRANCH_STEP = 0.01  # arc step on a branch over the size of the part: the way there hardly moved it
_ACROSS = 1e-6  # cosine below which a mode is square to the path and keeps its own sense
_ENTRIES = 8  # ever smaller first steps onto a branch


def jump(
    continuation: StageContinuation, parameter: float, mode: Eigenmode, onward: PETSc.Vec
) -> RelaxedState:
    """Relax from the present state to the next stable one under constant loads.

    Args:
        continuation: The stage.
        parameter: Stage parameter at which its loads are held.
        mode: Unstable or critical mode of the present state.
        onward: Direction in which the path was going; it gives the sense of the push along the mode.

    Raises:
        NoEquilibrium: No stable state was found.
    """
    system, push = continuation.system, mode.vector
    image = system.vector()
    system.mass.product(onward, image)
    if image.dot(push) < -_ACROSS * image.norm() * system.blocks.norms(push)[0]:
        push = push.copy()
        push.scale(-1.0)
    scales = continuation.newton.scales
    # The drag is set by the mode's stiffness over the length of the part, at least μ / 100.
    stiffness = max(abs(mode.stiffness) * scales.length**2, 1e-2 * scales.force / scales.length**2)
    relaxation = Relaxation(continuation.newton, continuation.read_fields)
    return relaxation.settle(continuation.ramp.at(parameter), push, stiffness)


def switch_branch(arc: StageContinuation, critical: CriticalState, step: float) -> tuple[float, Convergence]:
    """Leave a bifurcation along its mode.

    Args:
        arc: A continuation by arc length; its present state is the bifurcation.
        critical: The point.
        step: First arc step, mm.

    Returns:
        Position on the arc, and convergence of the first state on the branch.

    Raises:
        NoEquilibrium: No state was found on the branch.
    """
    arc.accept(arc.last.s)
    arc.set_tangent(critical.mode.vector)
    for attempt in range(_ENTRIES):
        arc.system.forget_factor()  # the factor of the bifurcation is singular along the mode
        try:
            return arc.last.s + step, arc.advance(arc.last.s + step)
        except NoEquilibrium:
            if attempt == _ENTRIES - 1:
                raise
        step /= 2
    raise AssertionError
