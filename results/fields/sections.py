# SPDX-License-Identifier: MIT
"""Cross-sections of the drawn and the deformed part as line segments by region."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.results.fields.facets import boundary_faces, line_segments, triangulated


@dataclass(frozen=True)
class SectionOutline:
    """Outline of one region in a plane.

    Attributes:
        region: Name of the region.
        drawn: Segments before loading, shape (k, 2, 2), mm.
        deformed: The same material segments in the current state, shape (k, 2, 2), mm.
    """

    region: str
    drawn: FloatArray
    deformed: FloatArray


def meridian_sections(body: Body, displacement: FloatArray) -> list[SectionOutline]:
    """Return the outlines of the regions in the meridian plane; coordinates Z, R."""
    sections = []
    for name, cells in body.regions.items():
        lines = line_segments(boundary_faces(body.cells[cells], body.cell_type))
        drawn = body.points[lines][..., ::-1]
        sections.append(SectionOutline(name, drawn, drawn + displacement[lines][..., ::-1]))
    return sections


def cross_sections(body: Body, displacement: FloatArray, height: float) -> list[SectionOutline]:
    """Return the outlines of the regions in the plane at a height of the drawn part; coordinates X, Y."""
    # The plane is offset slightly, because a plane through nodes would contain whole edges of triangles;
    # towards the middle, because beyond an end it would contain nothing.
    low, high = body.points[:, 2].min(), body.points[:, 2].max()
    plane = height + 1e-6 * (high - low) * (1.0 if height < 0.5 * (low + high) else -1.0)
    sections = []
    for name, cells in body.regions.items():
        triangles = triangulated(boundary_faces(body.cells[cells], body.cell_type))
        sections.append(SectionOutline(name, *_cut(body.points, displacement, triangles, plane)))
    return sections


def most_changed_height(body: Body, displacement: FloatArray) -> float:
    """Return the height at which the radius has changed most, mm."""
    xy, shift = body.points[:, :2], displacement[:, :2]
    change = np.abs(np.hypot(*(xy + shift).T) - np.hypot(*xy.T))
    return float(body.points[np.argmax(change), 2])


def _cut(
    points: FloatArray, displacement: FloatArray, triangles: IntArray, plane: float
) -> tuple[FloatArray, FloatArray]:
    above = points[:, 2] > plane
    count = above[triangles].sum(axis=1)
    crossed = triangles[(count > 0) & (count < 3)]
    # Permute each triangle so that the single corner on one side of the plane comes first.
    single = np.where(above[crossed].sum(axis=1)[:, None] == 1, above[crossed], ~above[crossed]).argmax(
        axis=1
    )
    turned = crossed[np.arange(len(crossed))[:, None], (single[:, None] + [0, 1, 2]) % 3]
    a, ends = turned[:, :1], turned[:, 1:]
    fraction = ((plane - points[a, 2]) / (points[ends, 2] - points[a, 2]))[..., None]
    drawn = points[a] + fraction * (points[ends] - points[a])
    shift = displacement[a] + fraction * (displacement[ends] - displacement[a])
    return drawn[..., :2], (drawn + shift)[..., :2]
