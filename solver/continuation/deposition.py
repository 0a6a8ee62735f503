# SPDX-License-Identifier: MIT
"""Laying parts stress-free on a part drawn under pressure, as a lattice is printed on an inflated skin.

The skin alone, without what will lie on it, is brought to its balance with the pressure: u0. What is
deposited is born there, with Fe = F F0⁻¹ and F0 = 1 + Grad u0, so that the printed part is in balance as it
is, whatever the mesh leaves of the inflation it is drawn after.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from dolfinx.fem import petsc as fem_petsc
from mpi4py import MPI

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice_mesh.base_nodes import without_regions
from annelid.solver.assembly.system import System
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.energy.problem import Problem
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import Loads
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalField
from annelid.solver.model.parts import Part
from annelid.solver.model.scales import scales_of
from annelid.solver.model.stepping import Tolerance

_AT_REST = 1e-6  # share of its size by which a part in balance may move, for rounding


class Skin(NamedTuple):
    """The balance of the skin alone, spread over the whole body.

    Attributes:
        displacement: u0 at every node; what is deposited follows the node it stands on, shape (n, dim), mm.
        pressure: Pressure unknowns of every cell; 0 in what is deposited, shape (m, k), MPa.
        moved: Largest displacement, mm.
        size: Of the skin, mm.
    """

    displacement: FloatArray
    pressure: FloatArray
    moved: float
    size: float


def balance_of_skin(model: Model, comm: MPI.Comm, tolerance: Tolerance) -> Skin:
    """Bring a part without what is deposited on it to balance with the pressure under which it is drawn.

    Raises:
        NoEquilibrium: There is no balance nearby.
    """
    body = model.body
    assert model.drawn_pressure is not None
    assert body.base_node is not None
    piece = without_regions(body, model.deposited)
    skin = replace(
        model,
        body=piece.body,
        parts=tuple(
            _restricted(part, piece.nodes) for part in model.parts if part.region not in model.deposited
        ),
        supports=tuple(s for s in model.supports if s.region in piece.body.surfaces),
        electrodes=(),
        beds=(),
        sections=(),
        contacts=(),
        deposited=(),
    )
    problem = Problem(skin, comm=comm)
    newton = Newton(System(problem), scales_of(skin), tolerance)
    newton.settle_drawn(Loads(pressure=model.drawn_pressure))
    newton.system.read_x()
    u, p = _nodal(problem), _cellwise(problem)
    displacement = np.zeros((len(body.points), u.shape[1]))
    displacement[piece.nodes] = u
    pressure = np.zeros((len(body.cells), p.shape[1]))
    pressure[piece.cells] = p
    return Skin(displacement[body.base_node], pressure, float(np.abs(u).max()), newton.scales.length)


def lay(system: System, skin: Skin) -> None:
    """Lay the parts on the skin in balance, and make that the present state of the whole. Collective."""
    problem = system.problem
    assert problem.laying is not None
    u, p = problem.unknowns[:2]
    u.x.array[:] = skin.displacement[problem.node_of_dof].ravel()
    p.x.array[p.function_space.dofmap.list] = skin.pressure[problem.mesh.original_cells]
    fem_petsc.assign(problem.unknowns, system.x)
    system.held.float_at(skin.displacement)
    problem.laying.x.array[:] = u.x.array


def moved_since(system: System) -> float:
    """How far the part has moved from the shape in which parts were deposited on it, mm; collective."""
    problem = system.problem
    assert problem.laying is not None
    system.read_x()
    mine = float(np.abs(problem.unknowns[0].x.array - problem.laying.x.array).max(initial=0.0))
    return float(problem.comm.allreduce(mine, op=MPI.MAX))


def printed_in_words(system: System, skin: Skin, convergence: Convergence) -> str:
    """How near the skin was to its balance, and that the part made is in balance as it is; collective.

    Raises:
        NoEquilibrium: It is not, though nothing but its pressure acts on it.
    """
    words = (
        f"the skin alone is in equilibrium {skin.moved:.2g} mm away from the drawn shape; other parts were "
        "added there, free of stress"
    )
    if convergence.iterations == 0:
        error = f"{convergence.residual:.1e} of its forces"
        return f"{words}; the printed part is in balance with its pressure to {error}"
    model, moved = system.problem.model, moved_since(system)
    strained = [p.region for p in model.parts if p.region in model.deposited and not _is_free(p)]
    acting = [*strained, *(b.region for b in model.beds), *(c.name for c in model.contacts)]
    if not acting and moved > _AT_REST * skin.size:
        raise NoEquilibrium(
            f"the part as printed is not in balance with its pressure: it moves by {moved:.3g} mm",
            residual=moved,
        )
    because = f" under what {', '.join(acting)} brought along" if acting else ""
    return f"{words}; from there the printed part moved by {moved:.2g} mm to its balance{because}"


def _is_free(part: Part) -> bool:
    """Whether a part has no natural stretch."""
    given = part.natural_stretch
    return not isinstance(given, NaturalField) and given.factors == (1.0, 1.0, 1.0)


def _restricted(part: Part, nodes: IntArray) -> Part:
    """A part whose natural stretch is given at some of the nodes."""
    given = part.natural_stretch
    if not isinstance(given, NaturalField):
        return part
    normal, hoop, axial, shear, *_ = given.factors[nodes].T
    twist = None if given.twist is None else given.twist[nodes]
    places = None if given.places is None else given.places[nodes]
    return replace(part, natural_stretch=NaturalField(hoop, axial, normal, shear, twist, places))


def _nodal(problem: Problem) -> FloatArray:
    """Displacement at every node of the body, on every rank."""
    u = problem.unknowns[0]
    index_map, size = u.function_space.dofmap.index_map, u.function_space.dofmap.index_map_bs
    owned = index_map.size_local
    every = np.zeros((len(problem.model.body.points), size))
    every[problem.node_of_dof[:owned]] = u.x.array[: owned * size].reshape(owned, size)
    problem.comm.Allreduce(MPI.IN_PLACE, every, op=MPI.SUM)
    return every


def _cellwise(problem: Problem) -> FloatArray:
    """Pressure unknowns of every cell of the body, on every rank."""
    p = problem.unknowns[1]
    dofs = p.function_space.dofmap.list[: problem.mesh.owned]
    every = np.zeros((len(problem.model.body.cells), dofs.shape[1]))
    every[problem.mesh.original_cells[: problem.mesh.owned]] = p.x.array[dofs]
    problem.comm.Allreduce(MPI.IN_PLACE, every, op=MPI.SUM)
    return every
