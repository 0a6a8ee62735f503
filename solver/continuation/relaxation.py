# SPDX-License-Identifier: MIT
"""Relaxation of a part that has lost its stable state: it moves until it finds the next one.

The motion is slow creep against the drag D of a viscous solid, α D ẋ = -R: implicit steps with the tangent
K + αD, the drag α falling from step to step. It goes downhill in the potential, so where it ends is stable;
inertia is left out.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from petsc4py import PETSc

from annelid.solver.assembly.blocks import DISPLACEMENT
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import Loads

_START = 4.0  # first drag over the size of the softest mode's stiffness
_EASE = 0.5  # factor of the drag after a step that went well
_HOLD = 4  # steps for which the drag is not eased again after it was too small
_PUSH = 0.02  # first push along the mode, fraction of the part's size
MOST_STEPS = 200
_INNER = 12


@dataclass(frozen=True)
class RelaxedState:
    """Where a relaxation ended: its steps, and the convergence of the final state."""

    steps: int
    convergence: Convergence


class Relaxation:
    """Downhill motion of a system at fixed loads.

    Args:
        newton: Solver of the states.
        read_fields: Reads the fields of the present state; why no part can be in it, or ``None``.
    """

    def __init__(self, newton: Newton, read_fields: Callable[[], NoEquilibrium | None]) -> None:
        self.newton = newton
        self.read_fields = read_fields
        self.system = newton.system
        self._from, self._dx, self._drag = (self.system.vector() for _ in range(3))

    def settle(self, loads: Loads, push: PETSc.Vec, stiffness: float) -> RelaxedState:
        """Move from the present state to the next stable one.

        Args:
            loads: Loads, held.
            push: Direction of the first push, laid out like the unknowns; only its displacement counts.
            stiffness: Size of the stiffness that sets the first drag, MPa.

        Returns:
            The final state; it is the present one, converged, factorised, without unstable modes.

        Raises:
            NoEquilibrium: No stable state was found.
        """
        system = self.system
        system.apply(loads)
        self._push(push)
        α, hold = _START * abs(stiffness), 0
        for step in range(1, MOST_STEPS + 1):
            system.x.copy(self._from)
            try:
                self._implicit_step(α)
            except NoEquilibrium:
                self._from.copy(system.x)
                α, hold = 3 * α, _HOLD
                if not math.isfinite(α) or α > 1e9 * abs(stiffness):
                    raise
                continue
            convergence = self._converge(loads)
            if convergence is not None:
                return RelaxedState(step, convergence)
            if hold == 0:
                α *= _EASE
            hold = max(0, hold - 1)
        raise NoEquilibrium(f"no stable state found in {MOST_STEPS} steps of a jump", loads=loads)

    def _push(self, push: PETSc.Vec) -> None:
        blocks, direction = self.system.blocks, self.system.vector()
        blocks.set_part(direction, DISPLACEMENT, blocks.part(push, DISPLACEMENT))
        size = blocks.norms(direction)[0] / math.sqrt(len(self.system.problem.model.body.points))
        self.system.zero_fixed(direction)
        self.system.x.axpy(_PUSH * self.newton.scales.length / max(size, 1e-300), direction)

    def _implicit_step(self, α: float) -> None:
        """Solve R(x) + αD (x - x_from) = 0 by Newton's method with full tangents."""
        system = self.system
        first = math.inf
        for iteration in range(_INNER):
            system.assemble_residual()
            self._add_drag(α)
            norm = sum(system.reduced_norm(system.residual))
            if not math.isfinite(norm) or norm > 1e3 * first:
                raise NoEquilibrium("a step of the jump diverged", residual=norm)
            first = min(first, norm)
            if iteration > 0 and norm < 1e-6 * self.newton.scales.force:
                if system.unstable_modes() > 0:
                    raise NoEquilibrium("the drag is too small to stabilise the part", drag=α)
                impossible = self.read_fields()
                if impossible is not None:
                    raise impossible
                return
            system.factorise(drag=α)
            system.solve(system.residual, self._dx)
            system.x.axpy(-1.0, self._dx)
        raise NoEquilibrium("a step of the jump did not converge", residual=norm)

    def _add_drag(self, α: float) -> None:
        self.system.x.copy(self._drag)
        self._drag.axpy(-1.0, self._from)
        self.system.mass.drag.mult(self._drag, self._dx)
        self.system.residual.axpy(α, self._dx)

    def _converge(self, loads: Loads) -> Convergence | None:
        """Try to end the motion by plain Newton; ``None`` while the part is still moving."""
        system = self.system
        system.factorise()
        if system.unstable_modes() > 0:
            return None
        system.x.copy(self._dx)
        try:
            convergence = self.newton.solve(loads)
        except NoEquilibrium:
            self._dx.copy(system.x)
            return None
        self._dx.axpby(1.0, -1.0, system.x)
        moved = system.blocks.norms(self._dx)[0] / math.sqrt(len(system.problem.model.body.points))
        system.factorise()
        near = moved < 0.05 * self.newton.scales.length
        if near and system.unstable_modes() == 0 and self.read_fields() is None:
            return convergence
        self._dx.axpby(1.0, -1.0, system.x)
        self._dx.copy(system.x)
        return None
