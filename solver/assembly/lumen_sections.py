# SPDX-License-Identifier: MIT
"""Sections of the lumen with pressures of their own: volumes, lengths, and their derivatives.

The pressure is P(X) = Σ P_i h_i(Z) with hat functions h_i over the drawn height, one for each of k sections
of equal drawn length, constant to the ends. With -∫ P ½x⊥·n da in the potential the volumes are
V_i = ∫ h_i ½x⊥·n da. The virtual work Σ P_i δV_i contains that of the shear of the fluid on the wall, which
balances the drop of pressure.
"""

import numpy as np
import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from dolfinx.la import InsertMode
from mpi4py import MPI
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InvalidValue
from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem

_SMALLEST = 1e-3  # of a section: less volume shows that the mesh is too coarse for it


class LumenSections:
    """The sections, from the lower to the upper end.

    Attributes:
        count: Their number k.

    Args:
        problem: Problem of a model with such a flow.
        count: As above.

    Raises:
        InvalidValue: The mesh is too coarse for so many sections.
    """

    def __init__(self, problem: Problem, count: int) -> None:
        assert problem.section_pressure is not None
        self.count = count
        self._problem = problem
        self._pressure = problem.section_pressure
        space = self._pressure.function_space
        v, h = ufl.TestFunction(problem.spaces[0]), ufl.TestFunction(space)
        δh = ufl.TrialFunction(space)
        work = problem.section_work()
        self._volumes = forms.compile_forms(ufl.derivative(work, self._pressure, h))
        self._gradient = forms.compile_forms(
            ufl.derivative(ufl.derivative(work, problem.unknowns[0], v), self._pressure, δh)
        )
        body = problem.model.body
        heights = body.points[body.surface_nodes("lumen"), -1]
        self._hats = _hats(space.tabulate_dof_coordinates()[:, problem.axial], heights, count)
        owned = space.dofmap.index_map.size_local
        self._every_hat = np.concatenate(problem.comm.allgather(self._hats[:owned]))
        drawn = self._integrals(forms.compile_forms(problem.drawn_length(h)))
        if drawn.min() < _SMALLEST * drawn.mean():
            raise InvalidValue(
                f"{count} are too many for this mesh: take fewer, or smaller elements along the lumen",
                key="sections",
                value=count,
            )
        self._drawn = drawn
        self._present = np.zeros(count)
        self.length_gradients = self._columns(forms.compile_forms(problem.change_of_length(v, δh)))
        rows = np.flatnonzero(self.length_gradients.any(axis=1))
        self._of_lengths = rows, np.ascontiguousarray(self.length_gradients[rows].T)

    @property
    def share(self) -> FloatArray:
        """Share of each section in the drawn length."""
        return self._drawn / self._drawn.sum()

    def set_pressures(self, pressures: FloatArray) -> None:
        """Set the pressure of each section beside the even one, MPa."""
        self._present = pressures
        self._pressure.x.array[:] = self._hats @ pressures

    def add_core_force(self, area: float, out: PETSc.Vec) -> None:
        """Add Σ P_i area ∂l_i/∂u of the modelled piece, for an area across the axis, mm²."""
        force = self.length_gradients @ self._present * area / self._problem.model.body.multiplicity
        out.array_w[: len(force)] += force

    def volumes(self) -> FloatArray:
        """Volume of each section of the whole part at the present unknowns, mm³; collective."""
        return self._integrals(self._volumes)

    def lengths(self) -> FloatArray:
        """Length of each section along the axis, mm; collective."""
        rows, gradients = self._of_lengths
        return self._drawn + self._sum(gradients @ self._problem.unknowns[0].x.array[rows])

    def volume_gradients(self) -> FloatArray:
        """∂V_i/∂u of the whole part on the rows of this rank, shape (n, k), mm²; collective."""
        return self._columns(self._gradient)

    def _integrals(self, form: fem.Form) -> FloatArray:
        """∫ h_i over the whole part."""
        vector = fem.assemble_vector(form)
        vector.scatter_reverse(InsertMode.add)
        owned = vector.index_map.size_local
        return self._sum(self._hats[:owned].T @ vector.array[:owned]) * self._problem.model.body.multiplicity

    def _columns(self, form: fem.Form) -> FloatArray:
        """Rows of this rank of a matrix times the hat functions, for the whole part."""
        matrix = fem_petsc.assemble_matrix(form)
        matrix.assemble()
        from scipy.sparse import csr_array  # start-up that a part without a flow need not pay

        first, columns, values = matrix.getValuesCSR()
        shape = matrix.getLocalSize()[0], matrix.getSize()[1]
        rows = csr_array((values, columns, first), shape=shape)
        matrix.destroy()
        return np.asarray(rows @ self._every_hat) * self._problem.model.body.multiplicity

    def _sum(self, values: FloatArray) -> FloatArray:
        return np.asarray(self._problem.comm.allreduce(values, op=MPI.SUM))


def _hats(z: FloatArray, heights: FloatArray, count: int) -> FloatArray:
    """Hat functions about the middles of equal sections at heights z, shape (len(z), count)."""
    low, high = heights.min(), heights.max()
    place = np.clip((z - low) / (high - low) * count - 0.5, 0, count - 1)
    return np.maximum(0.0, 1 - np.abs(place[:, None] - np.arange(count)))
