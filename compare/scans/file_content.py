# SPDX-License-Identifier: MIT
"""What the readers of the formats hand over, before units and checks."""

from typing import Any, NamedTuple

from numpy.typing import NDArray

INTENSITIES = ("intensity", "intensities", "reflectance", "reflectivity")
"""Names of the strength of the returned light in files, in lower case."""


class FileContent(NamedTuple):
    """Arrays of a file.

    Attributes:
        points: Shape (n, 3), in the unit of the file.
        normals: Shape (n, 3), of any length; None without.
        intensities: Shape (n,); None without.
        faces: Triangles, shape (k, 3); None without.
    """

    points: NDArray[Any]
    normals: NDArray[Any] | None = None
    intensities: NDArray[Any] | None = None
    faces: NDArray[Any] | None = None


class Unreadable(Exception):
    """The content of a file is not that of its format; the text says why, without the name of the file."""
