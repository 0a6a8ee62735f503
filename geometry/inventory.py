# SPDX-License-Identifier: MIT
"""Names that a body has and which surfaces meet: from a mesh, or from a shape before it is meshed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import CORNERS, FACETS

SIDE_PLANES = ("side_low", "side_high")
"""Surfaces of a sector in its planes of symmetry."""

_FACE = 0.7  # least cosine between the normals of a facet and of the wall on a face of the wall


@dataclass(frozen=True)
class Inventory:
    """What supports, loads and parts can refer to.

    Attributes:
        model: ``"axisymmetric"``, ``"solid"`` or ``"sector"``.
        regions: Names of the regions.
        surfaces: Names of the free surfaces; interfaces, faces of bands and the axis are left out.
        bands: Regions that each electrode band covers.
        touching: Pairs of free surfaces that share an edge.
    """

    model: str
    regions: tuple[str, ...]
    surfaces: tuple[str, ...]
    bands: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    touching: frozenset[frozenset[str]] = frozenset()

    @property
    def has_lumen(self) -> bool:
        """Whether there is an inner surface that a fluid wets."""
        return "lumen" in self.surfaces

    @property
    def ends(self) -> tuple[str, ...]:
        """End surfaces of the wall."""
        return tuple(name for name in ("end_low", "end_high") if name in self.surfaces)

    @property
    def open_ends(self) -> tuple[str, ...]:
        """End surfaces, of a core too, at which the lumen is open."""
        return tuple(
            name
            for name in self.surfaces
            if name.removeprefix("core_").startswith("end_") and self.meet(name, "lumen")
        )

    @property
    def has_open_ends(self) -> bool:
        """Whether there is a lumen that is open at both ends."""
        return len(self.open_ends) == 2

    def meet(self, first: str, second: str) -> bool:
        """Whether two surfaces share an edge."""
        return frozenset((first, second)) in self.touching


def is_free(surface: str) -> bool:
    """Whether a surface of this name is free: no interface, no face of a band, not the axis."""
    return "|" not in surface and "." not in surface and surface != "axis"


def inner_surface(body: Body) -> str:
    """Name of the inner surface of the wall: the lumen, or the face on a core, else the outer surface."""
    if "lumen" in body.surfaces:
        return "lumen"
    on_core = sorted(name for name in body.surfaces if name.startswith("core|"))
    return on_core[0] if on_core else "outer"


def walls_of(body: Body) -> dict[str, tuple[IntArray, IntArray]]:
    """Nodes of the inner face and facets of the outer face of each region of a wall that has both.

    Regions of tetrahedra, which may be lattices, and caps and solid cores are left out.
    """
    if body.cell_type == "tetra10":
        return {}
    facet_type, local = FACETS[body.cell_type]
    walls = {}
    for region, cells in body.regions.items():
        if region == "cap":
            continue
        facets = body.cells[cells][:, local].reshape(-1, local.shape[1])
        corners = np.sort(facets[:, : CORNERS[facet_type]], axis=1)
        _, first, count = np.unique(corners, axis=0, return_index=True, return_counts=True)
        free = facets[first[count == 1]]
        if body.model == "axisymmetric":
            free = free[(body.points[free, 0] > 0).any(axis=1)]  # not on the axis
        normal = body.normal[free].mean(axis=1)
        along = np.einsum("fi,fi->f", _unit_normals(body.points[free[:, : CORNERS[facet_type]]]), normal)
        inner, outer = free[along < -_FACE], free[along > _FACE]
        if len(inner) and len(outer):
            walls[region] = np.unique(inner), outer
    return walls


def _unit_normals(corners: FloatArray) -> FloatArray:
    """Unit normals out of the material of facets with these corners, shape (f, dim)."""
    if corners.shape[2] == 2:
        x, y = (corners[:, 1] - corners[:, 0]).T
        normal = np.stack([y, -x], axis=1)
    else:
        normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, -1] - corners[:, 1])
    return normal / np.linalg.norm(normal, axis=1)[:, None]


def inner_heights(body: Body) -> tuple[float, float]:
    """Lowest and highest Z of the inner surface of the wall, mm."""
    heights = body.points[body.surface_nodes(inner_surface(body)), -1]
    return float(heights.min()), float(heights.max())


def inventory_of(body: Body) -> Inventory:
    """Inventory of a mesh."""
    free = [name for name in body.surfaces if is_free(name)]
    nodes = {name: body.surface_nodes(name) for name in free}
    bands = {
        band: tuple(region for region, own in body.regions.items() if np.isin(own, cells).any())
        for band, cells in body.bands.items()
    }
    return Inventory(
        model=body.model,
        regions=tuple(body.regions),
        surfaces=tuple(free),
        bands=bands,
        touching=frozenset(
            frozenset((a, b))
            for a, b in combinations(free, 2)
            if np.intersect1d(nodes[a], nodes[b], assume_unique=True).size
        ),
    )
