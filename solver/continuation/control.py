# SPDX-License-Identifier: MIT
"""Controls: one scalar condition c(x, λ) = c* that makes a load parameter λ an unknown.

Every control is the same bordered system

    [ K   -f ] [Δx]   [ -R    ]        f = -∂R/∂λ
    [ gᵀ   h ] [Δλ] = [ c* - c ]        g = ∂c/∂x, h = ∂c/∂λ

solved with one factorisation and two solves. The present λ is the multiplier of the system.
"""

from collections.abc import Callable
from dataclasses import dataclass

from petsc4py import PETSc

from annelid.solver.continuation.conditions import Condition
from annelid.solver.model.loads import Loads


@dataclass(frozen=True)
class LoadParameter:
    """How the load parameter λ of a control enters the loads.

    Attributes:
        loads_at: Loads for a value of λ.
        rate: ∂loads/∂λ.
    """

    loads_at: Callable[[float], Loads]
    rate: Loads


@dataclass
class Control:
    """A condition with its load parameter and its target.

    Attributes:
        condition: c(x, λ).
        parameter: How λ enters the loads.
        target: c*.
    """

    condition: Condition
    parameter: LoadParameter
    target: float

    @property
    def loads(self) -> Loads:
        """Loads at the present λ."""
        return self.parameter.loads_at(self.condition.system.multiplier)

    def direction(self, out: PETSc.Vec) -> None:
        """Write f = -∂R/∂λ on the free unknowns to ``out``."""
        self.condition.system.load_rate(self.parameter.rate, out)

    def defect(self) -> float:
        """The defect c* - c."""
        return self.target - self.condition.value()
