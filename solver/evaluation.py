# SPDX-License-Identifier: MIT
"""Reading a converged state: fields at the nodes of every cell, energies, charges, reactions."""

from collections.abc import Mapping
from functools import cached_property

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import basix
import numpy as np
import ufl
from dolfinx import fem, la
from mpi4py import MPI
from numpy.typing import NDArray
from petsc4py import PETSc

from geometry.body import FloatArray, IntArray
from geometry.elements import shape_values
from solver import forms
from solver.fields import CellValues, fields_of
from solver.loads import Loads
from solver.mesh import surface_nodes
from solver.model import regions_of_band
from solver.problem import Problem
from solver.quantities import Reading, quantities_of
from solver.records import Equilibrium, Measure
from solver.swept import SweptVolume
from solver.system import System

_DEGREE = 5  # of the rule whose points are read
_PIECE = 500  # cells read at a time


class Evaluation:
    """Compiled expressions that turn the present unknowns of a system into an ``Equilibrium``."""

    def __init__(self, system: System) -> None:
        self.system = system
        self.problem: Problem = system.problem
        self._fields: dict[str, FloatArray] | None = None
        model = self.problem.model
        # Fields are read at the integration points, where the energy guarantees det F > 0, and carried to
        # the nodes by the quadratic through them: at a clamped corner the strain may fold at the node.
        points, _ = basix.make_quadrature(problem_cell(self.problem), _DEGREE)
        self._to_nodes = np.linalg.pinv(shape_values(model.body.cell_type, points))
        self._expressions = [
            fem.Expression(self._values(law), points, jit_options=forms.jit_options())
            for law, _ in self.problem.fields.laws
        ]
        cellwise = ufl.TestFunction(self.problem.fields.compliance.function_space)
        self._capacity = None
        if model.electrodes and not model.solved_potential:
            self._capacity = forms.compile_forms(
                self.problem.sheet_capacity() * cellwise * self.problem.weight * self._everywhere()
            )
        self._strain_energy = forms.compile_forms(
            sum(
                cellwise
                * self.problem.fields.det_G
                * (self.problem.stored_energy(law, self.problem.F) + self.problem.volumetric_energy())
                * self.problem.weight
                * self.problem.dx(i)
                for i, (law, _) in enumerate(self.problem.fields.laws, start=1)
            )
        )
        self._datum: tuple[float, float] | None = None
        self._swept = SweptVolume(system) if system.volume_form is not None else None
        self._drawn_volume = system.volume() if system.volume_form is not None else 0.0
        self._cell_volume_form = forms.compile_forms(cellwise * self.problem.weight * self._everywhere())

    def _everywhere(self) -> ufl.Measure:
        return ufl.dx(self.problem.mesh.domain, metadata={"quadrature_degree": 5})

    def _values(self, law: str) -> ufl.core.expr.Expr:
        """σ = J⁻¹ ∂W/∂F Fᵀ, F, F⁻ᵀE0 and p as one vector of 22."""
        problem = self.problem
        # A label of its own number: the running number of ufl.variable would enter the form's signature, and
        # every further run in a process would compile again.
        F = ufl.classes.Variable(problem.F, ufl.classes.Label(0))
        σ = ufl.diff(problem.density(law, F), F) * F.T / ufl.det(F)
        E0 = problem.nominal_field()
        E = ufl.inv(F).T * E0 if E0 is not None else ufl.as_vector([0, 0, 0])
        tensors = [T[i, j] for T in (σ, F) for i in range(3) for j in range(3)]
        return ufl.as_vector([*tensors, *(E[i] for i in range(3)), problem.unknowns[1]])

    def equilibrium(
        self,
        index: int,
        stage: str,
        s: float,
        loads: Loads,
        *,
        iterations: int,
        residual: float,
        factorisations: int,
        modes: tuple[int, int],
        critical: str = "",
        mode: PETSc.Vec | None = None,
    ) -> Equilibrium | None:
        """The state read last by ``read_fields`` as a record on the first rank, else ``None``; collective.

        Args:
            index: Position along the path.
            stage: Stage name.
            s: Stage parameter.
            loads: Loads in force.
            iterations: Newton iterations taken.
            residual: Last relative residual.
            factorisations: Factorisations spent.
            modes: Unstable modes under given loads and under the control in force.
            critical: Kind of the critical point, if the state is one.
            mode: Its mode, laid out like the unknowns.
        """
        fields = self._fields
        displacement = self.displacement()
        shape = self._mode_shape(mode)
        energies = self._energies(loads) | self._contacts()
        reactions = self._reactions()
        volume = self.system.volume() if self.system.volume_form is not None else None
        swept = self._swept.update() if self._swept is not None else None
        cell_volumes = self._cell_volumes
        if self.problem.comm.rank != 0:
            return None
        assert fields is not None
        assert displacement is not None
        assert cell_volumes is not None
        reading = Reading(
            model=self.problem.model,
            displacement=displacement,
            fields=fields,
            cell_volumes=cell_volumes,
            volume=volume,
            drawn_volume=self._drawn_volume,
            swept=swept,
            energies=energies,
            reactions=reactions,
            voltages=dict(loads.voltages),
            obstacles=dict(loads.obstacles),
            modes=modes,
            datum=self._datum,
        )
        quantities, profiles, places = quantities_of(reading)
        if not any(loads.voltages.values()):
            self._datum = quantities["length"].value, quantities["largest diameter"].value
        return Equilibrium(
            index=index,
            stage=stage,
            parameter=s,
            loads=_measures(loads, self.problem),
            iterations=iterations,
            residual=residual,
            factorisations=factorisations,
            unstable_modes=modes[0],
            unstable_modes_controlled=modes[1],
            quantities=quantities,
            displacement=displacement,
            fields=fields,
            profiles=profiles,
            places=places,
            critical=critical,
            mode=shape,
        )

    def read_fields(self) -> bool:
        """Read the fields of the present state; False if the part is turned inside out. Collective."""
        problem = self.problem
        assert self.system.loads is not None
        natural = self.system.loads.natural
        upright = True
        self._fields = None  # two states at a time would cost memory
        mine: dict[str, FloatArray] = {}
        for expression, (_, members) in zip(self._expressions, problem.fields.laws, strict=True):
            for cells in _pieces(members):
                values, proper = self._values_in(expression, cells)
                upright &= proper
                for name, piece in fields_of(problem.model, values, natural).items():
                    if name not in mine:
                        mine[name] = np.zeros((problem.mesh.owned, *piece.shape[1:]))
                    mine[name][cells] = piece
        self._fields = self._gather_fields(mine)
        return bool(problem.comm.allreduce(upright, op=MPI.LAND))

    def _values_in(self, expression: fem.Expression, cells: NDArray[np.int32]) -> tuple[CellValues, bool]:
        """Raw values at the nodes of some cells of this rank, and whether none is turned inside out."""
        problem = self.problem
        points = self._to_nodes.shape[1]
        inside = expression.eval(problem.mesh.domain, cells).reshape(len(cells), points, 22)
        F = inside[..., 9:18].reshape(len(cells), points, 3, 3)
        upright = bool(np.linalg.det(F).min() > 0)
        if problem.model.axisymmetric:
            upright = upright and bool(F[..., 1, 1].min() > 0)
        every = np.matmul(self._to_nodes, inside)
        shape = every.shape[:2]
        members = problem.mesh.original_cells[cells]
        values = CellValues(
            cells=members,
            stress=every[..., :9].reshape(*shape, 3, 3),
            F=every[..., 9:18].reshape(*shape, 3, 3),
            field=every[..., 18:21] * self._in_sheets[members, None, None],
            pressure=every[..., 21],
        )
        return values, upright

    def _gather_fields(self, mine: dict[str, FloatArray]) -> dict[str, FloatArray] | None:
        """Fields of the owned cells of all ranks in body order, on the first rank."""
        gathered: dict[str, FloatArray] = {}
        for name in list(mine):
            every = self._gather_cells(mine.pop(name))
            if every is not None:
                gathered[name] = every
        return gathered if self.problem.comm.rank == 0 else None

    def displacement(self) -> FloatArray | None:
        """Nodal displacement in body order on the first rank, shape (n, 2) or (n, 3), mm."""
        return self._gather_nodes(self.problem.unknowns[0].x.array)

    def _mode_shape(self, mode: PETSc.Vec | None) -> FloatArray | None:
        """Displacement part of a mode in body order on the first rank, largest motion 1."""
        shape = None if mode is None else self._gather_nodes(mode.array_r)
        return None if shape is None else shape / np.abs(shape).max()

    def _gather_nodes(self, values: FloatArray) -> FloatArray | None:
        """Owned displacement-like dofs (first in ``values``) in body order on the first rank."""
        problem = self.problem
        space = problem.spaces[0]
        owned, bs = space.dofmap.index_map.size_local, space.dofmap.index_map_bs
        mine = values[: owned * bs].reshape(owned, bs)
        parts = problem.comm.gather((problem.node_of_dof[:owned], mine))
        if parts is None:
            return None
        every = np.zeros((len(problem.model.body.points), bs))
        for nodes, part in parts:
            every[nodes] = part
        return every

    def _gather_cells(self, mine: FloatArray) -> FloatArray | None:
        """Owned cell values of all ranks in body order, on the first rank."""
        original, counts = self._cells_of_ranks
        if self.problem.comm.size == 1:
            parts = mine
        else:
            row = int(np.prod(mine.shape[1:]))
            parts = np.empty((len(original), *mine.shape[1:]))
            self.problem.comm.Gatherv(np.ascontiguousarray(mine), (parts, counts * row))
        if self.problem.comm.rank != 0:
            return None
        every = np.empty_like(parts)
        every[original] = parts
        return every

    @cached_property
    def _cells_of_ranks(self) -> tuple[IntArray, IntArray]:
        """Body cells owned by rank after rank, and how many each has; on the first rank."""
        comm = self.problem.comm
        parts = comm.gather(self.problem.mesh.original_cells[: self.problem.mesh.owned])
        if parts is None:
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        return np.concatenate(parts), np.array([len(part) for part in parts])

    @cached_property
    def _in_sheets(self) -> FloatArray:
        """1 in body cells of parts with sheets, else 0; elsewhere a solved potential only falls to zero."""
        model = self.problem.model
        inside = np.zeros(len(model.body.cells))
        for part in model.parts:
            inside[model.body.regions[part.region]] = float(part.sheets is not None)
        return inside

    @cached_property
    def _cell_volumes(self) -> FloatArray | None:
        """Drawn volume of every cell of the modelled piece, mm³."""
        mine = fem.assemble_vector(self._cell_volume_form).array[: self.problem.mesh.owned]
        return self._gather_cells(mine)

    def _energies(self, loads: Loads) -> dict[str, float]:
        """Strain energy (mJ), and charge (uC) and capacitance (nF) of each electrode, of the whole part."""
        problem = self.problem
        copies = problem.model.body.copies
        energies: dict[str, float] = {}
        stored = self._gather_cells(fem.assemble_vector(self._strain_energy).array[: problem.mesh.owned])
        if stored is not None:
            energies["strain energy"] = float(stored.sum()) * copies
            for region, members in problem.model.body.regions.items():
                energies[f"strain energy {region}"] = float(stored[members].sum()) * copies
        if self._capacity is not None:
            mine = fem.assemble_vector(self._capacity).array[: problem.mesh.owned]
            cells = self._gather_cells(mine)
            if cells is not None:
                inverse = self.system.nominal_sheet_field(dict.fromkeys(problem.model.body.bands, 1.0))
                for name, band in problem.model.body.bands.items():
                    energies[f"capacitance {name}"] = float((cells * inverse**2)[band].sum()) * copies
                    energies[f"charge {name}"] = energies[f"capacitance {name}"] * loads.voltages.get(
                        name, 0.0
                    )
        elif problem.model.solved_potential:
            for name, charge in self._electrode_charges().items():
                voltage = loads.voltages.get(name, 0.0)
                energies[f"charge {name}"] = charge * copies
                energies[f"capacitance {name}"] = charge * copies / voltage if voltage else float("nan")
        return energies

    @cached_property
    def _contact_forms(self) -> list[tuple[fem.Form, fem.Form]]:
        """Contact force and area of each contact."""
        problem = self.problem
        return [
            (forms.compile_forms(problem.contact_force(c)), forms.compile_forms(problem.contact_area(c)))
            for c in problem.model.contacts
        ]

    def _contacts(self) -> dict[str, float]:
        """Force (N) and present area (mm²) of each contact, of the whole part."""
        copies = self.problem.model.body.copies
        found: dict[str, float] = {}
        for contact, (force, area) in zip(self.problem.model.contacts, self._contact_forms, strict=True):
            found[f"contact force {contact.name}"] = self.system.sum(fem.assemble_scalar(force)) * copies
            found[f"contact area {contact.name}"] = self.system.sum(fem.assemble_scalar(area)) * copies
        return found

    def _electrode_charges(self) -> dict[str, float]:
        """Charge on each hot face as the work conjugate of its voltage: Q = -∂Π/∂V.

        A face that is hot for the sheets on both sides counts for each electrode what its own layer draws, so
        that the charges add up to that of the part.
        """
        problem = self.problem
        owned = problem.spaces[2].dofmap.index_map.size_local
        offsets, _ = self.system.raw.getAttr("_blocks")
        charges: dict[str, float] = {}
        for name, bc, _ in self.system.voltage_conditions:
            if not name:
                continue
            rows = self.system.raw.array_r[offsets[2] : offsets[3]]
            foreign = self._foreign_cells[name]
            if foreign.any():
                rows = self._potential_rows_without(foreign)
            dofs = bc.dof_indices()[0]
            charges[name] = -self.system.sum(float(rows[dofs[dofs < owned]].sum()))
        return charges

    def _potential_rows_without(self, cells: NDArray[np.bool_]) -> FloatArray:
        """∂Π/∂φ of all body cells but the given ones."""
        permittivity = self.problem.fields.permittivity.x.array
        everywhere = permittivity.copy()
        permittivity[cells[self.problem.mesh.original_cells]] = 0.0
        rows = fem.assemble_vector(self.system.residual_forms[2])
        rows.scatter_reverse(la.InsertMode.add)
        permittivity[:] = everywhere
        return np.asarray(rows.array)

    @cached_property
    def _foreign_cells(self) -> dict[str, NDArray[np.bool_]]:
        """By electrode, the body cells of other layers whose electrodes share its hot face."""
        model = self.problem.model
        faces = {e.name: surface_nodes(model.body, f"{e.name}.{e.hot_face}") for e in model.electrodes}
        regions = {name: regions_of_band(model.body, name) for name in faces}
        foreign: dict[str, NDArray[np.bool_]] = {}
        for name, nodes in faces.items():
            foreign[name] = np.zeros(len(model.body.cells), dtype=bool)
            for other in faces:
                if np.isin(faces[other], nodes).any():
                    for region in set(regions[other]).difference(regions[name]):
                        foreign[name][model.body.regions[region]] = True
        return foreign

    def _reactions(self) -> dict[str, tuple[float, float]]:
        """Force of each support on the whole part, N: (axial along +Z, radial outward)."""
        problem = self.problem
        space = problem.spaces[0]
        owned, bs = space.dofmap.index_map.size_local, space.dofmap.index_map_bs
        offsets, _ = self.system.raw.getAttr("_blocks")
        rows = self.system.raw.array_r[offsets[0] : offsets[1]].reshape(owned, bs)
        points = problem.model.body.points[problem.node_of_dof[:owned]]
        copies = problem.model.body.copies
        reactions: dict[str, tuple[float, float]] = {}
        free = np.ones(owned, dtype=bool)  # an edge node of two supports counts with the first
        for support in problem.model.supports:
            members = np.isin(problem.node_of_dof[:owned], self.system.nodes_of(support.region)) & free
            free &= ~members
            r = np.linalg.norm(points[members][:, :-1], axis=1)
            direction = points[members][:, :-1] / np.maximum(r, 1e-30)[:, None]
            mine = np.array([rows[members, -1].sum(), (rows[members, :-1] * direction).sum()])
            if support.hold.startswith("plate"):
                mine[0] = 0.0  # moves freely along the axis
            total = np.empty(2)
            problem.comm.Allreduce(mine, total, op=MPI.SUM)
            reactions[support.region] = (float(total[0]) * copies, float(total[1]) * copies)
        return reactions


def _pieces(cells: NDArray[np.int32]) -> list[NDArray[np.int32]]:
    """Cells in pieces: all at once would hold ten arrays of the size of the fields."""
    return np.array_split(cells, range(_PIECE, len(cells), _PIECE)) if len(cells) else []


def problem_cell(problem: Problem) -> basix.CellType:
    """Cell type of a problem's mesh."""
    return basix.CellType[problem.mesh.domain.basix_cell().name]


def _measures(loads: Loads, problem: Problem) -> Mapping[str, Measure]:
    """Loads by name with their units."""
    measures: dict[str, Measure] = {}
    if problem.model.has_lumen:
        measures["pressure"] = Measure(loads.pressure, "MPa")
    for electrode in problem.model.electrodes:
        measures[f"voltage {electrode.name}"] = Measure(loads.voltages.get(electrode.name, 0.0), "kV")
    measures |= {f"obstacle {n}": Measure(v, "mm") for n, v in loads.obstacles.items()}
    measures |= {f"axial force {n}": Measure(v, "N") for n, v in loads.forces.items()}
    measures |= {f"displacement {n}": Measure(v, "mm") for n, v in loads.displacements.items()}
    return measures
