# SPDX-License-Identifier: MIT
"""How each kind of load enters the equations: values in force, external forces, rates of the residual."""

from functools import cached_property

from dolfinx import fem
from petsc4py import PETSc

from annelid.solver.assembly.equations import Equations
from annelid.solver.assembly.fluid_pressures import FluidPressures
from annelid.solver.assembly.force_operators import DeadForces, Gravity, Torques
from annelid.solver.assembly.load_operator import LoadOperator
from annelid.solver.assembly.sheet_field import SheetField
from annelid.solver.energy.problem import Problem
from annelid.solver.model.loads import Loads


class SheetVoltage(LoadOperator):
    """Nominal field V/t of the layered model."""

    def __init__(self, problem: Problem, equations: Equations) -> None:
        super().__init__(problem, equations)
        self.sheet_field = SheetField(problem)

    def apply(self, loads: Loads) -> None:
        """Set the field of every sheet."""
        self.sheet_field.write(self.problem.fields.sheet_field, loads.voltages)

    @cached_property
    def _rate(self) -> tuple[fem.Function, list]:
        field = self.problem.fields.sheet_field
        rate = fem.Function(field.function_space)
        return rate, self.equations.rate_forms([field], [rate], blocks=1)

    @property
    def acts(self) -> bool:
        """Whether there are sheets whose field is given."""
        return bool(self.problem.model.electrodes) and not self.problem.model.solved_potential

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """By the rate of the field."""
        if self.acts and any(rate.voltages.values()):
            field, compiled = self._rate
            self.sheet_field.write(field, rate.voltages)
            self._add_assembled(compiled, -1.0, out)


class ObstaclePosition(LoadOperator):
    """Position of rigid obstacles."""

    def apply(self, loads: Loads) -> None:
        """Set the position of each obstacle."""
        for contact, position in zip(self.problem.model.contacts, self.problem.fields.obstacles, strict=True):
            position.x.array[:] = loads.obstacles.get(contact.name, contact.position)

    @cached_property
    def _rates(self) -> tuple[list[fem.Function], list]:
        positions = self.problem.fields.obstacles
        rates = [fem.Function(position.function_space) for position in positions]
        return rates, self.equations.rate_forms(positions, rates, blocks=1, through_folds=False)

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """By the rate of the positions."""
        if any(rate.obstacles.values()):
            rates, compiled = self._rates
            for contact, d in zip(self.problem.model.contacts, rates, strict=True):
                d.x.array[:] = rate.obstacles.get(contact.name, 0.0)
            self._add_assembled(compiled, -1.0, out)


class NaturalStretchRamp(LoadOperator):
    """Natural stretch, brought into force by a fraction."""

    def apply(self, loads: Loads) -> None:
        """Set the natural stretch of every part."""
        self.problem.fields.set_natural(loads.natural)

    @cached_property
    def _rates(self) -> tuple[list[fem.Function], list]:
        natural = self.problem.fields.natural or ()
        rates = [fem.Function(g.function_space) for g in natural]
        # At fixed folds: it only predicts the next state, and would take long to compile otherwise.
        return rates, self.equations.rate_forms(natural, rates, blocks=2, through_folds=False)

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """By the rate of the components."""
        if rate.natural and self.problem.fields.natural is not None:
            rates, compiled = self._rates
            for dg, (_, _, change) in zip(rates, self.problem.fields.natural_changes(), strict=True):
                dg.x.array[:] = rate.natural * change
            self._add_assembled(compiled, -1.0, out)


OPERATORS: tuple[type[LoadOperator], ...] = (
    FluidPressures,
    SheetVoltage,
    ObstaclePosition,
    DeadForces,
    Torques,
    Gravity,
    NaturalStretchRamp,
)
"""They hold all kinds of load but those that are fixed unknowns."""
