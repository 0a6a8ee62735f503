# SPDX-License-Identifier: MIT
"""The discrete equations: residual, tangent, load derivatives and their solution."""

from functools import cached_property

from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from mpi4py import MPI
from petsc4py import PETSc

from annelid.geometry.body import IntArray
from annelid.solver.assembly.blocks import Blocks
from annelid.solver.assembly.constraint_map import tie_matrix
from annelid.solver.assembly.constraints import Constraints
from annelid.solver.assembly.dirichlet import Held
from annelid.solver.assembly.equations import Equations, assemble, zero_vector
from annelid.solver.assembly.load_rates import LoadRates
from annelid.solver.assembly.mass import Mass
from annelid.solver.assembly.sheet_field import SheetField
from annelid.solver.assembly.supports import constraints_of
from annelid.solver.assembly.tangent import Tangent
from annelid.solver.energy.problem import Problem
from annelid.solver.linalg.factor import Count
from annelid.solver.model.loads import Loads


class System:
    """Compiled equations R(x; loads) = 0 of a problem, with x = (u, p[, φ]) as one vector.

    Attributes:
        problem: The potential.
        equations: Its compiled derivatives.
        constraints: What is held and what follows what, by nodes of the body.
        held: Unknowns that are held, and their values.
        sheet_field: Nominal field of the layered model.
        tangent: The tangent and its factor.
        x: Present unknowns.
        size: Number of unknowns on all ranks.
        residual: Out-of-balance vector of the last ``assemble_residual``; zero at fixed unknowns.
        raw: The same with the reactions at fixed unknowns left in.
        f: ∂(external)/∂P = δV, the pressure's load vector at the present x.
        loads: Loads in force, ``None`` before the first are applied.
        count: Tally of the work done.
    """

    def __init__(self, problem: Problem, constraints: Constraints | None = None) -> None:
        self.problem = problem
        self.count = Count()
        closed_ends = any(s.hold.startswith("plate") for s in problem.model.supports)
        self.equations = Equations(problem, closed_ends=closed_ends)
        self.constraints = constraints or constraints_of(problem.model.body, problem.model.supports)
        self.held = Held(problem, self.constraints)
        self.sheet_field = SheetField(problem)
        self._rates = LoadRates(problem, self.equations, self.held, self.sheet_field)
        self.x, self.residual, self.raw, self.f = (self.vector() for _ in range(4))
        self.size = self.x.getSize()
        self._blocks = Blocks(self.x, problem.comm)
        self._ties = tie_matrix(problem, self.x, self.constraints)
        self.tangent = Tangent(problem, self.equations, self.held, self._ties, self.count)
        self.loads: Loads | None = None
        self._field_scale: tuple[tuple[int, int], float] = ((-1, 0), 0.0)

    def vector(self) -> PETSc.Vec:
        """A zero vector laid out like ``x``."""
        return zero_vector(self.problem)

    # loads

    def apply(self, loads: Loads) -> None:
        """Set loads; fixed and tied unknowns of ``x`` take the values that belong to them."""
        problem = self.problem
        self.loads = loads
        problem.lumen_pressure.value = loads.pressure
        problem.fields.set_natural(loads.natural)
        self.sheet_field.write(problem.fields.sheet_field, loads.voltages)
        for contact, position in zip(problem.model.contacts, problem.fields.obstacles, strict=True):
            position.x.array[:] = loads.obstacles.get(contact.name, contact.position)
        self.held.prescribe(loads)
        self.held.set(self.x)
        if self._ties is not None:
            self._ties.hold(self.x)

    def load_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """Write -∂R/∂s to ``out`` for loads that change at the given rate, prescribed unknowns lifted."""
        self._rates.write(rate, self.f, out)

    def lifted(self, rate: Loads) -> PETSc.Vec:
        """-K times the prescribed unknowns of a rate, on all rows, at the present ``x``."""
        return self._rates.lifted(rate)

    # assembly

    def read_x(self) -> None:
        """Copy ``x`` into the unknown functions."""
        self._read(self.x)

    def _read(self, x: PETSc.Vec) -> None:
        x.ghostUpdate(PETSc.InsertMode.INSERT, PETSc.ScatterMode.FORWARD)
        fem_petsc.assign(x, self.problem.unknowns)

    def assemble_residual(self) -> None:
        """Fill ``residual``, ``raw`` and ``f`` at the present ``x`` and loads."""
        assert self.loads is not None
        self.count.residuals += 1
        self.read_x()
        assemble(self.raw, self.equations.residual, self.problem)
        if self.equations.volume_gradient is not None:
            assemble(self.f, [self.equations.volume_gradient], self.problem)
            self.raw.axpy(-self.loads.pressure, self.f)
        for surface, force in self.loads.forces.items():
            self.raw.axpy(-force / self.problem.model.body.multiplicity, self._rates.axial(surface))
        self.raw.copy(self.residual)
        self.zero_fixed(self.residual)

    def pressure_force(self, x: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write f at other unknowns; ``read_x`` brings the present ones back."""
        self._read(x)
        assemble(out, [self.equations.volume_gradient], self.problem)

    @property
    def has_volume(self) -> bool:
        """Whether there is a lumen whose volume counts."""
        return self.equations.volume is not None

    def volume(self) -> float:
        """Volume enclosed by the whole part, mm³."""
        assert self.equations.volume is not None
        return self.sum(fem.assemble_scalar(self.equations.volume)) * self.problem.model.body.multiplicity

    @cached_property
    def mass(self) -> Mass:
        """Mass of unit density on the displacement."""
        return Mass(self.problem, self.held.bcs)

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

    def solve(self, rhs: PETSc.Vec, out: PETSc.Vec) -> None:
        """Out = K⁻¹ rhs on the free unknowns, with the tangent factorised last."""
        self.tangent.solve(rhs, out)

    def symmetric_tangent(self) -> bool:
        """Whether the tangent factorised last is symmetric, as its factorisation assumes. Collective."""
        return self.loads is None or not self.loads.pressure or self.tangent.is_symmetric()

    def unstable_modes(self) -> int:
        """Unstable modes under given loads, from the inertia of the tangent factorised last."""
        return self.tangent.unstable_modes()

    def zero_fixed(self, vector: PETSc.Vec) -> None:
        """Zero the fixed unknowns of a vector."""
        self.held.zero(vector)

    # sizes

    def sum(self, value: float) -> float:
        """Sum of a number over the ranks."""
        return float(self.problem.comm.allreduce(value, op=MPI.SUM))

    def nodes_of(self, surface: str) -> IntArray:
        """Nodes of a named surface, kept for reuse."""
        if surface not in self._surface_nodes:
            self._surface_nodes[surface] = self.problem.model.body.surface_nodes(surface)
        return self._surface_nodes[surface]

    @cached_property
    def _surface_nodes(self) -> dict[str, IntArray]:
        return {}

    def load_norm(self) -> float:
        """Norm of the present external forces on the modelled piece, N."""
        assert self.loads is not None
        total = abs(self.loads.pressure) * self.f.norm() if self.has_volume else 0.0
        for surface, force in self.loads.forces.items():
            total += abs(force) * self._rates.axial(surface).norm() / self.problem.model.body.multiplicity
        return total + self._field_norm()

    def _field_norm(self) -> float:
        """Norm of the forces of the sheets' fields: half of their rate, for they go with the voltage squared.

        Taken once for each tangent and set of loads, which is near enough for a scale.
        """
        assert self.loads is not None
        if self.equations.field_rate is None or not any(self.loads.voltages.values()):
            return 0.0
        at = (self.count.tangents, id(self.loads))
        if self._field_scale[0] != at:
            self._field_scale = at, self._rate_norm(Loads(voltages=self.loads.voltages)) / 2
        return self._field_scale[1]

    def _rate_norm(self, rate: Loads) -> float:
        vector = self.vector()
        self.load_rate(rate, vector)
        norm = self.block_norms(vector)[0]
        vector.destroy()
        return norm

    def block_norms(self, vector: PETSc.Vec) -> tuple[float, ...]:
        """Norms of the blocks (u, p[, φ]) of a vector."""
        return self._blocks.norms(vector)

    def largest_motion(self, vector: PETSc.Vec) -> float:
        """Largest displacement component of a vector, mm."""
        return self._blocks.largest_motion(vector)

    def reduced_norm(self, vector: PETSc.Vec) -> tuple[float, ...]:
        """Norms of the blocks of a residual-like vector, ties folded in."""
        if self._ties is not None:
            self._ties.T.multTranspose(vector, self._ties.rhs)
            self._ties.spread(self._ties.rhs, self._ties.folded)
            vector = self._ties.folded
        return self.block_norms(vector)
