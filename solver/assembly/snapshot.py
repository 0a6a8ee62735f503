# SPDX-License-Identifier: MIT
"""A stored state of the equations."""

from dataclasses import dataclass

from petsc4py import PETSc

from annelid.solver.model.loads import Loads


@dataclass(frozen=True)
class Snapshot:
    """A state of a system that can be restored.

    Attributes:
        x: Unknowns; a copy.
        loads: Loads in force.
        multiplier: Load parameter λ of the control in force.
    """

    x: PETSc.Vec
    loads: Loads
    multiplier: float
