# SPDX-License-Identifier: MIT
"""Electrode conditions of the model that solves the electric potential."""

import numpy as np
from dolfinx import fem

from annelid.geometry.body import IntArray
from annelid.solver.energy.problem import Problem


def potential_conditions(problem: Problem) -> list[tuple[str, fem.DirichletBC, fem.Constant]]:
    """Electrode potentials of the solved-potential model: (electrode or "", condition, value).

    The hot face of each band carries its voltage, the other face is ground; outside the sheets φ stays zero.
    """
    body = problem.model.body
    space = problem.spaces[2]
    nodes_of_dof = problem.mesh.nodes_of_dofs(space)
    conditions: list[tuple[str, fem.DirichletBC, fem.Constant]] = []
    hot_nodes: set[int] = set()

    def hold(electrode: str, nodes: IntArray) -> None:
        value = fem.Constant(problem.mesh.domain, 0.0)
        dofs = np.flatnonzero(np.isin(nodes_of_dof, nodes)).astype(np.int32)
        conditions.append((electrode, fem.dirichletbc(value, dofs, space), value))

    sheets = [body.regions[p.region] for p in problem.model.parts if p.sheets is not None]
    inside = np.unique(body.cells[np.concatenate(sheets)])
    hold("", np.setdiff1d(np.arange(len(body.points)), inside))
    for electrode in problem.model.electrodes:
        faces = {f: body.surface_nodes(f"{electrode.name}.{f}") for f in ("inner", "outer")}
        cold = "inner" if electrode.hot_face == "outer" else "outer"
        hold("", np.setdiff1d(faces[cold], list(hot_nodes)))
        hold(electrode.name, faces[electrode.hot_face])
        hot_nodes |= set(faces[electrode.hot_face].tolist())
    return conditions
