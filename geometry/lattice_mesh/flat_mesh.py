# SPDX-License-Identifier: MIT
"""Triangles of a flat pattern that repeats, fitted to its struts and matching across its seams."""

import itertools
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InputError
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh
from annelid.geometry.meshing.plane_mesh import gmsh_session

_STARTS = (0.0, 0.31, 0.17, 0.43, 0.11, 0.37)  # shares of the period at which the seam is tried
_TRIANGLE = 2  # gmsh's number of the three-node triangle
_SEAM = 1e-6  # share of the period within which a point lies on a seam
_SAME = 1e-7  # of an outline's size: corners nearer than this make no line
_PLAIN = 0.03  # of the element size: corners that change the outline by less are dropped
_IN_PLATES = 8.0  # largest over smallest size where only struts and plates are meshed
_NEAR = 0.5  # fine elements beside the outline beyond which elements begin to grow
_GROWTH = 1.0  # distance over which they grow, over the growth
_SAMPLES = 60  # points of each curve from which distances are taken


Outline = tuple[FloatArray, tuple[FloatArray, ...]]
"""A polygon: its outer corners, shape (k, 2), and the corners of its holes."""


def mesh_flat(
    footprint: Sequence[Outline],
    period: tuple[float, float],
    *,
    fine: float,
    coarse: float | None = None,
    seams: str = "xy",
    cuts: Sequence[float] = (),
    swell: Callable[[float, float], float] | None = None,
    detail: float | None = None,
) -> FlatMesh:
    """Triangulate one period of a pattern.

    The period begins at (0, 0); across axes with seams it may begin elsewhere, where the seam meets no corner
    of the outline.

    Args:
        footprint: Polygons, each its outer corners (k, 2) and those of its holes; where they overlap they are
            one. They may reach beyond the period, where they are cut off.
        period: Size of the period along x and y.
        fine: Element size on the struts.
        coarse: Largest element size between the struts; ``None`` leaves the space between them empty.
        seams: Which seams must match their opposite, node by node: ``"xy"``, ``"x"``, ``"y"`` or ``""``.
        cuts: Places along y at which edges of triangles shall lie.
        detail: Width of the narrowest strut, where ``fine`` is larger.
        swell: Factor of all element sizes at a place (the surface is not as large everywhere).

    Raises:
        InputError: If a size is not positive, the footprint leaves the period empty, or the pattern does not
            fit to itself across a seam.
    """
    within("fine", fine, above=0.0)
    for share in _STARTS:
        origin = tuple(
            share * size if name in seams else 0.0 for name, size in zip("xy", period, strict=True)
        )
        outlines = _united(footprint, period, origin, _PLAIN * min(fine, detail or fine), seams)
        if not outlines:
            raise InputError("lattice: no strut lies within the period of the pattern", key="footprint")
        with gmsh_session() as gmsh:
            every, struts = _draw(gmsh, outlines, period, cuts, fill=coarse is not None)
            if all(_match_seams(gmsh, period, axis) for axis, name in enumerate("xy") if name in seams):
                _size(gmsh, struts, fine, coarse if coarse is not None else _IN_PLATES * fine)
                if swell is not None:
                    gmsh.model.mesh.setSizeCallback(lambda _dim, _tag, x, y, _z, size: size * swell(x, y))
                gmsh.model.mesh.generate(2)
                return _read(gmsh, every, struts, (origin[0], origin[1]))
    raise InputError(
        f"lattice: the pattern does not fit to itself across its seams; {period[0]:.4g} by {period[1]:.4g} "
        "is not one of its periods",
        key="period",
    )


def _united(
    footprint: Sequence[Outline],
    period: tuple[float, float],
    origin: tuple[float, ...],
    slip: float,
    seams: str,
) -> list[Outline]:
    """The polygons within the period without overlaps, free of gaps, spikes and steps like ``slip``.

    Copies beyond the seams are there while it is tidied, so that both sides of a seam are treated alike. All
    rings turn counter-clockwise: gmsh takes a hole away only if its ring turns like the outer one.
    """
    import shapely
    from shapely import affinity

    one = shapely.union_all([shapely.Polygon(outer, holes) for outer, holes in footprint])
    turns = [(-1, 0, 1, 2) if name in seams else (0,) for name in "xy"]
    moves = [(i * period[0] - origin[0], j * period[1] - origin[1]) for i in turns[0] for j in turns[1]]
    every = shapely.union_all([affinity.translate(one, *move) for move in moves], grid_size=slip * 1e-6)
    for step in (slip, -2 * slip, slip):
        every = shapely.buffer(every, step, join_style="mitre", mitre_limit=3.0)
    plain = shapely.simplify(shapely.intersection(every, shapely.box(0.0, 0.0, *period)), slip)
    return [(outer, tuple(holes)) for outer, *holes in _rings(plain, slip)]


def _rings(shape: Any, slip: float) -> list[list[FloatArray]]:
    """The rings of each polygon of a set, outer one first, specks left out."""
    import shapely

    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > slip**2]
    return [[_ccw(ring) for ring in (part.exterior, *part.interiors)] for part in parts]


def _ccw(ring: Any) -> FloatArray:
    corners = np.asarray(ring.coords, dtype=np.float64)[:-1]
    return corners.copy() if ring.is_ccw else corners[::-1].copy()


