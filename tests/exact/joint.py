# SPDX-License-Identifier: MIT
"""Walls of a lattice between compliant joints: each joint solved alone, with scikit-fem, as a plane sheet.

Own derivation: a joint is cut out where its walls have the stress of beams, and its faces have the tractions
of beams (uniform, parabolic and linear). Its stiffness against the conjugate mean displacements and rotations
is combined with Timoshenko beams. The solution of a whole cell is not used.
"""

from functools import cache
from typing import NamedTuple

import gmsh
import numpy as np
import shapely
import skfem
from exact.frame import STRAINS, TURN, beam, condensed
from skfem.helpers import ddot, eye, sym_grad, trace

CUT = 2.0  # widths from the node at which joints are cut out
FINE, COARSE = 1 / 16, 1 / 5  # element sizes at the corners and at the faces, widths


class Joint(NamedTuple):
    """A joint of walls of width 1 and Young's modulus 1.

    Attributes:
        faces: Middles of its faces, seen from the node, shape (n, 2).
        stiffness: Against displacement x, y and turn of each face, shape (3 n, 3 n).
    """

    faces: np.ndarray
    stiffness: np.ndarray


@cache
def joint(angles, poisson=0.0, fine=FINE):
    """A joint of walls that leave it at the given angles, degrees."""
    ways = np.column_stack([np.cos(np.radians(angles)), np.sin(np.radians(angles))])
    mesh = _mesh(ways, fine)
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementTriP2()))
    stiffness = _elasticity(poisson).assemble(basis)
    forces, moments = np.zeros((basis.N, 3 * len(ways))), np.zeros((3 * len(ways), 3))
    for k, way in enumerate(ways):
        forces[:, 3 * k : 3 * k + 3] = _face_loads(mesh, basis, way)
        moments[3 * k : 3 * k + 2, :2] = np.eye(2)
        moments[3 * k : 3 * k + 3, 2] = [*(TURN @ (CUT * way)), 1.0]
    balanced = np.linalg.svd(moments)[0][:, 3:]  # self-equilibrated loads
    fixed = _three_fixed(mesh, basis)
    answer = np.zeros((basis.N, balanced.shape[1]))
    for column, load in enumerate((forces @ balanced).T):
        answer[:, column] = skfem.solve(*skfem.condense(stiffness, load, D=fixed))
    give = balanced.T @ forces.T @ answer
    return Joint(CUT * ways, balanced @ np.linalg.inv((give + give.T) / 2) @ balanced.T)


def jointed_moduli(lines, width, period, *, poisson=0.0):
    """E around, E along, ν around, ν along, G, over Young's modulus, of straight walls with real joints."""
    period = np.array(period)
    tips = np.array([line[[0, -1]] for line in lines])
    along = (tips[:, 1] - tips[:, 0]) / np.linalg.norm(tips[:, 1] - tips[:, 0], axis=1)[:, None]
    ways = np.stack([along, -along], axis=1)
    faces = tips + CUT * width * ways
    stiffness = np.zeros((3 * 2 * len(lines) + 3,) * 2)

    def add(block, numbers, places):
        motion = np.zeros((3 * len(numbers), len(stiffness)))
        for row, (number, place) in enumerate(zip(numbers, places, strict=True)):
            motion[3 * row : 3 * row + 3, 3 * number : 3 * number + 3] = np.eye(3)
            motion[3 * row : 3 * row + 2, -3:] = np.column_stack([H @ place for H in STRAINS])
        stiffness[:] += motion.T @ block @ motion

    for k, (low, high) in enumerate(faces):
        add(beam(high - low, width, poisson), (2 * k, 2 * k + 1), (low, high))
    for ends in _meeting(tips.reshape(-1, 2), period):
        out = ways.reshape(-1, 2)[ends]
        found = joint(tuple(np.degrees(np.arctan2(out[:, 1], out[:, 0])).round(9)), poisson)
        scale = np.tile([1.0, 1.0, width], len(ends))  # rotations do not depend on the width
        add(found.stiffness * np.outer(scale, scale), ends, width * found.faces)
    return condensed(stiffness, period)


