# SPDX-License-Identifier: MIT
"""Mesh quality: scaled Jacobian and aspect ratio, their table, and the least quality of a mesh."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.elements import CORNERS, ELEMENT_NODES, shape_gradients
from annelid.geometry.errors import InputError

SCALED_JACOBIAN_FLOOR: dict[str, float] = {"quad9": 0.2, "hexahedron27": 0.2, "tetra10": 0.005}
"""Least scaled Jacobian of a valid mesh; it is low for tetrahedra, which are flat in a thin wall."""

LOW_SCALED_JACOBIAN = 0.2
"""Least scaled Jacobian below which a valid mesh has distorted cells, whose values are less accurate."""

_CHUNK = 20000  # cells at a time, to limit the memory


@dataclass(frozen=True)
class RegionQuality:
    """Quality of the cells of one region or of the whole body.

    Attributes:
        cells: Number of cells.
        minimum_scaled_jacobian: Minimum over the cells and their nodes; 1 for a rectangular cell or a regular
            tetrahedron, 0 or less for an inverted cell.
        maximum_aspect_ratio: Largest ratio of the longest to the shortest edge of a cell.
    """

    cells: int
    minimum_scaled_jacobian: float
    maximum_aspect_ratio: float


@dataclass(frozen=True)
class Quality:
    """Quality of a mesh.

    Attributes:
        whole: Quality of the whole body.
        nodes: Number of nodes.
        regions: Quality of each region.
        worst_region: Region of the cell with the least scaled Jacobian.
        worst_place: Centre of that cell, mm.
        worst_cell: Its number.
    """

    whole: RegionQuality
    nodes: int
    regions: Mapping[str, RegionQuality]
    worst_region: str
    worst_place: tuple[float, ...]
    worst_cell: int

    @property
    def minimum_scaled_jacobian(self) -> float:
        """Least scaled Jacobian of the body."""
        return self.whole.minimum_scaled_jacobian

    @property
    def maximum_aspect_ratio(self) -> float:
        """Largest aspect ratio of the body."""
        return self.whole.maximum_aspect_ratio

    def table(self) -> str:
        """Return the figures as a text table with one line per region."""
        rows = [*self.regions.items(), ("whole", self.whole)]
        width = max(len("region"), *(len(name) for name, _ in rows))
        lines = [f"{'region':<{width}}  {'cells':>8}  minimum scaled Jacobian  maximum aspect ratio"]
        lines += [
            f"{name:<{width}}  {figures.cells:>8}  {figures.minimum_scaled_jacobian:>23.3f}  "
            f"{figures.maximum_aspect_ratio:>20.2f}"
            for name, figures in rows
        ]
        return "\n".join([*lines, f"{self.nodes} nodes"])


def quality(body: Body) -> Quality:
    """Compute the mesh quality of a body."""
    jacobian = scaled_jacobians(body)
    aspect = _aspect_ratios(body)

    def figures(cells: slice | np.ndarray) -> RegionQuality:
        return RegionQuality(len(jacobian[cells]), float(jacobian[cells].min()), float(aspect[cells].max()))

    worst = int(np.argmin(jacobian))
    return Quality(
        whole=figures(slice(None)),
        nodes=len(body.points),
        regions={name: figures(cells) for name, cells in body.regions.items()},
        worst_region=next((name for name, cells in body.regions.items() if worst in cells), ""),
        worst_place=tuple(float(x) for x in body.points[body.cells[worst]].mean(axis=0)),
        worst_cell=worst,
    )


def check_quality(body: Body) -> Quality:
    """Return the mesh quality of a body if it is sufficient.

    Raises:
        InputError: If the least scaled Jacobian is below the floor for the cell type.
    """
    measured = quality(body)
    floor, least = SCALED_JACOBIAN_FLOOR[body.cell_type], measured.minimum_scaled_jacobian
    if least < floor:
        axes = ("R", "Z") if body.model == "axisymmetric" else ("X", "Y", "Z")
        place = ", ".join(f"{axis} = {x:.4g} mm" for axis, x in zip(axes, measured.worst_place, strict=True))
        fault = "is inverted" if least <= 0.0 else "is too distorted"
        fault += f" (scaled Jacobian {least:.3g}, must be at least {floor:g})"
        raise InputError(
            f"mesh: a cell of region {measured.worst_region!r} at {place} {fault}: make mesh.along smaller "
            "or mesh.around larger, widen a narrow sector, or make the shape smoother there",
            fault=fault,
            scaled_jacobian=least,
            place=measured.worst_place,
            region=measured.worst_region,
            cell=measured.worst_cell,
        )
    return measured


def scaled_jacobians(body: Body) -> FloatArray:
    """Return the least scaled Jacobian of each cell over its nodes, shape (m,).

    For quadrilaterals and hexahedra it is the determinant over the product of the lengths of the tangents,
    for tetrahedra sqrt(2) times the determinant over the largest product of three edges at a corner.
    """
    gradients = shape_gradients(body.cell_type, ELEMENT_NODES[body.cell_type])
    least = []
    for start in range(0, len(body.cells), _CHUNK):
        nodes = body.points[body.cells[start : start + _CHUNK]]
        tangents = np.einsum("cni,qnj->cqji", nodes, gradients, optimize=True)
        determinant = _determinants(tangents)
        scale = (
            _corner_products(tangents) if body.cell_type == "tetra10" else _lengths(tangents).prod(axis=-1)
        )
        least.append(np.min(determinant / scale, axis=1))
    return np.concatenate(least)


def _determinants(tangents: FloatArray) -> FloatArray:
    """Return the determinants of 2 by 2 or 3 by 3 matrices (several times faster than with LAPACK)."""
    if tangents.shape[-1] == 2:
        return np.asarray(
            tangents[..., 0, 0] * tangents[..., 1, 1] - tangents[..., 0, 1] * tangents[..., 1, 0]
        )
    a, b, c = np.moveaxis(tangents, (-2, -1), (0, 1))
    return np.asarray(
        a[0] * (b[1] * c[2] - b[2] * c[1])
        + a[1] * (b[2] * c[0] - b[0] * c[2])
        + a[2] * (b[0] * c[1] - b[1] * c[0])
    )


def _corner_products(tangents: FloatArray) -> FloatArray:
    """Return the largest product of three edges at a corner, over sqrt(2), of linearised tetrahedra."""
    a, b, c = np.moveaxis(tangents, -2, 0)
    at_origin, across = _lengths(np.stack([a, b, c])), _lengths(np.stack([b - a, c - b, a - c]))
    products = [
        at_origin.prod(axis=0),
        at_origin[0] * across[0] * across[2],
        at_origin[1] * across[0] * across[1],
        at_origin[2] * across[1] * across[2],
    ]
    return np.asarray(np.max(products, axis=0) / np.sqrt(2.0))


def _aspect_ratios(body: Body) -> FloatArray:
    reference = ELEMENT_NODES[body.cell_type]
    corners = reference[: CORNERS[body.cell_type]]
    pairs = [
        (i, j)
        for i in range(len(corners))
        for j in range(i)
        if _is_edge(body.cell_type, corners[i], corners[j])
    ]
    points = body.points[body.cells[:, : len(corners)]]
    first, second = np.array(pairs).T
    lengths = _lengths(points[:, first] - points[:, second])
    return np.asarray(lengths.max(axis=1) / lengths.min(axis=1))


def _is_edge(cell_type: str, first: FloatArray, second: FloatArray) -> bool:
    return cell_type == "tetra10" or int(np.count_nonzero(first != second)) == 1


def _lengths(vectors: FloatArray) -> FloatArray:
    return np.linalg.norm(vectors, axis=-1)
