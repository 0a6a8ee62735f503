# SPDX-License-Identifier: MIT
"""A wall gets caps: discs bonded to its ends, meshed to fit them, so that its lumen is closed."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from geometry.body import Body, FloatArray, IntArray
from geometry.cap_plan import CapPlan, cap_plan
from geometry.elements import FACETS
from geometry.extrude import Course, Thickened, thicken
from geometry.flat_mesh import BoolArray
from geometry.orient import neighbours

CAP = "cap"
"""Region of the caps."""

_CLOSE = 1e-7  # share of the radius within which two places are one
_MIRRORED = [0, 2, 1, 3, 6, 5, 4, 7, 9, 8]  # nodes of a tetra10 in a mirror


@dataclass(frozen=True, kw_only=True)
class Caps:
    """Discs at both ends of a wall.

    Attributes:
        radius: Of the discs, mm; the wall reaches as far.
        thickness: Of either, mm.
        length: Of the wall, from Z = 0 on, mm.
        along: Largest element size, mm.
        elements: Elements through the thickness.
    """

    radius: float
    thickness: float
    length: float
    along: float
    elements: int


class Bent(NamedTuple):
    """Where points of a cap that is drawn stretched lie.

    Attributes:
        position: Shape (k, 3), mm.
        natural: Gradient of the stress-free place, as ``Body.natural``, shape (k, 3, 3).
    """

    position: FloatArray
    natural: FloatArray


Bend = Callable[[FloatArray], Bent]
"""Maps stress-free points of a cap, shape (k, 3), to where they are drawn."""


def with_caps(
    body: Body, caps: Caps, *, stress_free: FloatArray | None = None, bend: Bend | None = None
) -> Body:
    """Close both ends of a wall of tetrahedra with discs.

    The faces of the wall's ends become interfaces ``layer|cap``. The caps have the surfaces ``lumen``, as the
    wall, ``end_low`` and ``end_high``, ``cap_rim``, and their share of ``side_low`` and ``side_high``. What
    stands over the wall at its ends belongs to ``outer``.

    Args:
        body: A straight wall with plane ends.
        caps: The discs.
        stress_free: Stress-free places of the nodes of a wall drawn stretched, shape (n, 3), mm.
        bend: Where its caps are drawn.
    """
    for end in ("low", "high"):
        body = _with_cap(body, caps, end, stress_free, bend)
        if stress_free is not None:
            more = np.full((len(body.points) - len(stress_free), 3), np.nan)
            stress_free = np.concatenate([stress_free, more])
    return body


def _with_cap(body: Body, caps: Caps, end: str, stress_free: FloatArray | None, bend: Bend | None) -> Body:
    facets = body.facets[body.surfaces[f"end_{end}"]]
    places = body.points if stress_free is None else stress_free
    beside = np.linalg.norm(places[facets[:, :3], :2], axis=2).max(axis=1) > caps.radius * (1 + _CLOSE)
    plan = cap_plan(places[:, :2], facets[~beside], caps.radius, caps.along, body.copies)
    thick = thicken(plan.mesh, [Course(0.0, caps.thickness, caps.elements, CAP, CAP)], width=1.0, merge=False)
    flat, known = _fitted(thick, plan, caps.radius)
    level = -thick.depth if end == "low" else caps.length + thick.depth
    own = known < 0
    number = np.where(own, len(body.points) + np.cumsum(own) - 1, known)
    cells = number[thick.cells]
    if end == "low":
        cells = cells[:, _MIRRORED]
    named = _faces(thick, cells, flat, plan, caps)
    body = _grown(body, np.column_stack([flat, level])[own], end, bend)
    return _named(body, cells, end, named, beside)


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


def _grown(body: Body, added: FloatArray, end: str, bend: Bend | None) -> Body:
    """The body with the nodes of a cap, its normals along the axis."""
    out = np.zeros_like(added)
    out[:, 2] = -1.0 if end == "low" else 1.0
    radius = np.linalg.norm(added[:, :2], axis=1)
    on_axis = radius < _CLOSE * radius.max()
    way = np.where(on_axis[:, None], [1.0, 0.0], added[:, :2] / np.where(on_axis, 1.0, radius)[:, None])
    hoop = np.column_stack([-way[:, 1], way[:, 0], np.zeros(len(added))])
    assert body.hoop is not None
    bent = None if bend is None else bend(added)
    natural = {}
    if bent is not None:
        natural = {name: np.concatenate([values, bent.natural]) for name, values in body.natural.items()}
    foot = body.foot
    if foot is not None:
        foot = np.concatenate([foot, len(foot) + np.arange(len(added))])
    return replace(
        body,
        points=np.concatenate([body.points, added if bent is None else bent.position]),
        normal=np.concatenate([body.normal, out]),
        hoop=np.concatenate([body.hoop, hoop]),
        natural=natural,
        foot=foot,
    )


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
