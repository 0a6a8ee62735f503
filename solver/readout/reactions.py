# SPDX-License-Identifier: MIT
"""Forces of the supports on a part, from the rows of the residual at fixed unknowns."""

import numpy as np
from mpi4py import MPI

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InvalidValue
from annelid.solver.assembly.blocks import DISPLACEMENT
from annelid.solver.assembly.system import System

_BALANCED = 1e-4  # of the loads: reaction that counts as rounding


def check_reaction_free(system: System, scale: float) -> None:
    """Make sure that supports of rigid motions need no force, from the residual assembled last; collective.

    Args:
        system: In a converged state.
        scale: Force below which there is none, N.

    Raises:
        InvalidValue: The loads on a part with such a support do not balance.
    """
    problem = system.problem
    rows, nodes = _rows(system)
    for fixed in (group for group in system.constraints.fixed if group.reaction_free):
        own = float(np.abs(rows[np.isin(nodes, fixed.nodes), fixed.component]).max(initial=0.0))
        force = problem.comm.allreduce(own, op=MPI.MAX)
        if force > _BALANCED * max(system.load_norm(), scale):
            raise InvalidValue(
                f"'rigid motion' takes no force, but the loads on the part do not balance: {force:.3g} N "
                "would be needed at one node; hold the part at a surface that can take it",
                key="hold",
                subject=f"support '{fixed.reaction_free}'",
                force=force,
            )


def _rows(system: System) -> tuple[FloatArray, IntArray]:
    """The residual assembled last including reactions, and the node of each row, of this rank."""
    problem = system.problem
    space = problem.spaces[0]
    owned, bs = space.dofmap.index_map.size_local, space.dofmap.index_map_bs
    rows = system.blocks.part(system.raw, DISPLACEMENT).reshape(owned, bs)
    return rows, problem.node_of_dof[:owned]


def reactions_of(system: System) -> dict[str, tuple[float, float]]:
    """Force of each support on the whole part, N: (axial along +Z, radial outward); collective.

    Taken from the residual assembled last. A node that two supports hold counts with the first.
    """
    problem = system.problem
    rows, mine = _rows(system)
    points = problem.model.body.points[mine]
    reactions: dict[str, tuple[float, float]] = {}
    free = np.ones(len(mine), dtype=bool)
    for support in problem.model.supports:
        members = np.isin(mine, problem.model.body.surface_nodes(support.region)) & free
        free &= ~members
        across = points[members][:, :-1]
        outward = across / np.maximum(np.linalg.norm(across, axis=1), 1e-30)[:, None]
        force = np.array([rows[members, -1].sum(), (rows[members, :-1] * outward).sum()])
        if support.is_plate:
            force[0] = 0.0  # moves freely along the axis
        total = np.empty(2)
        problem.comm.Allreduce(force, total, op=MPI.SUM)
        axial, radial = total * problem.model.body.multiplicity
        reactions[support.region] = (float(axial), float(radial))
    return reactions
