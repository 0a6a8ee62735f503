# SPDX-License-Identifier: MIT
"""Patches of a closed triangulated surface: strips of cylinders, and patches joined at common corners."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.meshing.fill import fill_plane

MERGE_TOLERANCE = 1e-7
"""Corners nearer to each other than this fraction of the whole are one corner."""
MIN_CIRCLE_EDGES = 16
"""Least number of edges around a circle."""

_SHIFT = 0.3141592  # of the rounding grid, off symmetric positions of corners


class Patch(NamedTuple):
    """A patch of the surface of a core.

    Attributes:
        name: Name of the surface; ``""`` for the face on the wall.
        points: Corners, shape (n, 3), mm.
        triangles: Triangles oriented outwards, shape (m, 3).
        radius: Radius of the cylinder on which it lies, mm; ``None`` for a plane patch or the face on the
            wall.
    """

    name: str
    points: FloatArray
    triangles: IntArray
    radius: float | None


class PatchedSurface(NamedTuple):
    """A surface of joined patches.

    Attributes:
        points: Corners, beginning with those of the first patch in order, shape (n, 3).
        triangles: Triangles of all patches, shape (m, 3).
        patch: Number of the patch of each triangle, shape (m,).
    """

    points: FloatArray
    triangles: IntArray
    patch: IntArray


def join_patches(patches: Sequence[Patch], size: float) -> PatchedSurface:
    """Return all patches as one surface with coincident corners merged; ``size`` is that of the whole."""
    points = np.concatenate([patch.points for patch in patches])
    key = np.floor(points / (MERGE_TOLERANCE * size) + _SHIFT)
    _, first, number = np.unique(key, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    number_of = np.empty(len(first), dtype=np.int64)
    number_of[order] = np.arange(len(first))
    number = number_of[number.ravel()]
    starts = np.cumsum([0] + [len(patch.points) for patch in patches])
    triangles = [number[patch.triangles + start] for patch, start in zip(patches, starts, strict=False)]
    return PatchedSurface(
        points[first[order]],
        np.concatenate(triangles),
        np.repeat(np.arange(len(triangles)), [len(part) for part in triangles]),
    )


def cylinder_strip(
    edges: tuple[FloatArray, FloatArray], heights: FloatArray, radius: float, coarse: float
) -> tuple[FloatArray, IntArray]:
    """Mesh a strip of a cylinder with given angles on its ends and heights on its sides.

    Returns:
        Angles and heights of the corners, shape (n, 2), and triangles, shape (m, 3).
    """
    first, last = edges
    loop = np.concatenate(
        [
            np.column_stack([first, np.full(len(first), heights[0])]),
            np.column_stack([np.full(len(heights) - 2, first[-1]), heights[1:-1]]),
            np.column_stack([last, np.full(len(last), heights[-1])])[::-1],
            np.column_stack([np.full(len(heights) - 2, first[0]), heights[1:-1]])[::-1],
        ]
    )
    flat, triangles = fill_plane([loop * [radius, 1.0]], min(coarse, 2 * math.pi * radius / MIN_CIRCLE_EDGES))
    flat[: len(loop)] = loop * [radius, 1.0]
    return flat / [radius, 1.0], triangles


def on_cylinder(flat: FloatArray, radius: float) -> FloatArray:
    """Return X, Y, Z of angles and heights on a cylinder about the axis."""
    angle, height = flat.T
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), height])
