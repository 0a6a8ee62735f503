# SPDX-License-Identifier: MIT
"""Sections and volume of a scan after small motions, with patches that count differently often.

Both are linear in the motion, with the weights of the fits to the whole scan, so that hundreds of replicates
take a second.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from annelid.compare.alignment.poses import Pose
from annelid.compare.alignment.surface import BoolArray
from annelid.compare.deviation.radius_field import RadiusField
from annelid.compare.deviation.radius_map import cell_middles, cell_of, fill_index, near_medians, sparse
from annelid.compare.deviation.sections import PARTS, Sections, carried, section_fit, sections_of
from annelid.geometry.body import FloatArray, IntArray

_TURN, _SHIFT = 1e-5, 1e-4  # rad and mm: motions for derivatives
_HEIGHTS, _ANGLES = 50, 72


@dataclass(frozen=True)
class LinearSections:
    """Sections at k heights from points in p patches.

    Attributes:
        heights: Shape (k,), mm.
        centre: Shape (k, 2), mm.
        matrix: Normal matrices of the fits, shape (k, p, 5, 5).
        right: Their right sides, shape (k, p, 5).
        slope: How these change with a motion, shape (k, p, 5, 7).
        number: Numbers of points, shape (k, p, eighths).
    """

    heights: FloatArray
    centre: FloatArray
    matrix: FloatArray
    right: FloatArray
    slope: FloatArray
    number: FloatArray

    @classmethod
    def of(
        cls,
        points: FloatArray,
        normals: FloatArray,
        patch: IntArray,
        origin: FloatArray,
        radii: RadiusField,
        heights: FloatArray,
    ) -> "LinearSections":
        """Fit the sections of points, shape (n, 3), mm, with normals and patches, moved about an origin."""
        fit = section_fit(points, heights, radii)
        used, section = fit.used, fit.section

        def radius(moved: FloatArray) -> FloatArray:
            xy = carried(moved[used], heights[section], radii) - fit.centre[section]
            return np.asarray(np.hypot(xy[:, 0], xy[:, 1]))

        change = _derivatives(points, normals, origin, radius)
        count, patches = len(heights), int(patch.max()) + 1
        group, size = section * patches + patch[used], count * patches
        weighted = fit.weight[:, None] * fit.columns

        def summed(values: FloatArray) -> FloatArray:
            columns = values.reshape(len(values), -1).T
            total = np.stack([np.bincount(group, column, size) for column in columns], axis=1)
            return np.asarray(total.reshape(count, patches, *values.shape[1:]))

        return cls(
            heights,
            fit.centre,
            summed(weighted[:, :, None] * fit.columns[:, None]),
            summed(weighted * fit.radius[:, None]),
            summed(weighted[:, :, None] * change[:, None]),
            summed((fit.part[:, None] == np.arange(PARTS)).astype(float)),
        )

    def at(self, motion: FloatArray, draw: FloatArray) -> Sections:
        """Return the sections after a motion, shape (7,), with patches that count so often, shape (p,)."""
        matrix = np.einsum("kpij,p->kij", self.matrix, draw)
        right = np.einsum("kpi,p->ki", self.right + self.slope @ motion, draw)
        terms = np.einsum("kij,kj->ki", np.linalg.pinv(matrix, hermitian=True), right)
        inside = np.einsum("kpe,p->ke", self.number, draw)
        number = inside.sum(axis=1).astype(np.int64)
        return sections_of(self.heights, terms, self.centre, number, inside)


@dataclass(frozen=True)
class LinearVolume:
    """Enclosed volume from points in cells of height and angle, q pairs of cell and patch.

    Attributes:
        nominal: Volume enclosed by the simulated surface, mm³.
        radius: Nominal radius of the cells, shape (h a,), mm.
        area: Height times angle of a cell, mm rad.
        cell: Shape (q,).
        patch: Shape (q,).
        number: Points, shape (q,).
        near: Points that are no outliers, shape (q,).
        total: Their differences from the nominal radius, shape (q,), mm.
        slope: How these change with a motion, shape (q, 7).
    """

    nominal: float
    radius: FloatArray
    area: float
    cell: IntArray
    patch: IntArray
    number: FloatArray
    near: FloatArray
    total: FloatArray
    slope: FloatArray
    _filled: dict[bytes, IntArray] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        points: FloatArray,
        normals: FloatArray,
        patch: IntArray,
        origin: FloatArray,
        radii: RadiusField,
    ) -> "LinearVolume":
        """Average points, shape (n, 3), mm, with normals and patches, moved about an origin."""
        height, angle = cell_middles(radii, _HEIGHTS, _ANGLES)
        radius = radii.at(np.repeat(height, _ANGLES), np.tile(angle, _HEIGHTS))
        area = float((height[1] - height[0]) * 2.0 * np.pi / _ANGLES)
        cell, difference = cell_of(points, radii, _HEIGHTS, _ANGLES)
        change = _derivatives(
            points, normals, origin, lambda moved: cell_of(moved, radii, _HEIGHTS, _ANGLES)[1]
        )
        inside = np.flatnonzero(cell >= 0)
        cell, difference, change, patch = cell[inside], difference[inside], change[inside], patch[inside]
        near = near_medians(difference, np.ones(len(cell)), cell, len(radius)).astype(float)
        patches = int(patch.max(initial=0)) + 1
        pair, group = np.unique(cell * patches + patch, return_inverse=True)
        number, close, total, *slope = (
            np.bincount(group, column, len(pair))
            for column in (np.ones(len(cell)), near, near * difference, *(near * change.T))
        )
        return cls(
            0.5 * area * float((radius**2).sum()),
            radius,
            area,
            pair // patches,
            pair % patches,
            number,
            close,
            total,
            np.stack(slope, axis=1),
        )

    def at(self, motion: FloatArray, draw: FloatArray) -> float:
        """Return the volume, mm³, after a motion, shape (7,), with patches that count so often."""
        times, size = draw[self.patch], len(self.radius)
        number, near = (np.bincount(self.cell, times * x, size) for x in (self.number, self.near))
        total = np.bincount(self.cell, times * (self.total + self.slope @ motion), size)
        known = ~sparse(number) & (near > 0)
        if not known.any():
            return float("nan")
        difference = (total / np.maximum(near, 1.0))[self._nearest(known)]
        return float(0.5 * self.area * ((self.radius + difference) ** 2).sum())

    def _nearest(self, known: BoolArray) -> IntArray:
        """The nearest known cell of each; replicates with the same patches share it."""
        key = known.tobytes()
        if key not in self._filled:
            self._filled[key] = fill_index(known.reshape(_HEIGHTS, _ANGLES))
        return self._filled[key]


def _derivatives(
    points: FloatArray,
    normals: FloatArray,
    origin: FloatArray,
    function: Callable[[FloatArray], FloatArray],
) -> FloatArray:
    """Change of a function of the points with rotation, shift and common motion along normals, (n, 7)."""
    still, columns = Pose(np.eye(3), np.zeros(3)), []
    for i in range(7):
        size = _TURN if i < 3 else _SHIFT
        ends = []
        for sign in (1.0, -1.0):
            if i < 6:
                ends.append(function(still.moved(sign * size * np.eye(6)[i], origin).apply(points)))
            else:
                ends.append(function(points + sign * size * normals))
        columns.append((ends[0] - ends[1]) / (2.0 * size))
    return np.stack(columns, axis=1)
