# SPDX-License-Identifier: MIT
"""The closed surface of a core: its face on the wall, bare sides, ends, lumen and planes of a sector."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice_mesh.surface_patches import (
    MERGE_TOLERANCE,
    MIN_CIRCLE_EDGES,
    Patch,
    PatchedSurface,
    cylinder_strip,
    join_patches,
    on_cylinder,
)
from annelid.geometry.meshing.fill import fill_plane, graded_divisions

_ENDS = ("low", "high")


@dataclass(frozen=True, kw_only=True)
class Core:
    """A cylinder within a wall, solid or hollow.

    Attributes:
        radius: Outer radius, at which the wall begins, mm.
        inner_radius: Radius of its lumen, mm; 0 for a solid core.
        low: Height Z of its low end, mm.
        high: Height Z of its high end, mm.
        along: Largest element size, mm.
    """

    radius: float
    low: float
    high: float
    along: float
    inner_radius: float = 0.0


@dataclass(frozen=True)
class CoreSurface:
    """The surface of a core that conforms to the mesh of the inner face of a wall.

    Attributes:
        core: The core.
        points: Corners of the inner face of the wall, shape (n, 3), mm.
        triangles: Triangles of this face, oriented away from the axis, shape (m, 3).
        sector_angle: Angle of the sector, which begins at 0, rad; 2 pi for the whole part.
    """

    core: Core
    points: FloatArray
    triangles: IntArray
    sector_angle: float

    @property
    def is_whole(self) -> bool:
        """Whether the core is modelled all around."""
        return self.sector_angle > 2 * math.pi - MERGE_TOLERANCE

    @cached_property
    def patches(self) -> list[Patch]:
        """All patches of the surface; the face on the wall is the first."""
        patches = [Patch("", self.points, self.triangles, None)]
        patches += [self._bare(end) for end in _ENDS if self._overhangs(end)]
        patches += [self._end(end) for end in _ENDS]
        if self.core.inner_radius:
            patches.append(self._lumen())
        if not self.is_whole:
            patches += [self._plane(side) for side in _ENDS]
        return patches

    def closed_surface(self) -> PatchedSurface:
        """Return the whole surface; the corners of the wall come first."""
        return join_patches(self.patches, max(self.core.radius, self.core.high - self.core.low))

    def _height(self, end: str) -> float:
        return self.core.low if end == "low" else self.core.high

    def _wall_height(self, end: str) -> float:
        z = self.points[:, 2]
        return float(z.min() if end == "low" else z.max())

    def _overhangs(self, end: str) -> bool:
        return abs(self._wall_height(end) - self._height(end)) > MERGE_TOLERANCE * self.core.radius

    def _wall_angles(self, end: str) -> FloatArray:
        """Angles of the corners on an end of the wall, ascending; on a full circle the first is repeated."""
        at_end = np.abs(self.points[:, 2] - self._wall_height(end)) < MERGE_TOLERANCE * self.core.radius
        x, y, _ = self.points[at_end].T
        return self._closed(np.sort(self._angle(x, y)))

    def _angle(self, x: FloatArray, y: FloatArray) -> FloatArray:
        angle = np.arctan2(y, x) % (2 * math.pi)
        angle[angle > 2 * math.pi - MERGE_TOLERANCE] = 0.0
        return angle

    def _closed(self, angle: FloatArray) -> FloatArray:
        return np.append(angle, angle[0] + 2 * math.pi) if self.is_whole else angle

    def _even(self, start: float, radius: float) -> FloatArray:
        """Evenly spaced angles from ``start``, as many as elements fit around a circle."""
        least = math.ceil(MIN_CIRCLE_EDGES * self.sector_angle / (2 * math.pi))
        count = max(least, math.ceil(self.sector_angle * radius / self.core.along))
        return start + np.linspace(0.0, self.sector_angle, count + 1)

    def _end_angles(self, end: str) -> FloatArray:
        """Angles of the corners on the outer edge of an end of the core, both limits included."""
        wall = self._wall_angles(end)
        return self._even(float(wall[0]), self.core.radius) if self._overhangs(end) else wall

    @cached_property
    def _lumen_angles(self) -> FloatArray:
        return self._even(0.0, self.core.inner_radius)

    @cached_property
    def _lumen_heights(self) -> FloatArray:
        """Heights of the corners along the lumen, or along the axis of a solid sector."""
        step = self.core.along
        if self.core.inner_radius:
            step = min(step, self.core.inner_radius * float(np.diff(self._lumen_angles).max()))
        return self.core.low + graded_divisions(self.core.high - self.core.low, (step, step), step)

    def _bare_heights(self, end: str) -> FloatArray:
        """Heights of the corners along a bare side, from the end of the wall to the end of the core."""
        wall, outer = self._wall_height(end), self._height(end)
        sizes = [
            self.core.radius * float(np.diff(a).mean())
            for a in (self._wall_angles(end), self._end_angles(end))
        ]
        direction = 1.0 if outer > wall else -1.0
        return wall + direction * graded_divisions(abs(outer - wall), (sizes[0], sizes[1]), self.core.along)

    def _bare(self, end: str) -> Patch:
        """The bare side of the core beyond an end of the wall."""
        heights, radius = self._bare_heights(end), self.core.radius
        edges = self._wall_angles(end), self._end_angles(end)
        flat, triangles = cylinder_strip(edges, heights, radius, self.core.along)
        return Patch("core_side", on_cylinder(flat, radius), triangles, radius)

    def _lumen(self) -> Patch:
        radius, angle = self.core.inner_radius, self._lumen_angles
        flat, triangles = cylinder_strip((angle, angle), self._lumen_heights, radius, self.core.along)
        return Patch("lumen", on_cylinder(flat, radius), triangles[:, ::-1], radius)

    def _radii(self, end: str, side: str) -> FloatArray:
        """Radii of the corners on the edge between an end of the core and a plane of the sector."""
        inner, outer = self.core.inner_radius, self.core.radius
        edge = np.diff(self._end_angles(end))[0 if side == "low" else -1] * outer
        middle = inner * float(np.diff(self._lumen_angles).max()) if inner else self.core.along
        return inner + graded_divisions(outer - inner, (middle, float(edge)), self.core.along)

    def _end(self, end: str) -> Patch:
        """An end of the core: a disc or a ring, or a sector of one."""
        outer = self._end_angles(end)
        ring = self.core.radius * np.column_stack([np.cos(outer), np.sin(outer)])
        inner = self.core.inner_radius * np.column_stack(
            [np.cos(self._lumen_angles), np.sin(self._lumen_angles)]
        )
        if self.is_whole:
            loops = [ring[:-1], inner[:-1]] if self.core.inner_radius else [ring[:-1]]
        else:
            direction = np.array([math.cos(self.sector_angle), math.sin(self.sector_angle)])
            first = self._radii(end, "low")[:, None] * [1.0, 0.0]
            last = self._radii(end, "high")[::-1, None] * direction
            back = inner[::-1][:-1] if self.core.inner_radius else inner[:0]  # a solid core reaches the axis
            loops = [np.concatenate([first[:-1], ring, last[1:-1], back])]
        flat, triangles = fill_plane(loops, self.core.along)
        points = np.column_stack([flat, np.full(len(flat), self._height(end))])
        return Patch(f"core_end_{end}", points, triangles if end == "high" else triangles[:, ::-1], None)

    def _plane(self, side: str) -> Patch:
        """A plane of the sector, meshed over radius and height."""
        angle = 0.0 if side == "low" else self.sector_angle
        x, y, z = self.points.T
        wall = np.sort(z[np.abs(np.arctan2(y, x) - angle) < MERGE_TOLERANCE])
        below = self._bare_heights("low")[:0:-1] if self._overhangs("low") else wall[:0]
        above = self._bare_heights("high")[1:] if self._overhangs("high") else wall[:0]
        outer = np.concatenate([below, wall, above])
        low, high = (self._radii(end, side) for end in _ENDS)
        inner = self._lumen_heights
        loop = np.concatenate(
            [
                np.column_stack([low[:-1], np.full(len(low) - 1, self.core.low)]),
                np.column_stack([np.full(len(outer), self.core.radius), outer]),
                np.column_stack([high[::-1], np.full(len(high), self.core.high)])[1:],
                np.column_stack([np.full(len(inner), self.core.inner_radius), inner])[::-1][1:-1],
            ]
        )
        flat, triangles = fill_plane([loop], self.core.along)
        r, height = flat.T
        points = np.column_stack([r * math.cos(angle), r * math.sin(angle), height])
        return Patch(f"side_{side}", points, triangles if side == "low" else triangles[:, ::-1], None)
