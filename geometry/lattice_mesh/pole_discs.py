# SPDX-License-Identifier: MIT
"""Discs that close a flat mesh over poles, where the coordinates of the chart are singular."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice.chart import PERIOD, Chart, RevolutionChart
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh
from annelid.geometry.meshing.fill import fill_plane, graded_divisions

LOW, HIGH = 1, 2
"""Numbers of the flat pieces of a mesh besides the pattern (0): discs over the low and the high pole."""

_SAME = 1e-9  # rad, or of the radius of a disc


@dataclass(frozen=True)
class PoleDiscs:
    """A flat pattern from v = low to v = high with discs over the closed poles of its surface.

    The distance of a point of a disc from its centre is the arc length of the meridian from the pole,
    relative to that of the rim; its direction is that of the meridian. These coordinates are smooth at the
    pole, unlike u and v. The low disc is mirrored, so that all flat pieces show the outside of the surface.

    Attributes:
        chart: The surface.
        low: Least v of the pattern.
        high: Largest v of the pattern.
    """

    chart: Chart
    low: float
    high: float

    @property
    def closed(self) -> dict[int, bool]:
        """Whether there is a disc over the low and over the high pole, by the number of the disc."""
        low, high = closed_poles(self.chart)
        return {LOW: low, HIGH: high}

    def rim_distance(self, disc: int) -> float:
        """Arc length of the meridian from a pole to the rim of its disc, mm."""
        return self._arcs(disc)[1]

    def pattern_coordinates(self, flat: FloatArray, disc: IntArray) -> FloatArray:
        """Return u and v - low of points of all flat pieces; v is infinite at the poles.

        Args:
            flat: Points of the pattern as u and v - low, points of discs in the coordinates of the disc.
            disc: Number of the piece of each point.
        """
        mapped = flat.copy()
        for number in (LOW, HIGH):
            at = disc == number
            if not at.any():
                continue
            assert isinstance(self.chart, RevolutionChart)
            pole, rim_distance = self._arcs(number)
            x, y = flat[at, 0], flat[at, 1] * (-1.0 if number == LOW else 1.0)
            angle, fraction = np.arctan2(y, x) % PERIOD, np.hypot(x, y)
            angle[(angle > PERIOD - _SAME) | (fraction < _SAME)] = 0.0
            fraction[fraction < _SAME] = 0.0
            arc = pole + (1.0 if number == LOW else -1.0) * fraction * rim_distance
            mapped[at] = np.column_stack([angle, self.chart.v_at_arc(arc) - self.low])
        return mapped

    def with_discs(self, mesh: FlatMesh, width: float, coarse: float) -> FlatMesh:
        """Return the mesh of a pattern with its discs.

        Args:
            mesh: Mesh of the pattern, all around or a sector of it.
            width: Width of the pattern, rad.
            coarse: Largest element size, mm.
        """
        for disc, y in ((LOW, 0.0), (HIGH, self.high - self.low)):
            if self.closed[disc]:
                mesh = self._with_disc(mesh, width, disc, y, coarse)
        return mesh

    def _arcs(self, disc: int) -> tuple[float, float]:
        """Arc length of the meridian at a pole, and arc length from there to the rim."""
        assert isinstance(self.chart, RevolutionChart)
        rim = float(self.chart.arc_at(np.array(self.low if disc == LOW else self.high)))
        pole = 0.0 if disc == LOW else self.chart.meridian.length
        return pole, abs(pole - rim)

    def _with_disc(self, mesh: FlatMesh, width: float, disc: int, y: float, coarse: float) -> FlatMesh:
        full = width > PERIOD - _SAME
        rim = _rim(mesh, y)
        angle = mesh.points[rim, 0]
        if full:
            rim, angle = rim[:-1], angle[:-1]
        sign = -1.0 if disc == LOW else 1.0
        coarse /= self.rim_distance(disc)
        loop = np.column_stack([np.cos(angle), sign * np.sin(angle)])
        if not full:
            loop = np.concatenate([loop, _sides(loop, coarse)])
        points, triangles = fill_plane([loop], coarse)
        count, new = len(mesh.points), np.arange(len(points))
        representative, cutting_rank = count + new, mesh.cutting_rank.max() + 1 + new
        representative[: len(rim)], cutting_rank[: len(rim)] = rim, mesh.cutting_rank[rim]
        return FlatMesh(
            np.concatenate([mesh.points, points]),
            np.concatenate([mesh.triangles, count + triangles]),
            np.concatenate([mesh.on_strut, np.zeros(len(triangles), dtype=bool)]),
            mesh.origin,
            np.concatenate([mesh.cutting_rank, cutting_rank]),
            np.concatenate([mesh.piece, np.full(len(points), disc)]),
            np.concatenate([mesh.representative, representative]),
        )


def closed_poles(chart: Chart) -> tuple[bool, bool]:
    """Return whether the low and the high end of a surface are closed poles."""
    return chart.meridian.poles if isinstance(chart, RevolutionChart) else (False, False)


def _rim(mesh: FlatMesh, y: float) -> IntArray:
    """Corners of the pattern on one end, in order of u."""
    tolerance = _SAME * max(1.0, float(np.ptp(mesh.points[mesh.piece == 0, 1])))
    rim = np.flatnonzero((np.abs(mesh.points[:, 1] - y) < tolerance) & (mesh.piece == 0))
    return rim[np.argsort(mesh.points[rim, 0])]


def _sides(rim: FloatArray, coarse: float) -> FloatArray:
    """Corners along the sides of a sector of a disc, from the end of the rim to the centre and back."""
    first, last = (float(np.linalg.norm(rim[i] - rim[i + 1])) for i in (0, -2))
    out, back = (1 - graded_divisions(1.0, (size, coarse), coarse)[1:-1, None] for size in (last, first))
    return np.concatenate([rim[-1] * out, np.zeros((1, 2)), (rim[0] * back)[::-1]])
