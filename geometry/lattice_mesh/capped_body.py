# SPDX-License-Identifier: MIT
"""A wall gets caps: discs bonded to its ends, meshed to fit them, so that its lumen is closed."""

from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import FACETS
from annelid.geometry.lattice_mesh.cap_mesh import CapPlan, cap_plan
from annelid.geometry.lattice_mesh.extrusion import Course, Thickened, thicken
from annelid.geometry.lattice_mesh.flat_triangles import BoolArray
from annelid.geometry.lattice_mesh.inflated_cap import InflatedCap
from annelid.geometry.meshing.orientation import neighbours

CAP = "cap"
"""Region of the caps."""

_ENDS = ("low", "high")
_CLOSE = 1e-7  # share of the radius within which two places are one
_MIRRORED = [0, 2, 1, 3, 6, 5, 4, 7, 9, 8]  # nodes of a tetra10 in a mirror


@dataclass(frozen=True, kw_only=True)
class Caps:
    """Discs at both ends of a wall.

    Attributes:
        radius: Of the discs, stress-free, mm; the wall reaches as far.
        thickness: Of either, mm.
        length: Of the wall, from Z = 0 on, mm.
        along: Largest element size, mm.
        elements: Elements through the thickness.
        inflated: The low and the high cap, of a wall that is drawn as inflated.
    """

    radius: float
    thickness: float
    length: float
    along: float
    elements: int
    inflated: tuple[InflatedCap, InflatedCap] | None = None


def with_caps(body: Body, caps: Caps) -> Body:
    """Close both ends of a wall of tetrahedra with discs.

    The faces of the wall's ends become interfaces ``layer|cap``. The caps have the surfaces ``lumen``, as the
    wall, ``end_low`` and ``end_high``, ``cap_rim``, and their share of ``side_low`` and ``side_high``. What
    stands over the wall at its ends belongs to ``outer``.

    Args:
        body: A straight wall with plane ends, or one drawn as it was inflated with its caps.
        caps: The discs.
    """
    for end in _ENDS:
        body = _with_cap(body, caps, end)
    return body


def _with_cap(body: Body, caps: Caps, end: str) -> Body:
    """The body with one cap."""
    places = body.points if body.stress_free_points is None else body.stress_free_points
    facets = body.facets[body.surfaces[f"end_{end}"]]
    beside = np.linalg.norm(places[facets[:, :3], :2], axis=2).max(axis=1) > caps.radius * (1 + _CLOSE)
    plan = cap_plan(places[:, :2], facets[~beside], caps.radius, caps.along, body.multiplicity)
    course = Course(0.0, caps.thickness, caps.elements, CAP, CAP)
    thick = thicken(plan.mesh, [course], width=1.0, merge=False)
    flat, known = _fitted(thick, plan, caps.radius)
    own = known < 0
    cells = np.where(own, len(body.points) + np.cumsum(own) - 1, known)[thick.cells]
    if end == "low":
        cells = cells[:, _MIRRORED]
    named = _faces(thick, cells, flat, plan, caps)
    level = -thick.depth if end == "low" else caps.length + thick.depth
    added = np.column_stack([flat, level])[own]
    places = np.concatenate([places, added])
    if caps.inflated is None:
        return _named(_grown(body, added, end), cells, end, named, beside)
    inflated = caps.inflated[_ENDS.index(end)]
    body = _named(_grown(body, inflated.present(added), None), cells, end, named, beside)
    return _stretched(body, cells, inflated, places)


def _fitted(thick: Thickened, plan: CapPlan, radius: float) -> tuple[FloatArray, IntArray]:
    """Flat positions, mid-side nodes where the wall's are, and nodes of the wall, -1 for others."""
    from scipy.spatial import cKDTree

    flat, known = thick.flat.copy(), np.full(len(thick.flat), -1, dtype=np.int64)
    distance, nearest = (np.asarray(found) for found in cKDTree(plan.chords).query(flat))
    at_wall = distance < _CLOSE * radius
    flat[at_wall] = plan.places[nearest[at_wall]]
    bonded = at_wall & (thick.depth == 0.0)
    known[bonded] = plan.nodes[nearest[bonded]]
    return flat, known


