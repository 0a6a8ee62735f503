# SPDX-License-Identifier: MIT
"""Lines straight across the drawn walls, whose present length is the local thickness."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.inventory import walls_of
from annelid.results.fields.state_fields import FieldGrid

__all__ = ["WallLines"]


@dataclass(frozen=True)
class WallLines:
    """For each point of a wall, the line from the nearest node of its inner face to that of its outer face.

    Meshes of walls have lines of nodes along the wall normal, so the nearest nodes lie on it.
    """

    grid: FieldGrid

    def thickness(self, present: FloatArray) -> FloatArray | None:
        """Return the present length of the line through each point, mm.

        Args:
            present: Present positions of the grid points, shape (n, 3), mm.

        Returns:
            Shape (n,), ``nan`` outside walls; ``None`` if the body has no wall with two faces.
        """
        inner, outer = self._ends
        if not (inner >= 0).any():
            return None
        return np.where(inner >= 0, np.linalg.norm(present[outer] - present[inner], axis=1), np.nan)

    @cached_property
    def _ends(self) -> tuple[IntArray, IntArray]:
        """Grid points at both ends of the line of each point, -1 outside walls."""
        from scipy.spatial import cKDTree

        body, nodes = self.grid.body, self.grid.nodes
        ends = np.full((2, len(nodes)), -1)
        for region, (inner, facets) in walls_of(body).items():
            own = np.unique(self.grid.cells[body.regions[region]])
            for end, face in zip(ends, (inner, np.unique(facets)), strict=True):
                on_face = own[np.isin(nodes[own], face)]
                _, nearest = cKDTree(body.points[nodes[on_face]]).query(body.points[nodes[own]])
                end[own] = on_face[nearest]
        return ends[0], ends[1]
