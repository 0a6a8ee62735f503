# SPDX-License-Identifier: MIT
"""Parts added stress-free to a part under pressure, as a lattice is printed on an inflated skin.

First the skin alone, without the deposited parts, is brought to equilibrium with the pressure: u0. The
deposited parts are stress-free there, with Fe = F F0⁻¹ and F0 = 1 + Grad u0. So the printed part is in
equilibrium from the start, whatever error the mesh leaves in the inflation.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from mpi4py import MPI

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice_mesh.base_nodes import without_regions
from annelid.solver.assembly.system import System
from annelid.solver.continuation.drawn_state import settle_drawn
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.display import DisplayUnits
from annelid.solver.energy.problem import Problem
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import Loads
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalField
from annelid.solver.model.parts import Part
from annelid.solver.model.scales import scales_of
from annelid.solver.model.stepping import Tolerance

_AT_REST = 1e-6  # fraction of its size by which a part in equilibrium may move, for rounding


class SkinEquilibrium(NamedTuple):
    """The equilibrium of the skin alone, extended to the whole body.

    Attributes:
        displacement: u0 at every node; deposited nodes follow their base node, shape (n, dim), mm.
        pressure: Pressure unknowns of every cell; 0 in deposited parts, shape (m, k), MPa.
        moved: Largest displacement, mm.
        size: Of the skin, mm.
    """

    displacement: FloatArray
    pressure: FloatArray
    moved: float
    size: float


def equilibrium_of_skin(model: Model, comm: MPI.Comm, tolerance: Tolerance) -> SkinEquilibrium:
    """Bring a part without its deposited parts to equilibrium with the pressure under which it is drawn.

    Raises:
        NoEquilibrium: There is no equilibrium nearby.
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
        foundations=(),
        sections=(),
        contacts=(),
        deposited=(),
        pressed=(),
    )
    problem = Problem(skin, comm=comm)
    newton = Newton(System(problem), scales_of(skin), tolerance)
    settle_drawn(newton, Loads(pressure=model.drawn_pressure))
    newton.system.read_x()
    u, p = _nodal(problem), _cellwise(problem)
    displacement = np.zeros((len(body.points), u.shape[1]))
    displacement[piece.nodes] = u
    pressure = np.zeros((len(body.cells), p.shape[1]))
    pressure[piece.cells] = p
    return SkinEquilibrium(
        displacement[body.base_node], pressure, float(np.abs(u).max()), newton.scales.length
    )


def deposit(system: System, skin: SkinEquilibrium) -> None:
    """Deposit the other parts on the skin in equilibrium; that becomes the present state. Collective."""
    problem = system.problem
    assert problem.deposition is not None
    u, p = problem.unknowns[:2]
    u.x.array[:] = skin.displacement[problem.node_of_dof].ravel()
    p.x.array[p.function_space.dofmap.list] = skin.pressure[problem.mesh.original_cells]
    system.set_unknowns()
    system.dirichlet.keep_at(skin.displacement)
    problem.deposition.x.array[:] = u.x.array


def moved_since(system: System) -> float:
    """How far the part has moved since parts were deposited on it, mm; collective."""
    problem = system.problem
    assert problem.deposition is not None
    system.read_x()
    mine = float(np.abs(problem.unknowns[0].x.array - problem.deposition.x.array).max(initial=0.0))
    return float(problem.comm.allreduce(mine, op=MPI.MAX))


def describe_deposition(
    system: System, skin: SkinEquilibrium, convergence: Convergence, units: DisplayUnits
) -> str:
    """State how far the skin moved to its equilibrium, and the printed part to its own; collective.

    Raises:
        NoEquilibrium: The printed part moves though nothing but its pressure acts on it.
    """
    by = units.show("length", skin.moved, 2)
    words = (
        f"the skin alone is in equilibrium {by} away from the drawn shape; other parts were "
        "added there, free of stress"
    )
    if convergence.iterations == 0:
        error = f"{convergence.residual:.1e} of its forces"
        return f"{words}; the printed part is in equilibrium with its pressure to {error}"
    model, moved = system.problem.model, moved_since(system)
    strained = [p.region for p in model.parts if p.region in model.deposited and not _is_free(p)]
    acting = [*strained, *(f.region for f in model.foundations), *(c.name for c in model.contacts)]
    if not acting and moved > _AT_REST * skin.size:
        raise NoEquilibrium(
            "the part as printed is not in equilibrium with its pressure: it moves by "
            f"{units.show('length', moved, 3)}",
            residual=moved,
        )
    because = f" because of {', '.join(acting)}" if acting else ""
    by = units.show("length", moved, 2)
    return f"{words}; from there the printed part moved by {by} to its equilibrium{because}"


def _is_free(part: Part) -> bool:
    """Whether a part has no natural stretch."""
    given = part.natural_stretch
    return not isinstance(given, NaturalField) and given.factors == (1.0, 1.0, 1.0)


def _restricted(part: Part, nodes: IntArray) -> Part:
    """A part with its natural stretch at some of the nodes."""
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
