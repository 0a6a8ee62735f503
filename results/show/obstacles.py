# SPDX-License-Identifier: MIT
"""Rigid obstacles as surfaces of about the size of the part."""

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.results.fields.facets import revolved, without_degenerate_triangles
from annelid.results.fields.placement import Placement
from annelid.results.fields.state_fields import in_space
from annelid.solver.model.contact import Contact

_BEYOND = 0.15  # of the size of the part, by which an obstacle reaches beyond it
_STATIONS = 96
_ARCS = 48  # pieces of a sphere from pole to pole


def obstacle_surface(contact: Contact, position: float, points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return an obstacle as points, shape (n, 3), and triangles.

    Of an obstacle around the part only the half with Y > 0 is returned, so that the part is visible.

    Args:
        contact: The obstacle.
        position: Its present position, mm.
        points: Points of the part, shape (n, 3), which limit the size of an obstacle.
    """
    radius = float(np.hypot(*points.T[:2]).max())
    low, high = float(points[:, 2].min()), float(points[:, 2].max())
    margin = _BEYOND * max(high - low, radius)
    low, high, reach = low - margin, high + margin, radius + margin
    match contact.kind:
        case "cylinder" | "cone":
            slope = np.tan(np.radians(contact.angle)) if contact.kind == "cone" else 0.0
            ends = np.array([low, high])
            outline = np.column_stack([position + slope * (ends - contact.height), ends])
            outline[:, 0] = np.maximum(outline[:, 0], 0.0)
        case "sphere":
            angle = np.linspace(-0.5 * np.pi, 0.5 * np.pi, _ARCS + 1)
            outline = position * np.column_stack([np.cos(angle), np.sin(angle)]) + [0.0, contact.height]
        case "plane":
            outline = np.array([[0.0, position], [reach, position]])
        case _:
            return _side(contact, position, reach, (low, high))
    if contact.kind in ("cylinder", "cone") and contact.part_is == "outside":
        outline = np.concatenate([[[0.0, outline[0, 1]]], outline, [[0.0, outline[1, 1]]]])  # closed ends
    return _swept(outline, half=contact.part_is == "inside" and contact.kind != "plane")


def _swept(outline: FloatArray, *, half: bool) -> tuple[FloatArray, IntArray]:
    lines = np.column_stack([np.arange(len(outline) - 1), np.arange(1, len(outline))])
    count = _STATIONS // 2 + 1 if half else _STATIONS
    angles = 2.0 * np.pi / _STATIONS * np.arange(count, dtype=float)
    triangles = revolved(lines, len(outline), len(angles), full=not half)
    images = Placement(np.tile(np.arange(len(outline)), count), np.repeat(angles, len(outline)))
    return images.place(in_space(outline)), without_degenerate_triangles(triangles)


def _side(
    contact: Contact, position: float, reach: float, ends: tuple[float, float]
) -> tuple[FloatArray, IntArray]:
    angle = np.radians(contact.angle)
    normal = np.array([np.cos(angle), np.sin(angle), 0.0])
    across = np.array([-np.sin(angle), np.cos(angle), 0.0])
    corners = [(-reach, ends[0]), (reach, ends[0]), (reach, ends[1]), (-reach, ends[1])]
    points = np.array([position * normal + a * across + [0.0, 0.0, z] for a, z in corners])
    return points, np.array([[0, 1, 2], [0, 2, 3]])
