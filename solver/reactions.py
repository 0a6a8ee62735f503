# SPDX-License-Identifier: MIT
"""Forces of the supports on a part, from the rows of the residual at fixed unknowns."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from mpi4py import MPI

from solver.system import System


def reactions_of(system: System) -> dict[str, tuple[float, float]]:
    """Force of each support on the whole part, N: (axial along +Z, radial outward); collective.

    Taken from the residual assembled last. A node that two supports hold counts with the first.
    """
    problem = system.problem
    space = problem.spaces[0]
    owned, bs = space.dofmap.index_map.size_local, space.dofmap.index_map_bs
    offsets, _ = system.raw.getAttr("_blocks")
    rows = system.raw.array_r[offsets[0] : offsets[1]].reshape(owned, bs)
    mine = problem.node_of_dof[:owned]
    points = problem.model.body.points[mine]
    reactions: dict[str, tuple[float, float]] = {}
    free = np.ones(owned, dtype=bool)
    for support in problem.model.supports:
        members = np.isin(mine, system.nodes_of(support.region)) & free
        free &= ~members
        across = points[members][:, :-1]
        outward = across / np.maximum(np.linalg.norm(across, axis=1), 1e-30)[:, None]
        force = np.array([rows[members, -1].sum(), (rows[members, :-1] * outward).sum()])
        if support.hold.startswith("plate"):
            force[0] = 0.0  # moves freely along the axis
        total = np.empty(2)
        problem.comm.Allreduce(force, total, op=MPI.SUM)
        axial, radial = total * problem.model.body.copies
        reactions[support.region] = (float(axial), float(radial))
    return reactions