def _draw(
    gmsh: Any,
    footprint: Sequence[Outline],
    period: tuple[float, float],
    cuts: Sequence[float],
    *,
    fill: bool,
) -> tuple[list[int], list[int]]:
    """Draw polygons within the period, and the space between; returns tags of all surfaces, of the struts."""
    occ = gmsh.model.occ
    faces = [(2, _polygon(occ, polygon)) for polygon in footprint]
    edges = _edges(period[1], cuts)
    sheet = [
        (2, occ.addRectangle(0.0, low, 0.0, period[0], high - low)) for low, high in itertools.pairwise(edges)
    ]
    found, made = occ.fragment(sheet, faces)
    within_sheet = {tag for pieces in made[: len(sheet)] for dim, tag in pieces if dim == 2}
    covered = {tag for pieces in made[len(sheet) :] for dim, tag in pieces if dim == 2}
    if not fill:
        within_sheet &= covered
    occ.remove([(2, tag) for dim, tag in found if dim == 2 and tag not in within_sheet], recursive=True)
    occ.synchronize()
    return sorted(within_sheet), sorted(within_sheet & covered)


def _edges(height: float, cuts: Sequence[float]) -> FloatArray:
    """Ends and cuts of the period along y, each once, those that almost coincide taken as one."""
    edges = np.sort(np.concatenate([[0.0, height], [cut for cut in cuts if 0.0 < cut < height]]))
    keep = np.concatenate([[True], np.diff(edges) > _SEAM * height])
    edges = edges[keep]
    edges[-1] = height
    return edges


def _polygon(occ: Any, outline: Outline) -> int:
    outer, holes = outline
    return int(occ.addPlaneSurface([_loop(occ, ring) for ring in (outer, *holes)]))


def _loop(occ: Any, ring: FloatArray) -> int:
    apart = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1) > _SAME * np.ptp(ring)
    points = [occ.addPoint(float(x), float(y), 0.0) for x, y in ring[apart]]
    lines = [occ.addLine(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)]
    return int(occ.addCurveLoop(lines))


def _match_seams(gmsh: Any, period: tuple[float, float], axis: int) -> bool:
    """Tie the mesh of the far seam across an axis to that of the near one; False if they do not match."""
    near, far = (_on_seam(gmsh, period, axis, place) for place in (0.0, period[axis]))
    slip = _SEAM * max(period)
    if len(near) != len(far) or any(
        np.abs(a - b).max() > slip for (a, _), (b, _) in zip(near, far, strict=True)
    ):
        return False
    shift = np.eye(4)
    shift[axis, 3] = period[axis]
    if near:
        gmsh.model.mesh.setPeriodic(1, [t for _, t in far], [t for _, t in near], shift.ravel().tolist())
    return True


def _on_seam(gmsh: Any, period: tuple[float, float], axis: int, place: float) -> list[tuple[FloatArray, int]]:
    """Curves on a seam with their ends along it, in order."""
    slip = _SEAM * max(period)
    low, high = [-slip, -slip, -slip], [period[0] + slip, period[1] + slip, slip]
    low[axis], high[axis] = place - slip, place + slip
    found = []
    for _, tag in gmsh.model.getEntitiesInBoundingBox(*low, *high, 1):
        box = gmsh.model.getBoundingBox(1, tag)
        found.append((np.array([box[1 - axis], box[4 - axis]]), int(tag)))
    return sorted(found, key=lambda entry: float(entry[0].sum()))


def _size(gmsh: Any, struts: list[int], fine: float, coarse: float) -> None:
    """Elements of the fine size along the outline of the struts, growing away from it on both sides."""
    for name in ("MeshSizeExtendFromBoundary", "MeshSizeFromPoints", "MeshSizeFromCurvature"):
        gmsh.option.setNumber(f"Mesh.{name}", 0)
    field = gmsh.model.mesh.field
    outline = gmsh.model.getBoundary([(2, tag) for tag in struts], combined=True, oriented=False)
    distance, grown = field.add("Distance"), field.add("Threshold")
    field.setNumbers(distance, "CurvesList", [tag for _, tag in outline])
    field.setNumber(distance, "Sampling", _SAMPLES)
    largest = max(coarse, fine)
    for key, value in (
        ("InField", distance),
        ("SizeMin", fine),
        ("SizeMax", largest),
        ("DistMin", _NEAR * fine),
        ("DistMax", _NEAR * fine + _GROWTH * (largest - fine) + 1e-9 * fine),
    ):
        field.setNumber(grown, key, value)
    field.setAsBackgroundMesh(grown)


def _read(gmsh: Any, surfaces: list[int], struts: list[int], origin: tuple[float, float]) -> FlatMesh:
    tags, coordinates, _ = gmsh.model.mesh.getNodes()
    blocks = [gmsh.model.mesh.getElementsByType(_TRIANGLE, tag)[1].astype(np.int64) for tag in surfaces]
    strut = np.repeat(np.isin(surfaces, struts), [len(block) // 3 for block in blocks])
    number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    number[tags.astype(np.int64)] = np.arange(len(tags))
    triangles = number[np.concatenate(blocks)].reshape(-1, 3)
    used, triangles = np.unique(triangles, return_inverse=True)
    points = coordinates.reshape(-1, 3)[used, :2]
    triangles = triangles.reshape(-1, 3)
    a, b, c = (points[triangles[:, i]] for i in range(3))
    turned = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0
    triangles[turned] = triangles[turned][:, [0, 2, 1]]
    every = np.arange(len(points))
    return FlatMesh(points, triangles, strut, origin, every, np.zeros_like(every), every)
