# SPDX-License-Identifier: MIT
"""Pieces of a closed surface in triangles: strips of cylinders; pieces joined where their corners meet."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.meshing.fill import fill_plane

SAME = 1e-7
"""Corners nearer to each other than this share of the whole are one."""
FEWEST = 16
"""Edges around a circle, at least."""

_SHIFT = 0.3141592  # of the rounding grid, off the places that corners like


class Patch(NamedTuple):
    """A piece of the surface of a core.

    Attributes:
        name: Of the surface; ``""`` for the face on the wall.
        points: Shape (n, 3), mm.
        triangles: Turned outwards, shape (m, 3).
        radius: Of the cylinder on which it lies; ``None`` where it is plane or a wall's.
    """

    name: str
    points: FloatArray
    triangles: IntArray
    radius: float | None


class Surface(NamedTuple):
    """The patches joined.

    Attributes:
        points: Those of the first patch first and in order, shape (n, 3).
        triangles: All of them, shape (m, 3).
        patch: Which patch each triangle is of, shape (m,).
    """

    points: FloatArray
    triangles: IntArray
    patch: IntArray


def joined(patches: Sequence[Patch], size: float) -> Surface:
    """Return all patches as one closed surface, corners that coincide (``size``: of the whole) made one."""
    every = np.concatenate([patch.points for patch in patches])
    key = np.floor(every / (SAME * size) + _SHIFT)
    _, first, number = np.unique(key, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    place = np.empty(len(first), dtype=np.int64)
    place[order] = np.arange(len(first))
    number = place[number.ravel()]
    starts = np.cumsum([0] + [len(patch.points) for patch in patches])
    triangles = [number[patch.triangles + start] for patch, start in zip(patches, starts, strict=False)]
    return Surface(
        every[first[order]],
        np.concatenate(triangles),
        np.repeat(np.arange(len(triangles)), [len(part) for part in triangles]),
    )


def strip(
    edges: tuple[FloatArray, FloatArray], heights: FloatArray, radius: float, coarse: float
) -> tuple[FloatArray, IntArray]:
    """Return angles and heights of a filled strip of a cylinder: angles on edges, heights on sides."""
    first, last = edges
    loop = np.concatenate(
        [
            np.column_stack([first, np.full(len(first), heights[0])]),
            np.column_stack([np.full(len(heights) - 2, first[-1]), heights[1:-1]]),
            np.column_stack([last, np.full(len(last), heights[-1])])[::-1],
            np.column_stack([np.full(len(heights) - 2, first[0]), heights[1:-1]])[::-1],
        ]
    )
    flat, triangles = fill_plane([loop * [radius, 1.0]], min(coarse, 2 * math.pi * radius / FEWEST))
    flat[: len(loop)] = loop * [radius, 1.0]
    return flat / [radius, 1.0], triangles


def on_cylinder(flat: FloatArray, radius: float) -> FloatArray:
    """Return the places of angles and heights on a cylinder about the axis."""
    angle, height = flat.T
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), height])
