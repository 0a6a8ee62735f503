# SPDX-License-Identifier: MIT
"""Points measured on the surface of a part."""

from dataclasses import dataclass

from annelid.geometry.body import FloatArray, IntArray


@dataclass(frozen=True)
class PointCloud:
    """Points measured on a surface.

    Attributes:
        points: Shape (n, 3), mm.
        normals: Unit vectors away from the material, shape (n, 3); None if unknown.
        intensities: Strength of the returned light, shape (n,), in the scale of the scanner; None if unknown.
        faces: Triangles between the points, shape (k, 3); None for bare points.
    """

    points: FloatArray
    normals: FloatArray | None
    intensities: FloatArray | None
    faces: IntArray | None
