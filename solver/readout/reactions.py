# SPDX-License-Identifier: MIT
"""Forces of the supports on a part, from the rows of the residual at fixed unknowns."""

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.errors import InvalidValue
from annelid.solver.assembly.blocks import DISPLACEMENT
from annelid.solver.assembly.system import System
from annelid.solver.energy.problem import Problem

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
    rows, nodes = _rows(system, system.raw)
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


class Reactions:
    """Forces of the supports on the whole part.

    At a node that several supports share, each takes the force of the cells of its own regions. A force that
    two supports of one region take together at a corner counts with the first of them.
    """

    def __init__(self, system: System) -> None:
        self._system = system
        body, supports = system.problem.model.body, system.problem.model.supports
        times = np.zeros(len(body.points), dtype=np.int64)
        for support in supports:
            times[body.surface_nodes(support.region)] += 1
        self._shared = times > 1
        self._regions = {s.region: _regions_of(body, s.region) for s in supports}
        regions = set[str]().union(*self._regions.values()) if self._shared.any() else set[str]()
        self._forces_of = {
            region: system.equations.forces_of(system.problem.mesh.cells_of(body.regions[region]))
            for region in sorted(regions)
        }

    def read(self) -> dict[str, tuple[float, float, float]]:
        """(Axial along +Z, radial outward) force of each support, N, and torque about +Z, N mm; collective.

        Taken from the residual assembled last.
        """
        problem = self._system.problem
        whole, mine = _rows(self._system, self._system.raw)
        shared = self._shared[mine]
        rest = {
            name: _components(problem, rows, mine) * shared[:, None]
            for name, rows in self._of_regions().items()
        }
        alone = _components(problem, whole, mine) * ~shared[:, None]
        reactions: dict[str, tuple[float, float, float]] = {}
        for support in problem.model.supports:
            members = np.isin(mine, problem.model.body.surface_nodes(support.region))
            holds = np.array(
                [support.fixes_axial_motion, support.fixes_radial_motion, support.fixes_rotation]
            )
            force = alone[members].sum(axis=0)
            for name in self._regions[support.region] & rest.keys():
                force += rest[name][members].sum(axis=0)
                rest[name][np.outer(members, holds)] = 0.0
            total = np.empty(3)
            problem.comm.Allreduce(force * holds, total, op=MPI.SUM)
            axial, radial, torque = total * problem.model.body.multiplicity
            reactions[support.region] = (float(axial), float(radial), float(torque))
        return reactions

    def _of_regions(self) -> dict[str, FloatArray]:
        """Forces of the cells of each region at the nodes of this rank, N."""
        system, rows = self._system, {}
        vector = system.vector() if self._forces_of else None
        for name, forces in self._forces_of.items():
            forces(vector, system.loads.pressures)
            rows[name] = _rows(system, vector)[0].copy()
        if vector is not None:
            vector.destroy()
        return rows


def _regions_of(body: Body, surface: str) -> set[str]:
    """Regions of the cells that have a facet in a surface."""
    nodes = np.zeros(len(body.points), dtype=bool)
    nodes[body.surface_nodes(surface)] = True
    per_facet = body.facets.shape[1]
    return {
        name
        for name, cells in body.regions.items()
        if (nodes[body.cells[cells]].sum(axis=1) >= per_facet).any()
    }


def _rows(system: System, vector: PETSc.Vec) -> tuple[FloatArray, IntArray]:
    """Rows of the displacement in a vector like the unknowns, and the node of each, of this rank."""
    space = system.problem.spaces[0]
    owned, bs = space.dofmap.index_map.size_local, space.dofmap.index_map_bs
    rows = system.blocks.part(vector, DISPLACEMENT).reshape(owned, bs)
    return rows, system.problem.node_of_dof[:owned]


def _components(problem: Problem, rows: FloatArray, nodes: IntArray) -> FloatArray:
    """Axial and radial component of the forces at some nodes, and their torque about the axis, shape (n, 3).

    In 3-D the radial direction is the drawn one, unless the part twists.
    """
    axial, points = problem.axial, problem.model.body.points[nodes]
    across = points[:, :axial]
    torque = np.zeros(len(rows))
    if problem.arm is not None:
        torque = rows[:, 2] * float(problem.arm.value)
    elif axial == 2 and problem.model.has_twist:
        u = problem.unknowns[0].x.array.reshape(-1, 3)[: len(nodes)]
        across = across + u[:, :2]
        torque = across[:, 0] * rows[:, 1] - across[:, 1] * rows[:, 0]
    outward = across / np.maximum(np.linalg.norm(across, axis=1), 1e-30)[:, None]
    return np.stack([rows[:, axial], (rows[:, :axial] * outward).sum(axis=1), torque], axis=1)
