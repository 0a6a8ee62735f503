# SPDX-License-Identifier: MIT
"""Supports as fixed unknowns and ties between unknowns."""

import math
from itertools import combinations

import numpy as np
from dolfinx import fem

from annelid.geometry.body import Body, IntArray
from annelid.geometry.errors import InputError
from annelid.solver.assembly.constraints import Constraints, Fixed, Tie
from annelid.solver.assembly.rigid_motions import floating
from annelid.solver.energy.problem import Problem
from annelid.solver.model.parts import Support

_TOUCH = 1e-9  # mm; nodes closer to the axis lie on it


def constraints_of(body: Body, supports: tuple, *, axis_is_fixed: bool = True) -> Constraints:
    """Translate supports, the axis and the sides of a sector.

    Args:
        body: The meshed part.
        supports: ``Support`` records.
        axis_is_fixed: Keep nodes on the axis there (always right for a body of revolution).

    Raises:
        InputError: A ``symmetric`` surface is not plane or not square to an axis, or a plate shares nodes
            with a surface that is held along the axis.
    """
    last = body.points.shape[1] - 1
    fixed: list[Fixed] = []
    ties: list[Tie] = []
    plates: list[IntArray] = []
    for support in supports:
        nodes = body.surface_nodes(support.region)
        if support.hold == "all":
            fixed += [Fixed("", i, nodes) for i in range(last)] + [Fixed(support.region, last, nodes)]
        elif support.hold == "axial":
            fixed.append(Fixed(support.region, last, nodes))
        elif support.hold == "radial":
            fixed += [Fixed("", i, nodes) for i in range(last)]
        elif support.hold == "symmetric":
            fixed.append(Fixed("", _plane_component(body, support.region, nodes), nodes))
        elif support.hold not in ("free", "floating"):
            plates.append(nodes)
            if support.hold == "plate all":
                fixed += [Fixed("", i, nodes) for i in range(last)]
    ties += [_plate(nodes, last) for nodes in _merged(plates)]
    _check_plates(ties, fixed, last)
    if axis_is_fixed:
        fixed += _axis(body, last)
    for side in ("side_low", "side_high"):
        if side in body.surfaces:
            _side(body, side, fixed, ties)
    for support in supports:
        if support.hold == "floating":
            fixed += floating(body, support.region, fixed, ties)
    return Constraints(tuple(fixed), tuple(ties))


def moved_together(body: Body, supports: tuple) -> list[tuple[str, str]]:
    """Pairs of supports that hold the axial motion of common nodes, so that they must move alike."""
    last = body.points.shape[1] - 1
    held = {
        support.region: body.surface_nodes(support.region)
        for support in supports
        if support.hold in ("all", "axial") or _stays_along_axis(body, support, last)
    }
    return [(a, b) for a, b in combinations(held, 2) if np.intersect1d(held[a], held[b]).size]


def _stays_along_axis(body: Body, support: Support, last: int) -> bool:
    if support.hold != "symmetric":
        return False
    return _plane_component(body, support.region, body.surface_nodes(support.region)) == last


def _axis(body: Body, last: int) -> list[Fixed]:
    if body.model == "axisymmetric":
        on_axis = np.flatnonzero(np.abs(body.points[:, 0]) < _TOUCH)
    elif body.model == "sector":
        on_axis = np.flatnonzero(np.hypot(body.points[:, 0], body.points[:, 1]) < _TOUCH)
    else:
        return []
    return [Fixed("", i, on_axis) for i in range(last)] if len(on_axis) else []


def _side(body: Body, side: str, fixed: list[Fixed], ties: list[Tie]) -> None:
    """Symmetry plane through the axis: no motion across it; a plane off the axes ties u_Y to u_X."""
    nodes = body.surface_nodes(side)
    r = np.hypot(body.points[nodes, 0], body.points[nodes, 1])
    outermost = body.points[nodes[np.argmax(r)]]
    angle = math.atan2(outermost[1], outermost[0])
    if abs(math.sin(angle)) < 1e-9:
        fixed.append(Fixed("", 1, nodes))
    elif abs(math.cos(angle)) < 1e-9:
        fixed.append(Fixed("", 0, nodes))
    else:
        off = nodes[r > _TOUCH]
        pair = np.stack([off, np.ones_like(off)], axis=1)
        ties.append(Tie(pair, np.stack([off, np.zeros_like(off)], axis=1), math.tan(angle)))


def _merged(plates: list[IntArray]) -> list[IntArray]:
    """Node sets of plates, those that share an edge made one."""
    apart: list[IntArray] = []
    for nodes in plates:
        touching = [other for other in apart if np.intersect1d(other, nodes).size]
        apart = [other for other in apart if not np.intersect1d(other, nodes).size]
        apart.append(np.unique(np.concatenate([nodes, *touching])))
    return apart


def _check_plates(ties: list[Tie], fixed: list[Fixed], component: int) -> None:
    for tie in ties:
        nodes = np.concatenate([tie.slaves[:, 0], tie.masters[:1, 0]])
        for held in fixed:
            if held.component == component and np.intersect1d(held.nodes, nodes).size:
                raise InputError(
                    f"a plate shares an edge with '{held.support}', which is held along the axis, so that it "
                    f"could not move; give both surfaces the same hold",
                    key=held.support,
                )


def _plate(nodes: IntArray, component: int) -> Tie:
    slaves = np.stack([nodes[1:], np.full(len(nodes) - 1, component)], axis=1)
    return Tie(slaves, np.broadcast_to(np.array([nodes[0], component]), slaves.shape).copy())


def _plane_component(body: Body, region: str, nodes: IntArray) -> int:
    spans = np.ptp(body.points[nodes], axis=0)
    component = int(np.argmin(spans))
    if spans[component] > 1e-6 * max(spans.max(), 1e-12):
        raise InputError(
            f"support '{region}': hold = 'symmetric' needs a plane surface square to an axis", key=region
        )
    return component


def local_dofs(problem: Problem, nodes: IntArray, component: int) -> IntArray:
    """Local scalar dofs (owned and ghost) of a displacement component at body nodes, int32."""
    blocks = np.flatnonzero(np.isin(problem.node_of_dof, nodes))
    return (blocks * problem.spaces[0].dofmap.index_map_bs + component).astype(np.int32)


def dirichlet(problem: Problem, fixed: Fixed, value: fem.Constant) -> fem.DirichletBC:
    """DOLFINx boundary condition of a group of fixed components."""
    dofs = local_dofs(problem, fixed.nodes, fixed.component)
    return fem.dirichletbc(value, dofs, problem.spaces[0].sub(fixed.component))
