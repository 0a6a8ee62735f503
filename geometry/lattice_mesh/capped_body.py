# SPDX-License-Identifier: MIT
"""Caps on a wall: discs bonded to its ends with conforming meshes, which close the lumen."""

from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import FACETS
from annelid.geometry.lattice_mesh.cap_mesh import CapMesh, mesh_cap
from annelid.geometry.lattice_mesh.extrusion import ExtrudedMesh, Slab, extrude
from annelid.geometry.lattice_mesh.flat_triangles import BoolArray
from annelid.geometry.lattice_mesh.inflated_cap import InflatedCap
from annelid.geometry.meshing.orientation import neighbours

CAP = "cap"
"""Region of the caps."""

_ENDS = ("low", "high")
_CLOSE = 1e-7  # of the radius: points nearer than this are one point
_MIRRORED = [0, 2, 1, 3, 6, 5, 4, 7, 9, 8]  # node order of a mirrored tetra10


@dataclass(frozen=True, kw_only=True)
class EndCaps:
    """Discs at both ends of a wall.

    Attributes:
        radius: Stress-free radius of the discs, which is the outer radius of the wall, mm.
        thickness: Thickness of each disc, mm.
        length: Length of the wall, which begins at Z = 0, mm.
        along: Largest element size, mm.
        elements: Elements through the thickness.
        inflated: The low and the high cap as inflated, if the reference shape of the wall is inflated.
    """

    radius: float
    thickness: float
    length: float
    along: float
    elements: int
    inflated: tuple[InflatedCap, InflatedCap] | None = None


def with_caps(body: Body, caps: EndCaps) -> Body:
    """Close both ends of a wall of tetrahedra with discs.

    The end faces of the wall become interfaces ``layer|cap``. The caps have the surfaces ``lumen`` (together
    with the wall), ``end_low``, ``end_high``, ``cap_rim``, and their part of ``side_low`` and ``side_high``.
    End faces beyond the outer face of the wall belong to ``outer``.

    Args:
        body: A straight wall with plane ends, or a wall in the shape in which it was inflated with its caps.
        caps: The discs.
    """
    for end in _ENDS:
        body = _with_cap(body, caps, end)
    return body


def _with_cap(body: Body, caps: EndCaps, end: str) -> Body:
    """Return the body with a cap on one end."""
    places = body.points if body.stress_free_points is None else body.stress_free_points
    facets = body.facets[body.surfaces[f"end_{end}"]]
    outside = np.linalg.norm(places[facets[:, :3], :2], axis=2).max(axis=1) > caps.radius * (1 + _CLOSE)
    cap = mesh_cap(places[:, :2], facets[~outside], caps.radius, caps.along, body.multiplicity)
    slab = Slab(0.0, caps.thickness, caps.elements, CAP, CAP)
    extruded = extrude(cap.mesh, [slab], width=1.0, merge=False)
    flat, known = _matched_to_wall(extruded, cap, caps.radius)
    own = known < 0
    cells = np.where(own, len(body.points) + np.cumsum(own) - 1, known)[extruded.cells]
    if end == "low":
        cells = cells[:, _MIRRORED]
    named = _faces(extruded, cells, flat, cap, caps)
    height = -extruded.depth if end == "low" else caps.length + extruded.depth
    added = np.column_stack([flat, height])[own]
    places = np.concatenate([places, added])
    if caps.inflated is None:
        return _with_cells(_with_nodes(body, added, end), cells, end, named, outside)
    inflated = caps.inflated[_ENDS.index(end)]
    body = _with_cells(_with_nodes(body, inflated.inflated_points(added), None), cells, end, named, outside)
    return _with_gradient(body, cells, inflated, places)


def _matched_to_wall(extruded: ExtrudedMesh, cap: CapMesh, radius: float) -> tuple[FloatArray, IntArray]:
    """Flat positions with mid-side nodes as in the wall, and the node of the wall at each, or -1."""
    from scipy.spatial import cKDTree

    flat, known = extruded.flat.copy(), np.full(len(extruded.flat), -1, dtype=np.int64)
    distance, nearest = (np.asarray(values) for values in cKDTree(cap.straight).query(flat))
    at_wall = distance < _CLOSE * radius
    flat[at_wall] = cap.curved[nearest[at_wall]]
    bonded = at_wall & (extruded.depth == 0.0)
    known[bonded] = cap.nodes[nearest[bonded]]
    return flat, known


