# SPDX-License-Identifier: MIT
"""Controls: one scalar condition c(x, λ) = c* that makes a load parameter λ an unknown.

Every control is the same bordered system

    [ K   -f ] [Δx]   [ -R    ]        f = -∂R/∂λ
    [ gᵀ   h ] [Δλ] = [ c* - c ]        g = ∂c/∂x, h = ∂c/∂λ

solved with one factorisation and two solves.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from petsc4py import PETSc

from annelid.solver.continuation.conditions import Condition
from annelid.solver.model.loads import Loads


@dataclass(frozen=True)
class Multiplier:
    """The load parameter λ that a control finds.

    Attributes:
        loads_at: Loads for a value of λ.
        rate: ∂loads/∂λ.
    """

    loads_at: Callable[[float], Loads]
    rate: Loads


@dataclass
class Control:
    """A condition with its multiplier and the value asked for.

    Attributes:
        condition: c(x, λ).
        multiplier: How λ enters the loads.
        λ: Its present value.
        target: c*.
    """

    condition: Condition
    multiplier: Multiplier
    λ: float
    target: float

    @property
    def loads(self) -> Loads:
        """Loads at the present λ."""
        return self.multiplier.loads_at(self.λ)

    def direction(self, out: PETSc.Vec) -> None:
        """F = -∂R/∂λ on the free unknowns."""
        self.condition.system.load_rate(self.multiplier.rate, out)

    def defect(self) -> float:
        """C* - c."""
        return self.target - self.condition.value()


def pressure_multiplier(base: Loads) -> Multiplier:
    """λ is the lumen pressure, the other loads stay."""
    return Multiplier(lambda λ: replace(base, pressure=λ), Loads(pressure=1.0))


def voltage_multiplier(base: Loads, electrodes: tuple[str, ...]) -> Multiplier:
    """λ is the voltage of some electrodes, the other loads stay."""

    def loads_at(λ: float) -> Loads:
        return replace(base, voltages={**base.voltages, **dict.fromkeys(electrodes, λ)})

    return Multiplier(loads_at, Loads(voltages=dict.fromkeys(electrodes, 1.0)))