def _meeting(tips, period):
    """Numbers of the line ends at each node, which repeat with the period."""
    folded = np.round((tips / period) % 1.0, 9) % 1.0
    _, owner = np.unique(folded, axis=0, return_inverse=True)
    return [np.flatnonzero(owner == k) for k in range(owner.max() + 1)]


def _elasticity(poisson):
    first, second = poisson / (1 - poisson**2), 1 / (2 * (1 + poisson))  # plane stress

    @skfem.BilinearForm
    def form(u, v, _):
        strain = sym_grad(u)
        stress = first * eye(trace(strain), 2) + 2 * second * strain
        return ddot(stress, sym_grad(v))

    return form


def _face_loads(mesh, basis, way):
    """Nodal forces of a unit force along x, along y, and of a unit moment, on the face of a wall."""
    across = TURN @ way
    facets = mesh.facets_satisfying(lambda x: np.abs(way @ x - CUT) < 1e-9, boundaries_only=True)
    face = skfem.FacetBasis(mesh, basis.elem, facets=facets, intorder=6)
    profiles = (
        (way, lambda _s: 1.0),
        (across, lambda s: 1.5 * (1 - 4 * s**2)),
        (way, lambda s: -12.0 * s),
    )
    pulls = []
    for direction, profile in profiles:

        @skfem.LinearForm
        def work(v, w, direction=direction, profile=profile):
            s = across[0] * w.x[0] + across[1] * w.x[1]
            return profile(s) * (direction[0] * v[0] + direction[1] * v[1])

        pulls.append(work.assemble(face))
    pull, push, turn = pulls
    return np.column_stack([way[i] * pull + across[i] * push for i in (0, 1)] + [turn])


def _three_fixed(mesh, basis):
    """Three displacements that prevent only rigid motions if they are fixed."""
    middle = mesh.p.mean(axis=1)
    near = int(np.argmin(np.linalg.norm(mesh.p.T - middle, axis=1)))
    far = int(np.argmax(np.abs(mesh.p[0] - mesh.p[0, near])))
    dofs = basis.nodal_dofs
    return np.array([dofs[0, near], dofs[1, near], dofs[1, far]])


def _mesh(ways, fine):
    """Strips of width 1 that join, rounded where they leave more than 180 degrees open."""
    strips = [shapely.LineString([(0.0, 0.0), CUT * way]).buffer(0.5, cap_style="flat") for way in ways]
    outline = shapely.union_all([*strips, shapely.Point(0.0, 0.0).buffer(0.5, quad_segs=16)], grid_size=1e-9)
    outline = outline.simplify(1e-7)
    corners = shapely.get_coordinates(outline.exterior)[:-1]
    inner = np.linalg.norm(corners, axis=1) < 0.9 * CUT
    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        sizes = np.where(inner, fine, COARSE)
        points = [gmsh.model.geo.addPoint(x, y, 0.0, h) for (x, y), h in zip(corners, sizes, strict=True)]
        lines = [gmsh.model.geo.addLine(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)]
        gmsh.model.geo.addPlaneSurface([gmsh.model.geo.addCurveLoop(lines)])
        gmsh.model.geo.synchronize()
        gmsh.model.mesh.generate(2)
        tags, places, _ = gmsh.model.mesh.getNodes()
        number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
        number[tags.astype(np.int64)] = np.arange(len(tags))
        triangles = number[gmsh.model.mesh.getElementsByType(2)[1].astype(np.int64)].reshape(-1, 3)
    finally:
        gmsh.finalize()
    return skfem.MeshTri(*(np.ascontiguousarray(a.T) for a in (places.reshape(-1, 3)[:, :2], triangles)))
