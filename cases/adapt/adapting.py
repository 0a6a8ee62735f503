# SPDX-License-Identifier: MIT
"""Choosing the mesh of a case: judge, divide rows and columns of elements, judge again."""

import math
from collections.abc import Callable, Sequence

import numpy as np

from annelid.cases.adapt.goals import Goal, goals_of
from annelid.cases.adapt.judging import JudgedMesh, judged_mesh
from annelid.cases.adapt.sizes import divided_edges, growing_edges, next_pieces, with_lines
from annelid.cases.convert.body import bands_and_lines_of, body_of
from annelid.cases.convert.cost import Cost, cost_of
from annelid.cases.convert.shape import first_mesh_size, shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.units import as_read
from annelid.cases.validate.reported import known_quantities
from annelid.geometry.body import FloatArray
from annelid.geometry.meshing.graded import edges_of
from annelid.geometry.meshing.layout import lay_out
from annelid.geometry.meshing.mapped_plane import MappedPlane
from annelid.results.verification.adaptation import Adaptation, AdaptedQuantity, MeshPass
from annelid.solver.display import digits

__all__ = ["MOST_UNKNOWNS", "adapted", "with_edges"]

MOST_UNKNOWNS = 100_000
"""Unknowns beyond which no mesh is tried."""
_MOST_PASSES = 10
_MOST_BLIND = 3  # first meshes on which no error can be estimated
_MOST_IDLE = 4  # successive meshes without a smaller error than any before
_FIRST = 3.0  # lengths sqrt(R t) of the first elements at ends and electrode edges
_FALLS = 0.7  # of the largest error of the mesh before: below it, the parts of rows are believed
_PUSH = 4.0  # least factor by which the error is to fall on the next mesh, after one that did not help
_SLOWEST, _FASTEST = 0.3, 2.0  # believed powers of the number of unknowns with which the error falls

Edges = tuple[FloatArray, FloatArray]


def adapted(case: Case, *, say: Callable[[str], None] = lambda _: None) -> tuple[Case, Adaptation]:
    """Choose the mesh of a resolved case that has an accuracy in place of sizes.

    Args:
        case: The case.
        say: Called with one line for each mesh.

    Returns:
        The case with the element edges of the mesh, and how it was chosen.

    Raises:
        NoEquilibrium: Not even the unloaded state was found.
    """
    accuracy = case.mesh.accuracy
    assert accuracy is not None
    goals, notes = goals_of(case, known_quantities(case))
    edges, passes, before = _first_edges(case), list[MeshPass](), None
    while True:
        sized = with_edges(case, edges)
        mesh, quantities = _judged(sized, goals, accuracy)
        passes.append(_pass(edges, mesh, quantities))
        say(_line(passes[-1], accuracy))
        settled = mesh.end.reached or (before is not None and mesh.end.agrees(before, accuracy))
        before = mesh.end
        following = _next_edges(edges, mesh, quantities, accuracy, settled=settled, push=_push(passes))
        large = following is not None and _unknowns(following, edges, mesh) > MOST_UNKNOWNS
        blind = len(passes) == _MOST_BLIND and all(math.isnan(p.share) for p in passes)
        idle = _is_idle(passes, accuracy)
        if following is None or large or blind or idle or len(passes) == _MOST_PASSES:
            break
        edges = following
    why = _why(len(passes), large=large, idle=idle)
    text = _result(passes, accuracy, following is None, why, cost_of(sized, body_of(sized)))
    every = tuple(dict.fromkeys((*notes, *mesh.notes)))
    return sized, Adaptation(
        accuracy,
        following is None,
        text,
        tuple(quantities),
        tuple(passes),
        sized.mesh.edges_along,
        sized.mesh.edges_through,
        tuple(float(y) for y in _plain(case).y),
        every,
    )


def _judged(sized: Case, goals: Sequence[Goal], accuracy: float) -> tuple[JudgedMesh, list[AdaptedQuantity]]:
    """Judge a mesh: margins, whose search takes longer than a path, only if all else is accurate."""
    plain = [goal for goal in goals if not goal.is_margin]
    mesh = judged_mesh(sized, plain)
    quantities = _quantities(mesh, goals)
    if len(plain) == len(goals) or any(q.share > accuracy for q in quantities) or (plain and not quantities):
        return mesh, quantities
    mesh = judged_mesh(sized, goals)
    return mesh, _quantities(mesh, goals)


def _pass(edges: Edges, mesh: JudgedMesh, quantities: Sequence[AdaptedQuantity]) -> MeshPass:
    columns, rows = (len(e) - 1 for e in edges)
    worst = max(quantities, key=lambda q: q.share, default=None)
    share, name = (math.nan, "") if worst is None else (worst.share, worst.quantity)
    return MeshPass(rows, columns, mesh.unknowns, share, name)


