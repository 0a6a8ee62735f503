# SPDX-License-Identifier: MIT
"""The problem of all solvers: a clamped thick tube under follower pressure, as plain arrays.

The tube is neo-Hookean with μ = 1 MPa, an inner radius of 10 mm, a wall of 1 mm and a length of 40 mm. Both
ends are clamped, and the pressure rises in 10 equal steps to 0.8 μ H/R. This module imports only numpy, so
that no solver loads the libraries of another one.
"""

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

INNER_RADIUS, WALL, LENGTH = 10.0, 1.0, 40.0  # mm
SHEAR_MODULUS = 1.0  # MPa
PRESSURE = 0.8 * SHEAR_MODULUS * WALL / INNER_RADIUS  # MPa
STEPS = 10
TOLERANCE = 1e-8  # ratio of the out-of-balance force to the reactions, the same for all solvers
BULK_MODULUS = 5000.0  # MPa, only for a library without an exactly incompressible form


@dataclass(frozen=True)
class Size:
    """Numbers of elements of a structured mesh.

    Attributes:
        through: Number of elements through the wall.
        along: Number of elements along the tube.
        around: Number of elements around the tube; 0 for an axisymmetric mesh.
    """

    through: int
    along: int
    around: int = 0

    @property
    def model(self) -> str:
        """``"axisymmetric"`` or ``"solid"``."""
        return "solid" if self.around else "axisymmetric"


SIZES: dict[str, dict[str, Size]] = {
    "axisymmetric": {
        "tiny": Size(2, 20),
        "5k": Size(3, 135),
        "15k": Size(6, 214),
        "45k": Size(10, 394),
    },
    "solid": {
        "tiny": Size(2, 4, 10),
        "8k": Size(2, 8, 14),
        "20k": Size(2, 14, 20),
        "50k": Size(2, 23, 32),
    },
}

# Positions of corners, edges, faces and the centre in half elements, in the order of the VTK file format.
_QUAD9 = [(0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1), (1, 1)]
# fmt: off
_HEXAHEDRON27 = [
    (0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), (0, 0, 2), (2, 0, 2), (2, 2, 2), (0, 2, 2),
    (1, 0, 0), (2, 1, 0), (1, 2, 0), (0, 1, 0), (1, 0, 2), (2, 1, 2), (1, 2, 2), (0, 1, 2),
    (0, 0, 1), (2, 0, 1), (2, 2, 1), (0, 2, 1),
    (0, 1, 1), (2, 1, 1), (1, 0, 1), (1, 2, 1), (1, 1, 0), (1, 1, 2), (1, 1, 1),
]
# fmt: on


@dataclass(frozen=True)
class StructuredMesh:
    """A second-order mesh with its nodes on the exact cylinder; corner nodes come first.

    Attributes:
        size: Elements in each direction.
        points: Positions (R, Z) or (X, Y, Z), shape (n, 2) or (n, 3), mm.
        cells: Nodes of each cell, shape (m, 9) or (m, 27), in the order of the VTK file format.
        lumen: Nodes of the facets of the inner surface, shape (f, 3) or (f, 9), in the same order.
        outer: Nodes of the facets of the outer surface.
        ends: Nodes of the facets of the lower and the upper end surface.
        corners: Number of corner nodes.
    """

    size: Size
    points: FloatArray
    cells: IntArray
    lumen: IntArray
    outer: IntArray
    ends: tuple[IntArray, IntArray]
    corners: int

    @property
    def dim(self) -> int:
        """Dimension of the mesh, 2 or 3."""
        return self.points.shape[1]

    @property
    def clamped(self) -> IntArray:
        """Nodes of both ends, sorted."""
        return np.unique(np.concatenate([facets.ravel() for facets in self.ends]))

    def lumen_volume(self, u: FloatArray | None = None) -> float:
        """Return the enclosed volume for displacements ``u``, mm³: ∫ ½ x⊥·n da over the inner surface."""
        x = (self.points if u is None else self.points + u)[self.lumen]
        if self.dim == 2:
            shapes, slopes, weights = _line_rule()
            r, dz = shapes @ x[..., 0].T, slopes @ x[..., 1].T
            return float(math.pi * np.einsum("q,qf->", weights, r**2 * dz))
        s, d, w = _line_rule()
        order = [0, 3, 4, 1, 6, 5, 7, 2, 8]  # position of each node of a facet in the tensor product
        N = np.einsum("pa,qb->pqab", s, s).reshape(9, 9)[:, order]
        N_a = np.einsum("pa,qb->pqab", d, s).reshape(9, 9)[:, order]
        N_b = np.einsum("pa,qb->pqab", s, d).reshape(9, 9)[:, order]
        y, along_a, along_b = (np.einsum("qa,fai->qfi", M, x) for M in (N, N_a, N_b))
        normal = np.cross(along_a, along_b)
        flux = np.einsum("qfi,qfi->qf", y[..., :2], normal[..., :2])
        return float(abs(0.5 * np.einsum("q,qf->", np.outer(w, w).ravel(), flux)))


