# SPDX-License-Identifier: MIT
"""Charge of each electrode where the potential is solved: the work conjugate of its voltage, Q = -∂Π/∂V."""

from functools import cached_property

import numpy as np
from dolfinx import fem, la
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.blocks import POTENTIAL
from annelid.solver.assembly.system import System


class FaceCharges:
    """Charges on the hot faces of a system that solves the potential.

    A face that is hot for the sheets on both sides counts for each electrode what its own layer draws, so
    that the charges add up to that of the part.
    """

    def __init__(self, system: System) -> None:
        self._system = system

    def read(self) -> dict[str, float]:
        """Charge by electrode of the modelled piece, uC, from the residual assembled last; collective."""
        system = self._system
        owned = system.problem.spaces[2].dofmap.index_map.size_local
        charges: dict[str, float] = {}
        for name, bc, _ in system.dirichlet.voltages:
            if not name:
                continue
            rows = system.blocks.part(system.raw, POTENTIAL)
            foreign = self._foreign_cells[name]
            if foreign.any():
                rows = self._rows_without(foreign)
            dofs = bc.dof_indices()[0]
            charges[name] = -system.sum(float(rows[dofs[dofs < owned]].sum()))
        return charges

    def _rows_without(self, cells: NDArray[np.bool_]) -> FloatArray:
        """∂Π/∂φ of all body cells but the given ones."""
        problem = self._system.problem
        permittivity = problem.fields.permittivity.x.array
        everywhere = permittivity.copy()
        permittivity[cells[problem.mesh.original_cells]] = 0.0
        rows = fem.assemble_vector(self._system.equations.residual[2])
        rows.scatter_reverse(la.InsertMode.add)
        permittivity[:] = everywhere
        return np.asarray(rows.array)

    @cached_property
    def _foreign_cells(self) -> dict[str, NDArray[np.bool_]]:
        """By electrode, the body cells of other layers whose electrodes share its hot face."""
        model = self._system.problem.model
        faces = {e.name: model.body.surface_nodes(f"{e.name}.{e.hot_face}") for e in model.electrodes}
        regions = model.inventory.bands
        foreign: dict[str, NDArray[np.bool_]] = {}
        for name, nodes in faces.items():
            foreign[name] = np.zeros(len(model.body.cells), dtype=bool)
            for other in faces:
                if np.isin(faces[other], nodes).any():
                    for region in set(regions[other]).difference(regions[name]):
                        foreign[name][model.body.regions[region]] = True
        return foreign
