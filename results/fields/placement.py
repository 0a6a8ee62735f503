# SPDX-License-Identifier: MIT
"""Images of a body: which point of it each point of a whole part is, rotated or mirrored."""

from dataclasses import dataclass, replace

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
        reflected: Whether each point is mirrored about a plane across the axis; ``None`` if no point is.
        plane: Grid points on that plane, whose mean height is its height.
    """

    source: IntArray
    angle: FloatArray | None = None
    mirrored: NDArray[np.bool_] | None = None
    reflected: NDArray[np.bool_] | None = None
    plane: IntArray | None = None

    def place(self, points: FloatArray) -> FloatArray:
        """Return the positions of all points, given those of the grid points, shape (n, 3)."""
        x, y, z = points[self.source].T
        if self.mirrored is not None:
            y = np.where(self.mirrored, -y, y)
        if self.angle is not None:
            c, s = np.cos(self.angle), np.sin(self.angle)
            x, y = c * x - s * y, s * x + c * y
        if self.reflected is not None:
            z = np.where(self.reflected, 2.0 * points[self.plane, 2].mean() - z, z)
        return np.column_stack([x, y, z])

    def taken(self, points: IntArray) -> "Placement":
        """Return the placement of some of the points, which may repeat."""
        arrays = {name: getattr(self, name) for name in ("angle", "mirrored", "reflected")}
        taken = {name: None if array is None else array[points] for name, array in arrays.items()}
        return replace(self, source=self.source[points], **taken)

    def compacted(self, members: IntArray) -> tuple["Placement", IntArray]:
        """Return the placement of the used points alone, and the members with their new numbers."""
        used, renumbered = np.unique(members, return_inverse=True)
        return self.taken(used), renumbered.reshape(members.shape)