def structured_mesh(size: Size) -> StructuredMesh:
    """Build the mesh."""
    counts = [size.through, size.along] if not size.around else [size.through, size.around, size.along]
    nodes = _numbering(counts, closed=bool(size.around))
    cells = _cells(nodes, counts)
    points = _points(size, nodes)
    lumen, outer = (_facets(nodes[i], counts[1:]) for i in (0, -1))
    ends = (_facets(nodes[..., 0], counts[:-1]), _facets(nodes[..., -1], counts[:-1]))
    corners = int(cells[:, : 2 ** len(counts)].max()) + 1
    return StructuredMesh(size, points, cells, lumen, outer, ends, corners)


def chord_correction(size: Size) -> float:
    """Return the ratio of the radius of the circle to the distance of its chords from the axis."""
    return 1 / math.cos(math.pi / size.around)


def _numbering(counts: list[int], *, closed: bool) -> IntArray:
    """Return the node number of each half-element position; corner nodes are numbered first."""
    shape = [2 * n + 1 for n in counts]
    if closed:
        shape[1] -= 1
    corner = np.zeros(shape, dtype=bool)
    corner[tuple(slice(None, None, 2) for _ in counts)] = True
    nodes = np.empty(shape, dtype=np.int64)
    nodes[corner] = np.arange(corner.sum())
    nodes[~corner] = np.arange(corner.sum(), corner.size)
    return np.concatenate([nodes, nodes[:, :1]], axis=1) if closed else nodes


def _cells(nodes: IntArray, counts: list[int]) -> IntArray:
    table = _QUAD9 if len(counts) == 2 else _HEXAHEDRON27
    starts = np.array(list(product(*(range(0, 2 * n, 2) for n in counts))))
    places = starts[:, None, :] + np.array(table)[None]
    return nodes[tuple(np.moveaxis(places, -1, 0))]


def _facets(nodes: IntArray, counts: list[int]) -> IntArray:
    if len(counts) == 1:
        return np.stack([nodes[0:-1:2], nodes[2::2], nodes[1::2]], axis=1)
    return _cells(nodes, counts)


def _points(size: Size, nodes: IntArray) -> FloatArray:
    r = np.linspace(INNER_RADIUS, INNER_RADIUS + WALL, 2 * size.through + 1)
    z = np.linspace(0.0, LENGTH, 2 * size.along + 1)
    if not size.around:
        R, Z = np.meshgrid(r, z, indexing="ij")
        axes = [R, Z]
    else:
        angle = np.linspace(0, 2 * math.pi, 2 * size.around + 1)
        R, θ, Z = np.meshgrid(r, angle, z, indexing="ij")
        axes = [R * np.cos(θ), R * np.sin(θ), Z]
    points = np.empty((nodes.max() + 1, len(axes)))
    points[nodes.ravel()] = np.stack(axes, axis=-1).reshape(-1, len(axes))
    return points


def _line_rule() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return quadratic shape functions (ends, then middle), their derivatives and Gauss weights on [0, 1]."""
    t, w = np.polynomial.legendre.leggauss(3)
    t, w = (t + 1) / 2, w / 2
    shapes = np.stack([(1 - t) * (1 - 2 * t), t * (2 * t - 1), 4 * t * (1 - t)], axis=1)
    slopes = np.stack([4 * t - 3, 4 * t - 1, 4 - 8 * t], axis=1)
    return shapes, slopes, w
