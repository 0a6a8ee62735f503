# SPDX-License-Identifier: MIT
"""Unit cells with nearly rigid nodes: slender ligaments of rubber between nodes a thousand times stiffer."""

from dataclasses import replace
from itertools import product

import numpy as np
import shapely
from exact.frame import frame_of

from annelid.geometry.lattice_mesh.extruded_body import WallPoints, extruded_body
from annelid.geometry.lattice_mesh.extrusion import Slab, extrude
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh
from annelid.geometry.meshing.plane_mesh import gmsh_session
from annelid.solver.homogenisation.unit_cell import UnitCell
from annelid.solver.model.material import Material

STIFFER = 1000.0
GRID = 1e-7  # corners that differ by less are one
TRIANGLE = 2  # gmsh's number of the three-node triangle


def stiff_noded(lines, width, period, *, core, centres=None, reach=0.0, fine=0.5):
    """Cell of straight lines of a width; nodes are discs of radius ``core`` with arms to the ligaments.

    The arguments are those of :func:`exact.frame.frame_of`; ``fine`` is the element size over the width.
    """
    frame = frame_of(lines, width, period, centres=centres, reach=reach)
    ligaments, arms = [], []
    for ends, nodes in zip(frame.ends, frame.centres, strict=True):
        along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        across = width / 2 * np.array([-along[1], along[0]])
        ligaments.append(np.array([ends[0] - across, ends[1] - across, ends[1] + across, ends[0] + across]))
        for end, node, out in zip(ends, nodes, (along, -along), strict=True):
            arms.append(_arm(end, node, out, across, core))
    flat = _mesh(_cut(ligaments, period), _cut([shapely.union_all(arms)], period), period, fine * width)
    return UnitCell(
        _slab(flat, period, width / 2), period, {"ligament": material(1.0), "node": material(STIFFER)}
    )


def material(stiffness):
    """A material of this Young's modulus in MPa without Poisson effect, which stiff nodes would constrain."""
    return Material("foam", "neo-hookean", {"shear_modulus": stiffness / 2}, bulk_modulus=stiffness / 3)


def _arm(end, node, out, across, core):
    """A disc about a node and its connection to the face of a ligament, all behind that face."""
    disc = shapely.Point(node).buffer(core, quad_segs=6)
    whole = shapely.convex_hull(shapely.union(disc, shapely.LineString([end - across, end + across])))
    side, far = across / np.linalg.norm(across), 10 * np.linalg.norm(end - node) + 10 * core
    behind = [end - far * side, end + far * side, end + far * (side - out), end - far * (side + out)]
    return shapely.union(disc, shapely.intersection(whole, shapely.Polygon(behind)))


def _cut(shapes, period):
    """The parts of all periodic copies within one period, as polygons."""
    one = shapely.union_all([s if isinstance(s, shapely.Geometry) else shapely.Polygon(s) for s in shapes])
    moves = [np.multiply(move, period) for move in product((-2, -1, 0, 1, 2), repeat=2)]
    every = shapely.union_all([shapely.transform(one, lambda x, m=m: x + m) for m in moves], grid_size=GRID)
    inside = shapely.intersection(every, shapely.box(0.0, 0.0, *period), grid_size=GRID)
    return [part for part in shapely.get_parts(inside) if part.geom_type == "Polygon" and part.area > 0.0]


def _mesh(ligaments, nodes, period, fine):
    with gmsh_session() as gmsh:
        gmsh.option.setNumber("Geometry.Tolerance", 10 * GRID)
        occ = gmsh.model.occ
        faces = [[(2, _face(occ, polygon)) for polygon in group] for group in (ligaments, nodes)]
        _, made = occ.fragment(faces[0], faces[1])
        occ.synchronize()
        inner = {tag for pieces in made[len(faces[0]) :] for _, tag in pieces}
        _tie(gmsh, period)
        _size(gmsh, [tag for pieces in made[: len(faces[0])] for _, tag in pieces], fine)
        gmsh.model.mesh.generate(2)
        tags, places, _ = gmsh.model.mesh.getNodes()
        number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
        number[tags.astype(np.int64)] = np.arange(len(tags))
        every = [tag for _, tag in gmsh.model.getEntities(2)]
        blocks = [
            number[gmsh.model.mesh.getElementsByType(TRIANGLE, tag)[1].astype(int)].reshape(-1, 3)
            for tag in every
        ]
    strut = np.repeat([tag not in inner for tag in every], [len(block) for block in blocks])
    used, triangles = np.unique(np.concatenate(blocks), return_inverse=True)
    points = places.reshape(-1, 3)[used, :2]
    own = np.arange(len(points))
    return FlatMesh(points, triangles.reshape(-1, 3), strut, (0.0, 0.0), own, np.zeros_like(own), own)


def _size(gmsh, ligaments, fine):
    """Fine elements in the ligaments, growing into the nodes."""
    field = gmsh.model.mesh.field
    outline = gmsh.model.getBoundary([(2, tag) for tag in ligaments], oriented=False)
    distance, grown = field.add("Distance"), field.add("Threshold")
    field.setNumbers(distance, "CurvesList", [tag for _, tag in outline])
    for key, value in (
        ("InField", distance),
        ("SizeMin", fine),
        ("SizeMax", 8 * fine),
        ("DistMin", fine),
        ("DistMax", 9 * fine),
    ):
        field.setNumber(grown, key, value)
    field.setAsBackgroundMesh(grown)
    gmsh.option.setNumber("Mesh.MeshSizeExtendFromBoundary", 0)


def _face(occ, polygon):
    loops = []
    for ring in (polygon.exterior, *polygon.interiors):
        corners = np.asarray(shapely.orient_polygons(shapely.Polygon(ring)).exterior.coords)[:-1]
        points = [occ.addPoint(x, y, 0.0) for x, y in corners.tolist()]
        lines = [occ.addLine(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)]
        loops.append(occ.addCurveLoop(lines))
    return occ.addPlaneSurface(loops)


def _tie(gmsh, period):
    """Mesh the far seams as the near ones."""
    for axis in (0, 1):
        sides = []
        for place in (0.0, period[axis]):
            low, high = np.full(3, -1e-6), np.array([*period, 0.0]) + 1e-6
            low[axis], high[axis] = place - 1e-6, place + 1e-6
            found = [tag for _, tag in gmsh.model.getEntitiesInBoundingBox(*low, *high, 1)]
            sides.append(sorted(found, key=lambda tag: gmsh.model.occ.getCenterOfMass(1, tag)[1 - axis]))
        shift = np.eye(4)
        shift[axis, 3] = period[axis]
        if sides[0]:
            gmsh.model.mesh.setPeriodic(1, sides[1], sides[0], shift.ravel().tolist())


def _slab(flat, period, height):
    extruded = extrude(flat, [Slab(0.0, height, 1, "ligament", "node")], width=period[0], merge=False)

    def placement(at, depth):
        axes = np.broadcast_to(np.eye(3)[:, None], (3, len(depth), 3))
        return WallPoints(np.column_stack([at, depth]), axes[2], axes[0])

    body = extruded_body(extruded, placement, extent=period, wall=(0.0, height))
    return replace(body, surfaces={"midplane": body.surfaces["lumen"], "outer": body.surfaces["outer"]})
