# SPDX-License-Identifier: MIT
"""The discrete equations, the present state, and its solution."""

from functools import cached_property

from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from mpi4py import MPI
from petsc4py import PETSc

from annelid.solver.assembly.blocks import Blocks
from annelid.solver.assembly.constraint_map import constraint_map
from annelid.solver.assembly.dirichlet import DirichletConditions
from annelid.solver.assembly.equations import Equations, assemble, zero_vector
from annelid.solver.assembly.fluid_pressures import FluidPressures
from annelid.solver.assembly.force_scale import ForceScale
from annelid.solver.assembly.load_operators import OPERATORS, SheetVoltage
from annelid.solver.assembly.mass import Mass
from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.assembly.tangent import Tangent
from annelid.solver.constraints.constraints import Constraints
from annelid.solver.constraints.supports import constraints_of
from annelid.solver.energy.problem import Problem
from annelid.solver.linalg.factor import WorkCount
from annelid.solver.model.loads import Loads


class System:
    """Compiled equations R(x; loads) = 0 of a problem, and its present state x = (u, p[, φ]).

    The system is the only owner of the state: unknowns, loads, multiplier, and whether the factor at hand
    belongs to a state nearby.

    Attributes:
        problem: The potential.
        equations: Its compiled derivatives.
        constraints: Fixed unknowns and linear constraints, by nodes of the body.
        dirichlet: Fixed unknowns and their values.
        pressures: The pressures of fluids in the equations.
        blocks: Access to the blocks of vectors.
        sheet_field: Nominal field V/t of the layered model in every body cell, kV/mm, for given voltages.
        x: Present unknowns.
        multiplier: Load parameter λ of the control in force.
        residual: Out-of-balance vector of the last ``assemble_residual``; zero at fixed unknowns.
        raw: The same including the reactions at fixed unknowns.
        count: Tally of the work done.
    """

    def __init__(self, problem: Problem, constraints: Constraints | None = None) -> None:
        self.problem = problem
        self.count = WorkCount()
        model = problem.model
        self.equations = Equations(problem)
        self.constraints = constraints or constraints_of(model.body, model.supports, twist=model.solved_twist)
        self.dirichlet = DirichletConditions(problem, self.constraints)
        self._operators = [kind(problem, self.equations) for kind in OPERATORS]
        self.pressures = next(op for op in self._operators if isinstance(op, FluidPressures))
        sheets = next(op for op in self._operators if isinstance(op, SheetVoltage))
        self.sheet_field = sheets.sheet_field.nominal
        self.x, self.residual, self.raw = (self.vector() for _ in range(3))
        self.multiplier = 0.0
        self.blocks = Blocks(self.x, problem.comm)
        self._map = constraint_map(problem, self.x, self.constraints)
        self.tangent = Tangent(problem, self.equations, self.dirichlet, self._map, self.count)
        self._loads: Loads | None = None
        self._factor_is_near = False
        self._force_scale = ForceScale(self._operators, self.dirichlet, self.blocks, self.count)

    def vector(self) -> PETSc.Vec:
        """A zero vector laid out like ``x``."""
        return zero_vector(self.problem)

    # the present state

    @property
    def loads(self) -> Loads:
        """Loads in force."""
        assert self._loads is not None, "apply loads first"
        return self._loads

    @property
    def factor_is_near(self) -> bool:
        """Whether the factor at hand belongs to a state near the present one."""
        return self._factor_is_near

    def apply(self, loads: Loads) -> None:
        """Set loads; fixed and dependent unknowns of ``x`` take their values."""
        self._loads = loads
        for operator in self._operators:
            operator.apply(loads)
        self.dirichlet.prescribe(loads)
        self.dirichlet.set(self.x)
        if self._map is not None:
            self._map.enforce(self.x)

    def snapshot(self) -> Snapshot:
        """The present state, to be restored later."""
        return Snapshot(self.x.copy(), self.loads, self.multiplier)

    def restore(self, snapshot: Snapshot, *, factorise: bool = False) -> None:
        """Make a state the present one again.

        Args:
            snapshot: The state.
            factorise: Assemble and factorise there too.

        Raises:
            NoEquilibrium: The factorisation failed.
        """
        snapshot.x.copy(self.x)
        self.multiplier = snapshot.multiplier
        self.apply(snapshot.loads)
        self._factor_is_near = False
        if factorise:
            self.assemble_residual()
            self.factorise()

    def interpolate(self, a: Snapshot, b: Snapshot, fraction: float) -> None:
        """Set unknowns and multiplier on the line between two states; the loads stay as they are."""
        a.x.copy(self.x)
        self.x.scale(1 - fraction)
        self.x.axpy(fraction, b.x)
        self.multiplier = (1 - fraction) * a.multiplier + fraction * b.multiplier
        self._factor_is_near = False

    def forget_factor(self) -> None:
        """Have the next solution start with a factor of its own."""
        self._factor_is_near = False

    # assembly

    def read_x(self) -> None:
        """Copy ``x`` into the unknown functions; walls that fold follow.

        Raises:
            NoEquilibrium: No length of the folds was found.
        """
        self._read(self.x)
        self.equations.fold()

    def _read(self, x: PETSc.Vec) -> None:
        x.ghostUpdate(PETSc.InsertMode.INSERT, PETSc.ScatterMode.FORWARD)
        fem_petsc.assign(x, self.problem.unknowns)

    def set_unknowns(self) -> None:
        """Take ``x`` from the unknown functions."""
        fem_petsc.assign(self.problem.unknowns, self.x)
        self._factor_is_near = False

    def assemble_residual(self) -> None:
        """Fill ``residual`` and ``raw``, and the pressures' load vectors, at the present ``x`` and loads."""
        self.count.residuals += 1
        self.read_x()
        assemble(self.raw, self.equations.residual, self.problem)
        for operator in self._operators:
            operator.assemble()
            operator.add_force(self.loads, -1.0, self.raw)
        self.raw.copy(self.residual)
        self.zero_fixed(self.residual)

    def pressure_force(self, surface: str, x: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write the load vector of a pressure at other unknowns; ``read_x`` restores the present ones."""
        self._read(x)
        self.pressures.assemble_one(surface, out)

    def volume(self) -> float:
        """Volume enclosed by the whole part, mm³."""
        assert self.equations.volume is not None
        return self.sum(fem.assemble_scalar(self.equations.volume)) * self.problem.model.body.multiplicity

    @cached_property
    def mass(self) -> Mass:
        """Mass of unit density on the displacement."""
        return Mass(self.problem, self.dirichlet.bcs)

    # rates

    def load_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """Write -∂R/∂s to ``out`` for loads that change at a rate, prescribed unknowns lifted."""
        out.set(0.0)
        for operator in self._operators:
            operator.add_rate(rate, out)
        if not self.dirichlet.changes_with(rate):
            self.dirichlet.zero(out)
            return
        lifted = self.lifted(rate)
        out.axpy(1.0, lifted)
        lifted.destroy()
        with self.dirichlet.at_rate(rate):
            self.dirichlet.set(out)

    def lifted(self, rate: Loads) -> PETSc.Vec:
        """-K times the prescribed unknowns of a rate, on all rows, at the present ``x``."""
        lifted = self.vector()
        with self.dirichlet.at_rate(rate):
            fem_petsc.apply_lifting(lifted, self.equations.tangent, bcs=self.dirichlet.by_block)
        lifted.ghostUpdate(PETSc.InsertMode.ADD, PETSc.ScatterMode.REVERSE)
        return lifted

    # solution

    def factorise(self, drag: float = 0.0) -> None:
        """Assemble the tangent at the present ``x`` and factorise it.

        Args:
            drag: Of a step of a relaxation, MPa; 0 for equilibria.

        Raises:
            NoEquilibrium: The factorisation failed.
        """
        self.count.tangents += 1
        self.read_x()
        self.tangent.factorise(self.mass.drag if drag else None, drag)
        self._factor_is_near = drag == 0.0

    def solve(self, rhs: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write K⁻¹ rhs on the free unknowns to ``out``, with the tangent factorised last."""
        self.tangent.solve(rhs, out)

    def symmetric_tangent(self) -> bool:
        """Whether the tangent factorised last is symmetric, as its factorisation assumes; collective."""
        pressures = {} if self._loads is None else self._loads.pressures
        return not any(pressures.values()) or self.tangent.is_symmetric()

    def unstable_modes(self) -> int:
        """Unstable modes under given loads, from the inertia of the tangent factorised last."""
        return self.tangent.unstable_modes()

    def zero_fixed(self, vector: PETSc.Vec) -> None:
        """Zero the fixed unknowns of a vector."""
        self.dirichlet.zero(vector)

    # sizes

    def sum(self, value: float) -> float:
        """Sum of a number over the ranks."""
        return float(self.problem.comm.allreduce(value, op=MPI.SUM))

    def load_norm(self) -> float:
        """Norm of the present external forces on the modelled piece, N."""
        return self._force_scale.norm(self.loads)

    def reduced_norm(self, vector: PETSc.Vec) -> tuple[float, ...]:
        """Norms of the blocks of a residual-like vector, linear constraints applied."""
        return self.blocks.norms(self.reduced(vector))

    def reduced(self, vector: PETSc.Vec) -> PETSc.Vec:
        """A residual-like vector without the forces of linear constraints; a work vector if there are any."""
        return vector if self._map is None else self._map.fold(vector)