def with_edges(case: Case, edges: Edges) -> Case:
    """Return a case whose mesh has given element edges through the wall and along it, mm."""
    through, along = (tuple(as_read(float(edge)) for edge in part) for part in edges)
    update = {
        "accuracy": None,
        "along": as_read(float(np.diff(edges[1]).max())),
        "through": max(1, (len(through) - 1) // len(case.shape.layers)),
        "edges_along": along,
        "edges_through": through,
    }
    return case.model_copy(update={"mesh": case.mesh.model_copy(update=update)})


def _first_edges(case: Case) -> Edges:
    """Edges of the first mesh: elements grow away from ends and electrode edges, where bending decays."""
    shape = shape_of(case)
    plain, mapped = _plain(case), lay_out(shape, first_mesh_size(shape), *bands_and_lines_of(case))
    spans = zip(plain.y, plain.y[1:], plain.rows, strict=False)
    inside = [growing_edges(a, b, _FIRST * shape.bending_length, (b - a) / n)[:-1] for a, b, n in spans]
    edges = np.append(np.concatenate(inside), plain.y[-1])
    return edges_of(mapped)[0], with_lines(edges, np.setdiff1d(mapped.y, plain.y), keep=plain.y)


def _plain(case: Case) -> MappedPlane:
    """The first mesh without lines at sections."""
    shape, (bands, _) = shape_of(case), bands_and_lines_of(case)
    return lay_out(shape, first_mesh_size(shape), bands, [])


def _quantities(mesh: JudgedMesh, goals: Sequence[Goal]) -> list[AdaptedQuantity]:
    found = []
    required = {goal[:2]: goal for goal in goals}
    for error in mesh.errors:
        if not math.isfinite(error.bar):
            continue  # it has no value on the finer mesh
        goal = required.get((error.quantity, error.stage), Goal(error.quantity, error.stage))
        numbers = error.value, error.error, error.bar, error.bar / goal.scale(error.value)
        found.append(AdaptedQuantity(error.quantity, error.stage, goal.unit, *numbers))
    return found


def _next_edges(
    edges: Edges,
    mesh: JudgedMesh,
    quantities: Sequence[AdaptedQuantity],
    accuracy: float,
    *,
    settled: bool,
    push: float,
) -> Edges | None:
    """Edges of the next mesh; ``None`` if this one is accurate enough.

    Where nothing can be judged, or a path ends early in another way than on the mesh before, all elements are
    halved. The error should fall at least by the factor ``push``.
    """
    excess = max((q.share for q in quantities), default=math.inf) / accuracy
    if excess <= 1 and settled:
        return None
    if not 1 < excess < math.inf:
        through, along = (divided_edges(e, np.full(len(e) - 1, 2), smooth=False) for e in edges)
        return through, along
    judged = [error for error in mesh.errors if math.isfinite(error.bar)]
    missed = [(e, q) for e, q in zip(judged, quantities, strict=True) if q.share > accuracy]
    rows = np.stack([_scaled(error.along, quantity) for error, quantity in missed]).max(axis=0)
    columns = np.stack([_scaled(error.through, quantity) for error, quantity in missed]).max(axis=0)
    pieces = next_pieces(rows, columns, max(excess, push))
    return divided_edges(edges[0], pieces[1], smooth=False), divided_edges(edges[1], pieces[0])


def _push(passes: Sequence[MeshPass]) -> float:
    """Least factor of the next mesh: errors of values that jump from node to node fall slowly at first."""
    shares = [p.share for p in passes[-2:]]
    return _PUSH if len(shares) > 1 and shares[1] > _FALLS * shares[0] else 1.0


def _why(meshes: int, *, large: bool, idle: bool) -> str:
    """Why no further mesh was tried."""
    if large:
        return f"more than the {MOST_UNKNOWNS} that are tried"
    more = f", of which the last {_MOST_IDLE} had no smaller error than one before" if idle else ""
    return f"after {meshes} meshes{more}"


def _is_idle(passes: Sequence[MeshPass], accuracy: float) -> bool:
    """Whether errors no longer fall, as those of values that jump from node to node may do."""
    shares = [math.inf if math.isnan(p.share) else p.share for p in passes]
    last, earlier = shares[-_MOST_IDLE:], shares[:-_MOST_IDLE]
    return bool(earlier) and math.isfinite(min(earlier)) and min(last) >= max(min(earlier), accuracy)


def _scaled(part: FloatArray, quantity: AdaptedQuantity) -> FloatArray:
    """What rows add to an error, so that errors of several quantities can be compared."""
    return np.abs(part) * quantity.share / quantity.bar


def _unknowns(following: Edges, edges: Edges, mesh: JudgedMesh) -> float:
    """Expected number of unknowns of the next mesh."""
    cells = [math.prod(len(e) - 1 for e in both) for both in (following, edges)]
    return max(mesh.unknowns, 1) * cells[0] / cells[1]


def _line(last: MeshPass, accuracy: float) -> str:
    size = f"{last.rows} x {last.columns} elements, {last.unknowns} unknowns"
    if math.isnan(last.share):
        return f"mesh of {size}: no error could be estimated"
    return (
        f"mesh of {size}: {last.quantity} within {digits(100 * last.share, 2)} % "
        f"(allowed {digits(100 * accuracy, 2)} %)"
    )


def _result(passes: Sequence[MeshPass], accuracy: float, reached: bool, why: str, cost: Cost) -> str:
    last, allowed = passes[-1], f"{digits(100 * accuracy, 2)} %"
    size = f"{last.rows} x {last.columns} elements ({last.unknowns} unknowns)"
    if reached:
        return (
            f"the mesh of {size} was chosen for an accuracy of {allowed}: the largest estimated error is "
            f"{digits(100 * last.share, 2)} %, of {last.quantity}"
        )
    if math.isnan(last.share):
        return f"no error could be estimated on the mesh of {size}: nothing is known about its accuracy"
    power = _SLOWEST
    earlier = [p for p in passes[:-1] if p.share > last.share and p.unknowns < last.unknowns]
    if earlier:
        fall = math.log(earlier[-1].share / last.share) / math.log(last.unknowns / earlier[-1].unknowns)
        power = min(max(fall, _SLOWEST), _FASTEST)
    factor = (last.share / accuracy) ** (1 / power)
    more = cost.scaled(factor)
    return (
        f"the accuracy of {allowed} was not reached: with {size} the error of {last.quantity} may be "
        f"{digits(100 * last.share, 2)} %; it would take about {digits(last.unknowns * factor, 2)} unknowns, "
        f"{more} ({why})"
    )
