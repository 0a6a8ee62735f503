# SPDX-License-Identifier: MIT
"""Forces of the supports on a part, from the rows of the residual at fixed unknowns."""

import numpy as np
from mpi4py import MPI

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.solver.assembly.system import System

_BALANCED = 1e-4  # of the loads: force on floating nodes that is left to rounding


def check_floating(system: System, scale: float) -> None:
    """Make sure that what floats needs no force, from the residual assembled last; collective.

    Args:
        system: In a converged state.
        scale: Force against which none is told from some, N.

    Raises:
        InputError: The loads on a floating part do not balance.
    """
    problem = system.problem
    rows, mine = _rows(system)
    for held in (fixed for fixed in system.constraints.fixed if fixed.floating):
        own = float(np.abs(rows[np.isin(mine, held.nodes), held.component]).max(initial=0.0))
        force = problem.comm.allreduce(own, op=MPI.MAX)
        if force > _BALANCED * max(system.load_norm(), scale):
            raise InputError(
                f"support '{held.floating}': hold = 'floating' takes no force, but the loads on the part do "
                f"not balance: {force:.3g} N would be needed at one node; hold the part by a surface that "
                "can take it",
                key=held.floating,
                value=force,
            )


def _rows(system: System) -> tuple[FloatArray, IntArray]:
    """The residual assembled last with the reactions left in, by node of the body, of this rank."""
    problem = system.problem
    space = problem.spaces[0]
    owned, bs = space.dofmap.index_map.size_local, space.dofmap.index_map_bs
    offsets, _ = system.raw.getAttr("_blocks")
    rows = system.raw.array_r[offsets[0] : offsets[1]].reshape(owned, bs)
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
        members = np.isin(mine, system.nodes_of(support.region)) & free
        free &= ~members
        across = points[members][:, :-1]
        outward = across / np.maximum(np.linalg.norm(across, axis=1), 1e-30)[:, None]
        force = np.array([rows[members, -1].sum(), (rows[members, :-1] * outward).sum()])
        if support.hold.startswith("plate"):
            force[0] = 0.0  # moves freely along the axis
        total = np.empty(2)
        problem.comm.Allreduce(force, total, op=MPI.SUM)
        axial, radial = total * problem.model.body.multiplicity
        reactions[support.region] = (float(axial), float(radial))
    return reactions
