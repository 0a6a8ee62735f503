# SPDX-License-Identifier: MIT
"""Triangulation of one period of a flat pattern, conforming to its struts and matching at periodic edges."""

import itertools
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InputError
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh
from annelid.geometry.lattice_mesh.united_outlines import Outline, united
from annelid.geometry.meshing.fill import counter_clockwise
from annelid.geometry.meshing.mesh_size import check_count
from annelid.geometry.meshing.plane_mesh import gmsh_session

_STARTS = (0.0, 0.31, 0.17, 0.43, 0.11, 0.37)  # fractions of the period at which periodic edges are tried
_TRIANGLE = 2  # element type of gmsh
_ON_EDGE = 1e-6  # of the period: distance within which a point is on a periodic edge
_PER_SQUARE = 4 / 3**0.5  # equilateral triangles with sides of 1 in an area of 1
_SAME = 1e-7  # of the size of an outline: corners nearer than this do not form a line
_SIMPLIFY = 0.03  # of the element size: corners that change the outline by less are removed
_IN_PLATES = 8.0  # ratio of the largest to the smallest size where only struts and plates are meshed
_NEAR = 0.5  # distance from the outline at which elements begin to grow, over the fine element size
_GROWTH = 1.0  # distance over which elements grow, over the growth
_SAMPLES = 60  # points of each curve from which distances are measured


def mesh_flat(
    footprint: Sequence[Outline],
    period: tuple[float, float],
    *,
    fine: float,
    coarse: float | None = None,
    periodic: str = "xy",
    lines: Sequence[float] = (),
    size_factor: Callable[[float, float], float] | None = None,
    narrowest: float | None = None,
) -> FlatMesh:
    """Triangulate one period of a pattern.

    The period begins at (0, 0). Along periodic axes it may begin elsewhere, where its edges meet no corner of
    the outline.

    Args:
        footprint: Polygons, each given by its outer corners (k, 2) and those of its holes. Overlapping
            polygons are united; parts beyond the period are cut off.
        period: Size of the period along x and y.
        fine: Element size on the struts.
        coarse: Largest element size between the struts; ``None`` leaves the space between them empty.
        periodic: Axes along which opposite edges must match node by node: ``"xy"``, ``"x"``, ``"y"`` or
            ``""``.
        lines: Positions along y of lines on which edges of triangles lie.
        size_factor: Factor of all element sizes as a function of x and y.
        narrowest: Width of the narrowest strut if ``fine`` is larger.

    Raises:
        InputError: If a size is not positive, the footprint leaves the period empty, or the pattern does not
            match itself at periodic edges.
    """
    within("fine", fine, above=0.0)
    for fraction in _STARTS:
        origin = tuple(
            fraction * size if name in periodic else 0.0 for name, size in zip("xy", period, strict=True)
        )
        outlines = united(footprint, period, origin, _SIMPLIFY * min(fine, narrowest or fine), periodic)
        if not outlines:
            raise InputError("lattice: no strut lies within the period of the pattern", key="footprint")
        _check_count(outlines, period, fine, coarse)
        with gmsh_session() as gmsh:
            surfaces, struts = _add_geometry(gmsh, outlines, period, lines, fill=coarse is not None)
            axes = [axis for axis, name in enumerate("xy") if name in periodic]
            if all(_match_periodic_edges(gmsh, period, axis) for axis in axes):
                _size(gmsh, struts, fine, coarse if coarse is not None else _IN_PLATES * fine)
                if size_factor is not None:
                    gmsh.model.mesh.setSizeCallback(
                        lambda _dim, _tag, x, y, _z, size: size * size_factor(x, y)
                    )
                gmsh.model.mesh.generate(2)
                return _read(gmsh, surfaces, struts, (origin[0], origin[1]))
    raise InputError(
        f"lattice: the pattern does not match itself at periodic edges; {period[0]:.4g} by {period[1]:.4g} "
        "is not one of its periods",
        key="period",
    )