def _faces(
    thick: Thickened, cells: IntArray, flat: FloatArray, plan: CapPlan, caps: Caps
) -> dict[str, IntArray]:
    """The free facets of a cap by the names of their surfaces, ``end`` for its far face."""
    local = FACETS["tetra10"][1]
    before, facets = (every[:, local].reshape(-1, local.shape[1]) for every in (thick.cells, cells))
    _, first, count = np.unique(np.sort(facets[:, :3], axis=1), axis=0, return_index=True, return_counts=True)
    free = first[count == 1]
    depth, place = thick.depth[before[free]], flat[before[free]]
    near, far = np.all(depth == 0.0, axis=1), np.all(depth == caps.thickness, axis=1)
    bonded = near & np.isin(facets[free][:, :3], plan.nodes).all(axis=1)
    side_low, side_high = (plan.on_plane(place, side) for side in ("low", "high"))
    rest = ~(near | far | side_low | side_high)
    masks = {
        "lumen": near & ~bonded,
        "end": far,
        "cap_rim": rest,
        "side_low": side_low,
        "side_high": side_high,
    }
    return {name: facets[free[mask]] for name, mask in masks.items() if mask.any()}


def _grown(body: Body, added: FloatArray, end: str | None) -> Body:
    """The body with the nodes of a cap, its normals along the axis out of an end; ``None``: off the axis.

    A natural stretch is interpolated by its components, for which the wall directions must not turn from
    those of the wall to others within one cell.
    """
    radius = np.linalg.norm(added[:, :2], axis=1)
    on_axis = radius < _CLOSE * radius.max()
    way = np.where(on_axis[:, None], [1.0, 0.0], added[:, :2] / np.where(on_axis, 1.0, radius)[:, None])
    flat = np.zeros((len(added), 1))
    hoop = np.column_stack([-way[:, 1], way[:, 0], flat])
    out = np.column_stack([way, flat])
    if end is not None:
        out = np.tile([0.0, 0.0, -1.0 if end == "low" else 1.0], (len(added), 1))
    assert body.hoop is not None
    foot = body.base_node
    return replace(
        body,
        points=np.concatenate([body.points, added]),
        normal=np.concatenate([body.normal, out]),
        hoop=np.concatenate([body.hoop, hoop]),
        base_node=None if foot is None else np.concatenate([foot, len(foot) + np.arange(len(added))]),
    )


def _stretched(body: Body, cells: IntArray, inflated: InflatedCap, places: FloatArray) -> Body:
    """The body with the natural stretch of a cap at its nodes, in the wall directions there."""
    natural = {name: _padded(values, len(body.points)) for name, values in body.stress_free_gradient.items()}
    nodes = np.unique(cells)
    assert body.hoop is not None
    normal, hoop = body.normal[nodes], body.hoop[nodes]
    frame = np.stack([normal, hoop, np.cross(normal, hoop)], axis=1)
    values = natural.setdefault(CAP, _padded(np.empty((0, 3, 3)), len(body.points)))
    values[nodes] = frame @ inflated.natural(places[nodes]) @ np.swapaxes(frame, 1, 2)
    return replace(body, stress_free_gradient=natural, stress_free_points=places)


def _padded(values: FloatArray, count: int) -> FloatArray:
    return np.concatenate([values, np.tile(np.eye(3), (count - len(values), 1, 1))])


def _named(body: Body, cells: IntArray, end: str, named: dict[str, IntArray], beside: BoolArray) -> Body:
    """The body with the cells and facets of a cap; faces of the wall's end become interfaces."""
    old = body.surfaces[f"end_{end}"]
    region = np.empty(len(body.cells), dtype=object)
    for name, members in body.regions.items():
        region[members] = name
    owner = neighbours(body.cell_type, body.cells, body.facets[old]).cell_facet // 4
    found = {name: [members] for name, members in body.surfaces.items() if name != f"end_{end}"}
    found.setdefault("outer", []).append(old[beside])
    for name in dict.fromkeys(region[owner[~beside]]):
        found.setdefault(f"{name}|{CAP}", []).append(old[~beside & (region[owner] == name)])
    count = len(body.facets)
    for name, facets in named.items():
        key = f"end_{end}" if name == "end" else name
        found.setdefault(key, []).append(count + np.arange(len(facets)))
        count += len(facets)
    caps = body.regions.get(CAP, np.empty(0, dtype=np.int64))
    numbers = np.concatenate([caps, len(body.cells) + np.arange(len(cells))])
    return replace(
        body,
        cells=np.concatenate([body.cells, cells]),
        regions={**{n: m for n, m in body.regions.items() if n != CAP}, CAP: numbers},
        facets=np.concatenate([body.facets, *named.values()]),
        surfaces={name: np.concatenate(parts) for name, parts in found.items()},
    )