def _faces(
    extruded: ExtrudedMesh, cells: IntArray, flat: FloatArray, cap: CapMesh, caps: EndCaps
) -> dict[str, IntArray]:
    """The free facets of a cap by the names of their surfaces; ``end`` is its outer face."""
    local = FACETS["tetra10"][1]
    before, facets = (every[:, local].reshape(-1, local.shape[1]) for every in (extruded.cells, cells))
    _, first, count = np.unique(np.sort(facets[:, :3], axis=1), axis=0, return_index=True, return_counts=True)
    free = first[count == 1]
    depth, place = extruded.depth[before[free]], flat[before[free]]
    near, far = np.all(depth == 0.0, axis=1), np.all(depth == caps.thickness, axis=1)
    bonded = near & np.isin(facets[free][:, :3], cap.nodes).all(axis=1)
    side_low, side_high = (cap.on_plane(place, side) for side in ("low", "high"))
    rest = ~(near | far | side_low | side_high)
    masks = {
        "lumen": near & ~bonded,
        "end": far,
        "cap_rim": rest,
        "side_low": side_low,
        "side_high": side_high,
    }
    return {name: facets[free[mask]] for name, mask in masks.items() if mask.any()}


def _with_nodes(body: Body, added: FloatArray, end: str | None) -> Body:
    """Return the body with the nodes of a cap.

    The normals at these nodes point along the axis out of the given end. For ``None`` they point away from
    the axis, because a stress-free gradient is interpolated by its components, and so the wall directions
    must not change abruptly within a cell.
    """
    radius = np.linalg.norm(added[:, :2], axis=1)
    on_axis = radius < _CLOSE * radius.max()
    radial = np.where(on_axis[:, None], [1.0, 0.0], added[:, :2] / np.where(on_axis, 1.0, radius)[:, None])
    flat = np.zeros((len(added), 1))
    hoop = np.column_stack([-radial[:, 1], radial[:, 0], flat])
    outward = np.column_stack([radial, flat])
    if end is not None:
        outward = np.tile([0.0, 0.0, -1.0 if end == "low" else 1.0], (len(added), 1))
    assert body.hoop is not None
    base = body.base_node
    return replace(
        body,
        points=np.concatenate([body.points, added]),
        normal=np.concatenate([body.normal, outward]),
        hoop=np.concatenate([body.hoop, hoop]),
        base_node=None if base is None else np.concatenate([base, len(base) + np.arange(len(added))]),
    )


def _with_gradient(body: Body, cells: IntArray, inflated: InflatedCap, places: FloatArray) -> Body:
    """Return the body with the stress-free gradient at the nodes of a cap, in the wall directions there."""
    gradients = {
        name: _padded(values, len(body.points)) for name, values in body.stress_free_gradient.items()
    }
    nodes = np.unique(cells)
    assert body.hoop is not None
    normal, hoop = body.normal[nodes], body.hoop[nodes]
    frame = np.stack([normal, hoop, np.cross(normal, hoop)], axis=1)
    values = gradients.setdefault(CAP, _padded(np.empty((0, 3, 3)), len(body.points)))
    values[nodes] = frame @ inflated.stress_free_gradient(places[nodes]) @ np.swapaxes(frame, 1, 2)
    return replace(body, stress_free_gradient=gradients, stress_free_points=places)


def _padded(values: FloatArray, count: int) -> FloatArray:
    return np.concatenate([values, np.tile(np.eye(3), (count - len(values), 1, 1))])


def _with_cells(
    body: Body, cells: IntArray, end: str, named: dict[str, IntArray], outside: BoolArray
) -> Body:
    """Return the body with the cells and facets of a cap; end faces of the wall become interfaces."""
    old = body.surfaces[f"end_{end}"]
    region = np.empty(len(body.cells), dtype=object)
    for name, members in body.regions.items():
        region[members] = name
    owner = neighbours(body.cell_type, body.cells, body.facets[old]).cell_facet // 4
    surfaces = {name: [members] for name, members in body.surfaces.items() if name != f"end_{end}"}
    surfaces.setdefault("outer", []).append(old[outside])
    for name in dict.fromkeys(region[owner[~outside]]):
        surfaces.setdefault(f"{name}|{CAP}", []).append(old[~outside & (region[owner] == name)])
    count = len(body.facets)
    for name, facets in named.items():
        key = f"end_{end}" if name == "end" else name
        surfaces.setdefault(key, []).append(count + np.arange(len(facets)))
        count += len(facets)
    caps = body.regions.get(CAP, np.empty(0, dtype=np.int64))
    numbers = np.concatenate([caps, len(body.cells) + np.arange(len(cells))])
    return replace(
        body,
        cells=np.concatenate([body.cells, cells]),
        regions={**{n: m for n, m in body.regions.items() if n != CAP}, CAP: numbers},
        facets=np.concatenate([body.facets, *named.values()]),
        surfaces={name: np.concatenate(parts) for name, parts in surfaces.items()},
    )