def _check_count(
    outlines: Sequence[Outline], period: tuple[float, float], fine: float, coarse: float | None
) -> None:
    """Refuse element sizes that give too many triangles."""
    import shapely

    covered = sum(shapely.Polygon(outer, holes).area for outer, holes in outlines)
    count = covered / fine**2
    if coarse is not None:
        count += (period[0] * period[1] - covered) / coarse**2
    remedy = "make mesh.on_struts or mesh.along larger"
    check_count(count * _PER_SQUARE, "the element sizes of the lattice", remedy)


def _add_geometry(
    gmsh: Any,
    footprint: Sequence[Outline],
    period: tuple[float, float],
    lines: Sequence[float],
    *,
    fill: bool,
) -> tuple[list[int], list[int]]:
    """Add the polygons and the space between them; return the tags of all surfaces and of the struts."""
    occ = gmsh.model.occ
    faces = [(2, _polygon(occ, polygon)) for polygon in footprint]
    edges = _edges(period[1], lines)
    sheet = [
        (2, occ.addRectangle(0.0, low, 0.0, period[0], high - low)) for low, high in itertools.pairwise(edges)
    ]
    entities, mapping = occ.fragment(sheet, faces)
    within_sheet = {tag for pieces in mapping[: len(sheet)] for dim, tag in pieces if dim == 2}
    covered = {tag for pieces in mapping[len(sheet) :] for dim, tag in pieces if dim == 2}
    if not fill:
        within_sheet &= covered
    occ.remove([(2, tag) for dim, tag in entities if dim == 2 and tag not in within_sheet], recursive=True)
    occ.synchronize()
    return sorted(within_sheet), sorted(within_sheet & covered)


def _edges(height: float, lines: Sequence[float]) -> FloatArray:
    """Ends of the period along y and lines between them, with those that almost coincide merged."""
    edges = np.sort(np.concatenate([[0.0, height], [line for line in lines if 0.0 < line < height]]))
    keep = np.concatenate([[True], np.diff(edges) > _ON_EDGE * height])
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


def _match_periodic_edges(gmsh: Any, period: tuple[float, float], axis: int) -> bool:
    """Make gmsh copy the mesh of the near periodic edge to the far one; return False if they do not match."""
    near, far = (_curves_on_edge(gmsh, period, axis, position) for position in (0.0, period[axis]))
    tolerance = _ON_EDGE * max(period)
    if len(near) != len(far) or any(
        np.abs(a - b).max() > tolerance for (a, _), (b, _) in zip(near, far, strict=True)
    ):
        return False
    shift = np.eye(4)
    shift[axis, 3] = period[axis]
    if near:
        gmsh.model.mesh.setPeriodic(1, [t for _, t in far], [t for _, t in near], shift.ravel().tolist())
    return True


def _curves_on_edge(
    gmsh: Any, period: tuple[float, float], axis: int, position: float
) -> list[tuple[FloatArray, int]]:
    """Curves on a periodic edge with the positions of their ends along it, in order."""
    tolerance = _ON_EDGE * max(period)
    low = [-tolerance, -tolerance, -tolerance]
    high = [period[0] + tolerance, period[1] + tolerance, tolerance]
    low[axis], high[axis] = position - tolerance, position + tolerance
    curves = []
    for _, tag in gmsh.model.getEntitiesInBoundingBox(*low, *high, 1):
        box = gmsh.model.getBoundingBox(1, tag)
        curves.append((np.array([box[1 - axis], box[4 - axis]]), int(tag)))
    return sorted(curves, key=lambda entry: float(entry[0].sum()))


def _size(gmsh: Any, struts: list[int], fine: float, coarse: float) -> None:
    """Set element sizes: fine along the outline of the struts, growing with the distance on both sides."""
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
    triangles = counter_clockwise(points, triangles.reshape(-1, 3))
    own = np.arange(len(points))
    return FlatMesh(points, triangles, strut, origin, own, np.zeros_like(own), own)
