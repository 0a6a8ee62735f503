# SPDX-License-Identifier: MIT
"""Images of a body about its axis: which point each point of a whole part is, rotated or mirrored."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray


@dataclass(frozen=True)
class Placement:
    """Points of a whole part as images of the grid points of its body.

    Attributes:
        source: Grid point of which each point is the image, and whose field values it has, shape (n,).
        angle: Angle by which each point is rotated about the axis; ``None`` if no point is rotated.
        mirrored: Whether each point is first mirrored about the plane Y = 0; ``None`` if no point is.
    """

    source: IntArray
    angle: FloatArray | None = None
    mirrored: NDArray[np.bool_] | None = None

    def place(self, points: FloatArray) -> FloatArray:
        """Return the positions of all points, given those of the grid points, shape (n, 3)."""
        positions = points[self.source]
        if self.angle is None:
            return positions
        c, s = np.cos(self.angle), np.sin(self.angle)
        x, y, z = positions.T
        if self.mirrored is not None:
            y = np.where(self.mirrored, -y, y)
        return np.column_stack([c * x - s * y, s * x + c * y, z])

    def compacted(self, members: IntArray) -> tuple["Placement", IntArray]:
        """Return the placement of the used points alone, and the members with their new numbers."""
        used, renumbered = np.unique(members, return_inverse=True)
        angle = None if self.angle is None else self.angle[used]
        mirrored = None if self.mirrored is None else self.mirrored[used]
        return Placement(self.source[used], angle, mirrored), renumbered.reshape(members.shape)
