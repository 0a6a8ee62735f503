# SPDX-License-Identifier: MIT
"""The discrete equations: residual, tangent, load derivatives and their solution."""

import math
from collections.abc import Mapping
from functools import cached_property
from itertools import pairwise

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from dolfinx.la import InsertMode
from mpi4py import MPI
from petsc4py import PETSc

from geometry.body import FloatArray, IntArray
from solver import forms
from solver.linear import Count, Factor
from solver.loads import Loads
from solver.mass import Mass
from solver.mesh import surface_nodes
from solver.natural import sheet_thickness
from solver.potential import potential_conditions
from solver.problem import Problem
from solver.supports import Constraints, constraints_of, dirichlet
from solver.ties import tie_matrix

_ASYMMETRY = 1e-9  # of the largest row sum


class System:
    """Compiled equations R(x; loads) = 0 of a problem, with x = (u, p[, φ]) as one vector.

    Attributes:
        problem: The potential.
        x: Present unknowns.
        residual: Out-of-balance vector of the last ``assemble_residual``; zero at fixed unknowns.
        raw: The same with the reactions at fixed unknowns left in.
        f: ∂(external)/∂P = δV, the pressure's load vector at the present x.
        loads: Loads in force, ``None`` before the first are applied.
        count: Tally of the work done.
    """

    def __init__(self, problem: Problem, constraints: Constraints | None = None) -> None:
        self.problem = problem
        self.count = Count()
        self.closed_ends = any(s.hold.startswith("plate") for s in problem.model.supports)
        self._compile()
        self._hold(constraints or constraints_of(problem.model.body, problem.model.supports))
        self.x, self.residual, self.raw, self.f = (self.vector() for _ in range(4))
        self.matrix = fem_petsc.create_matrix(self.tangent_forms)
        self.matrix.setOption(PETSc.Mat.Option.SYMMETRIC, True)
        self.size = self.x.getSize()
        self._ties = tie_matrix(problem, self.x, self.constraints)
        self._reduced: PETSc.Mat | None = None
        self.factor = Factor(problem.comm, self.size, problem.mesh.domain.geometry.dim, self.count)
        self.loads: Loads | None = None
        self._field_scale: tuple[tuple[int, int], float] = ((-1, 0), 0.0)

    def _compile(self) -> None:
        problem = self.problem
        tests = ufl.TestFunctions(ufl.MixedFunctionSpace(*problem.spaces))
        trials = ufl.TrialFunctions(ufl.MixedFunctionSpace(*problem.spaces))
        Π = problem.internal_energy()
        R = _derivatives(Π, problem.unknowns, tests)
        K = [_derivatives(Ri, problem.unknowns, trials) for Ri in R]
        if problem.model.solved_potential:
            K[1][2] = K[2][1] = None  # pressure and potential do not meet
        self.volume_form = self.volume_gradient = None
        if problem.model.has_lumen:
            δV = problem.volume_gradient(tests[0], closed=self.closed_ends)
            K[0][0] -= problem.lumen_pressure * ufl.derivative(δV, problem.unknowns[0], trials[0])
            self.volume_form = forms.compile_forms(problem.volume())
            self.volume_gradient = forms.compile_forms(δV)
        self.residual_forms = forms.compile_forms(R)
        self.tangent_forms = forms.compile_forms(K)
        self._compile_rates(R)

    def _compile_rates(self, R: list) -> None:
        """Forms of ∂R/∂s for parameter fields that move with a stage: sheet field and natural stretch."""
        fields = self.problem.fields
        space = fields.sheet_field.function_space
        dR: list = [None] * len(R)
        self.field_rate = self.natural_rate = None
        if self.problem.model.electrodes and not self.problem.model.solved_potential:
            self.field_rate = fem.Function(space)
            dR[0] = ufl.derivative(R[0], fields.sheet_field, self.field_rate)
        if fields.natural is not None:
            self.natural_rate = [fem.Function(g.function_space) for g in fields.natural]
            for i in (0, 1):
                for g, dg in zip(fields.natural, self.natural_rate, strict=True):
                    term = ufl.derivative(R[i], g, dg)
                    dR[i] = term if dR[i] is None else dR[i] + term
        self.obstacle_rates = [fem.Function(space) for _ in fields.obstacles]
        for position, rate in zip(fields.obstacles, self.obstacle_rates, strict=True):
            term = ufl.derivative(R[0], position, rate)
            dR[0] = term if dR[0] is None else dR[0] + term
        self.rate_forms = [None if form is None else forms.compile_forms(form) for form in dR]

    def _hold(self, constraints: Constraints) -> None:
        self.constraints = constraints
        domain = self.problem.mesh.domain
        self._values = [fem.Constant(domain, 0.0) for _ in constraints.fixed]
        self.bcs = [
            dirichlet(self.problem, f, v) for f, v in zip(constraints.fixed, self._values, strict=True)
        ]
        self.voltage_conditions = (
            potential_conditions(self.problem) if self.problem.model.solved_potential else []
        )
        self.all_bcs = self.bcs + [bc for _, bc, _ in self.voltage_conditions]
        potentials = [bc for _, bc, _ in self.voltage_conditions]
        self.bcs_by_block = [self.bcs, [], potentials][: len(self.problem.spaces)]

    def vector(self) -> PETSc.Vec:
        """A zero vector laid out like ``x``."""
        vector = fem_petsc.create_vector(self.problem.spaces)
        vector.set(0.0)
        return vector

    # loads

    def apply(self, loads: Loads) -> None:
        """Set loads; fixed and tied unknowns of ``x`` take the values that belong to them."""
        problem = self.problem
        self.loads = loads
        problem.lumen_pressure.value = loads.pressure
        problem.fields.set_natural(loads.natural)
        self._set_field(problem.fields.sheet_field, loads.voltages)
        for contact, position in zip(problem.model.contacts, problem.fields.obstacles, strict=True):
            position.x.array[:] = loads.obstacles.get(contact.name, contact.position)
        self._prescribe(loads.displacements, loads.voltages)
        fem_petsc.set_bc(self.x, self.bcs_by_block)
        if self._ties is not None:
            self._ties.hold(self.x)

    def _set_field(self, target: fem.Function, voltages: Mapping[str, float]) -> None:
        target.x.array[:] = self.nominal_sheet_field(voltages)[self.problem.mesh.original_cells]

    def _prescribe(self, displacements: Mapping[str, float], voltages: Mapping[str, float]) -> None:
        for fixed, value in zip(self.constraints.fixed, self._values, strict=True):
            value.value = displacements.get(fixed.support, 0.0) if fixed.support else 0.0
        for electrode, _, value in self.voltage_conditions:
            value.value = voltages.get(electrode, 0.0) if electrode else 0.0

    def nominal_sheet_field(self, voltages: Mapping[str, float]) -> FloatArray:
        """V/t of the layered model in every body cell, kV/mm."""
        model = self.problem.model
        field_ = np.zeros(len(model.body.cells))
        for name, voltage in voltages.items():
            field_[model.body.bands[name]] = voltage
        return field_ * self._inverse_sheet_thickness

    @cached_property
    def _inverse_sheet_thickness(self) -> FloatArray:
        model = self.problem.model
        inverse = np.zeros(len(model.body.cells))
        for part in model.parts:
            if part.sheets is not None:
                cells = model.body.regions[part.region]
                drawn = sheet_thickness(part, model.body.cells[cells]).mean(axis=1)
                inverse[cells] = 1 / drawn
        return inverse

    # assembly

    def read_x(self) -> None:
        """Copy ``x`` into the unknown functions."""
        self.x.ghostUpdate(PETSc.InsertMode.INSERT, PETSc.ScatterMode.FORWARD)
        fem_petsc.assign(self.x, self.problem.unknowns)

    def assemble_residual(self) -> None:
        """Fill ``residual``, ``raw`` and ``f`` at the present ``x`` and loads."""
        assert self.loads is not None
        self.count.residuals += 1
        self.read_x()
        _assemble(self.raw, self.residual_forms, self.problem)
        if self.volume_gradient is not None:
            _assemble(self.f, self._first_only(self.volume_gradient), self.problem)
            self.raw.axpy(-self.loads.pressure, self.f)
        for surface, force in self.loads.forces.items():
            self.raw.axpy(-force / self.problem.model.body.copies, self._axial_vector(surface))
        self.raw.copy(self.residual)
        self.zero_fixed(self.residual)

    def pressure_force(self, x: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write f at other unknowns; ``read_x`` brings the present ones back."""
        x.ghostUpdate(PETSc.InsertMode.INSERT, PETSc.ScatterMode.FORWARD)
        fem_petsc.assign(x, self.problem.unknowns)
        _assemble(out, self._first_only(self.volume_gradient), self.problem)

    def _first_only(self, form: fem.Form) -> list:
        """A form of the displacement as a list with one entry a block."""
        return [form] + [None] * (len(self.problem.spaces) - 1)

    def volume(self) -> float:
        """Volume enclosed by the whole part, mm³."""
        assert self.volume_form is not None
        return self.sum(fem.assemble_scalar(self.volume_form)) * self.problem.model.body.copies

    @cached_property
    def mass(self) -> Mass:
        """Mass of unit density on the displacement."""
        return Mass(self.problem, self.all_bcs)

    def sum(self, value: float) -> float:
        """Sum of a number over the ranks."""
        return float(self.problem.comm.allreduce(value, op=MPI.SUM))

    def factorise(self, drag: float = 0.0) -> None:
        """Assemble the tangent at the present ``x`` and factorise it.

        Args:
            drag: Of a step of a relaxation, MPa; 0 for equilibria.

        Raises:
            NoEquilibrium: The factorisation failed.
        """
        self.count.tangents += 1
        self.read_x()
        self.matrix.zeroEntries()
        fem_petsc.assemble_matrix(self.matrix, self.tangent_forms, bcs=self.all_bcs)
        self.matrix.assemble()
        if drag:
            self.matrix.axpy(drag, self.mass.drag, PETSc.Mat.Structure.SUBSET_NONZERO_PATTERN)
        if self._ties is None:
            self.factor.factorise(self.matrix)
            return
        T = self._ties.T
        if self._reduced is None:
            self._reduced = self.matrix.ptap(T)
        else:
            self.matrix.ptap(T, result=self._reduced)
        self._reduced.setOption(PETSc.Mat.Option.SYMMETRIC, True)
        self.factor.factorise(self._reduced)

    def symmetric_tangent(self) -> bool:
        """Whether the tangent factorised last is symmetric, as its factorisation assumes. Collective."""
        if self.loads is None or not self.loads.pressure:
            return True
        # By a vector of scattered signs: comparing all entries costs as much as a factorisation on two ranks.
        signs, forward, backward = (self.vector() for _ in range(3))
        first, last = signs.owner_range
        signs.array_w[:] = np.where(np.arange(first, last) * math.sqrt(5) / 2 % 1 < 0.5, -1.0, 1.0)
        self.matrix.mult(signs, forward)
        self.matrix.multTranspose(signs, backward)
        forward.axpy(-1.0, backward)
        infinity = PETSc.NormType.INFINITY
        return bool(forward.norm(infinity) <= _ASYMMETRY * self.matrix.norm(infinity))

    def solve(self, rhs: PETSc.Vec, out: PETSc.Vec) -> None:
        """Out = K⁻¹ rhs on the free unknowns, with the tangent factorised last."""
        if self._ties is None:
            self.factor.solve(rhs, out)
            return
        self._ties.T.multTranspose(rhs, self._ties.rhs)
        self.factor.solve(self._ties.rhs, self._ties.solution)
        self._ties.T.mult(self._ties.solution, out)

    def nodes_of(self, surface: str) -> IntArray:
        """Nodes of a named surface, kept for reuse."""
        if surface not in self._surface_nodes:
            self._surface_nodes[surface] = surface_nodes(self.problem.model.body, surface)
        return self._surface_nodes[surface]

    @cached_property
    def _surface_nodes(self) -> dict[str, IntArray]:
        return {}

    def zero_fixed(self, vector: PETSc.Vec) -> None:
        """Zero the fixed unknowns of a vector."""
        fem_petsc.set_bc(vector, self.bcs_by_block, alpha=0.0)

    def load_norm(self) -> float:
        """Norm of the present external forces on the modelled piece, N."""
        assert self.loads is not None
        total = abs(self.loads.pressure) * self.f.norm() if self.volume_gradient is not None else 0.0
        for surface, force in self.loads.forces.items():
            total += abs(force) * self._axial_vector(surface).norm() / self.problem.model.body.copies
        return total + self._field_norm()

    def _field_norm(self) -> float:
        """Norm of the forces of the sheets' fields: half of their rate, for they go with the voltage squared.

        Taken once for each tangent and set of loads, which is near enough for a scale.
        """
        assert self.loads is not None
        if self.field_rate is None or not any(self.loads.voltages.values()):
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
        offsets, _ = self.x.getAttr("_blocks")
        a = vector.array_r
        squares = [float(a[i:j] @ a[i:j]) for i, j in pairwise(offsets)]
        return tuple(math.sqrt(self.sum(s)) for s in squares)

    def largest_motion(self, vector: PETSc.Vec) -> float:
        """Largest displacement component of a vector, mm."""
        offsets, _ = self.x.getAttr("_blocks")
        mine = float(np.abs(vector.array_r[: offsets[1]]).max(initial=0.0))
        return float(self.problem.comm.allreduce(mine, op=MPI.MAX))

    def reduced_norm(self, vector: PETSc.Vec) -> tuple[float, ...]:
        """Norms of the blocks of a residual-like vector, ties folded in."""
        if self._ties is not None:
            self._ties.T.multTranspose(vector, self._ties.rhs)
            self._ties.spread(self._ties.rhs, self._ties.folded)
            vector = self._ties.folded
        return self.block_norms(vector)

    def load_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """Write -∂R/∂s to ``out`` for loads that change at the given rate, prescribed unknowns lifted."""
        out.set(0.0)
        if rate.natural or any(rate.voltages.values()) or any(rate.obstacles.values()):
            self._parameter_rate(rate, out)
        if self.volume_gradient is not None and rate.pressure:
            out.axpy(rate.pressure, self.f)
        for surface, force in rate.forces.items():
            out.axpy(force / self.problem.model.body.copies, self._axial_vector(surface))
        if any(rate.displacements.values()) or (self.voltage_conditions and any(rate.voltages.values())):
            self._lift(rate, out)
        else:
            self.zero_fixed(out)

    def _parameter_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        fields = self.problem.fields
        if self.field_rate is not None:
            self._set_field(self.field_rate, rate.voltages)
        for dg, full in zip(self.natural_rate or (), fields.full_natural, strict=False):
            dg.x.array[:] = rate.natural * (full - 1)
        for contact, d in zip(self.problem.model.contacts, self.obstacle_rates, strict=True):
            d.x.array[:] = rate.obstacles.get(contact.name, 0.0)
        _assemble(out, self.rate_forms, self.problem)
        out.scale(-1.0)

    def _lift(self, rate: Loads, out: PETSc.Vec) -> None:
        assert self.loads is not None
        lifted = self.lifted(rate)
        out.axpy(1.0, lifted)
        lifted.destroy()
        self._prescribe(rate.displacements, rate.voltages)
        fem_petsc.set_bc(out, self.bcs_by_block)
        self._prescribe(self.loads.displacements, self.loads.voltages)

    def lifted(self, rate: Loads) -> PETSc.Vec:
        """-K times the prescribed unknowns of a rate, on all rows, at the present ``x``."""
        assert self.loads is not None
        self._prescribe(rate.displacements, rate.voltages)
        lifted = self.vector()
        fem_petsc.apply_lifting(lifted, self.tangent_forms, bcs=self.bcs_by_block)
        lifted.ghostUpdate(PETSc.InsertMode.ADD, PETSc.ScatterMode.REVERSE)
        self._prescribe(self.loads.displacements, self.loads.voltages)
        return lifted

    def _axial_vector(self, surface: str) -> PETSc.Vec:
        """∂ū/∂u of the mean axial motion of a surface; constant, assembled once."""
        if surface not in self._axial:
            v = ufl.TestFunction(self.problem.spaces[0])
            area = self.sum(fem.assemble_scalar(forms.compile_forms(self.problem.area(surface))))
            vector = self.vector()
            form = forms.compile_forms(self.problem.mean_axial(surface, v))
            _assemble(vector, self._first_only(form), self.problem)
            vector.scale(1 / area)
            self._axial[surface] = vector
        return self._axial[surface]

    @cached_property
    def _axial(self) -> dict[str, PETSc.Vec]:
        return {}

    @cached_property
    def constraint_unknowns(self) -> int:
        """Unknowns that count as negative pivots in a stable state: pressure and free potential."""
        spaces = self.problem.spaces
        pressures = spaces[1].dofmap.index_map.size_global * spaces[1].dofmap.index_map_bs
        if len(spaces) == 2:
            return int(pressures)
        owned = spaces[2].dofmap.index_map.size_local
        held = np.zeros(owned + spaces[2].dofmap.index_map.num_ghosts, dtype=bool)
        for _, bc, _ in self.voltage_conditions:
            held[bc.dof_indices()[0]] = True
        return int(pressures + self.problem.comm.allreduce(int(np.sum(~held[:owned]))))

    def unstable_modes(self) -> int:
        """Unstable modes under given loads, from the inertia of the tangent factorised last."""
        return self.factor.negative_pivots() - self.constraint_unknowns


def _derivatives(form: ufl.Form, unknowns: list, directions: tuple) -> list:
    return [ufl.derivative(form, q, dq) for q, dq in zip(unknowns, directions, strict=True)]


def _assemble(vector: PETSc.Vec, compiled: list, problem: Problem) -> None:
    """Assemble one form a block into a vector laid out like ``x``; ``None`` leaves its block zero."""
    owned = [V.dofmap.index_map.size_local * V.dofmap.index_map_bs for V in problem.spaces]
    vector.set(0.0)
    start = 0
    for form, size in zip(compiled, owned, strict=True):
        if form is not None:
            b = fem.assemble_vector(form)
            b.scatter_reverse(InsertMode.add)
            vector.array_w[start : start + size] = b.array[:size]
        start += size
