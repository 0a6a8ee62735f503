# SPDX-License-Identifier: MIT
"""Flat meshes that go on over closed poles: a disc at an end, around whose centre the chart has no place."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice.chart import PERIOD, Chart, RevolutionChart
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh
from annelid.geometry.meshing.fill import fill_plane, graded_divisions

LOW, HIGH = 1, 2
"""Flat pieces of a mesh beside the pattern itself (0): discs over the low and over the high pole."""

_SAME = 1e-9  # rad, or share of a disc's radius


@dataclass(frozen=True)
class Caps:
    """Where a flat pattern from v = low to v = high is closed by discs over poles.

    A point of a disc has the distance from its centre (rim: 1) and the direction of the place on the
    meridian, whose distances from the pole are measured along it: smooth at the pole, where u and v are not.
    The low disc is seen from the other side, so that all flat pieces look at the outside.

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
        """Whether there is a disc over the low and over the high pole."""
        low, high = poles(self.chart)
        return {LOW: low, HIGH: high}

    def reach(self, disc: int) -> float:
        """Distance of a disc's rim from its pole along the meridian, mm."""
        return self._arcs(disc)[1]

    def unrolled(self, flat: FloatArray, disc: IntArray) -> FloatArray:
        """Return u and v - low of points of all flat pieces; v is infinite at the poles.

        Args:
            flat: Points of the pattern as u and v - low, those of discs in their own coordinates.
            disc: Which piece each is of.
        """
        found = flat.copy()
        for number in (LOW, HIGH):
            at = disc == number
            if not at.any():
                continue
            assert isinstance(self.chart, RevolutionChart)
            pole, reach = self._arcs(number)
            x, y = flat[at, 0], flat[at, 1] * (-1.0 if number == LOW else 1.0)
            angle, share = np.arctan2(y, x) % PERIOD, np.hypot(x, y)
            angle[(angle > PERIOD - _SAME) | (share < _SAME)] = 0.0
            share[share < _SAME] = 0.0
            arc = pole + (1.0 if number == LOW else -1.0) * share * reach
            found[at] = np.column_stack([angle, self.chart.v_at_arc(arc) - self.low])
        return found

    def closing(self, mesh: FlatMesh, width: float, coarse: float) -> FlatMesh:
        """Return a pattern with its discs.

        Args:
            mesh: The pattern, all around or a sector of it.
            width: Its width, rad.
            coarse: Largest element size, mm.
        """
        for disc, y in ((LOW, 0.0), (HIGH, self.high - self.low)):
            if self.closed[disc]:
                mesh = self._with_disc(mesh, width, disc, y, coarse)
        return mesh

    def _arcs(self, disc: int) -> tuple[float, float]:
        """Arc length of the meridian at a pole, and from there to the rim."""
        assert isinstance(self.chart, RevolutionChart)
        rim = float(self.chart.arc_at(np.array(self.low if disc == LOW else self.high)))
        pole = 0.0 if disc == LOW else self.chart.meridian.length
        return pole, abs(pole - rim)

    def _with_disc(self, mesh: FlatMesh, width: float, disc: int, y: float, coarse: float) -> FlatMesh:
        whole = width > PERIOD - _SAME
        rim = _rim(mesh, y)
        angle = mesh.points[rim, 0]
        if whole:
            rim, angle = rim[:-1], angle[:-1]
        way = -1.0 if disc == LOW else 1.0
        coarse /= self.reach(disc)
        loop = np.column_stack([np.cos(angle), way * np.sin(angle)])
        if not whole:
            loop = np.concatenate([loop, _sides(loop, coarse)])
        points, triangles = fill_plane([loop], coarse)
        count, new = len(mesh.points), np.arange(len(points))
        twin, rank = count + new, mesh.rank.max() + 1 + new
        twin[: len(rim)], rank[: len(rim)] = rim, mesh.rank[rim]
        return FlatMesh(
            np.concatenate([mesh.points, points]),
            np.concatenate([mesh.triangles, count + triangles]),
            np.concatenate([mesh.strut, np.zeros(len(triangles), dtype=bool)]),
            mesh.origin,
            np.concatenate([mesh.rank, rank]),
            np.concatenate([mesh.disc, np.full(len(points), disc)]),
            np.concatenate([mesh.twin, twin]),
        )


def poles(chart: Chart) -> tuple[bool, bool]:
    """Whether the low and the high end of a surface are closed poles."""
    return chart.meridian.poles if isinstance(chart, RevolutionChart) else (False, False)


def _rim(mesh: FlatMesh, y: float) -> IntArray:
    """Corners of the pattern on an end, in order of u."""
    slip = _SAME * max(1.0, float(np.ptp(mesh.points[mesh.disc == 0, 1])))
    rim = np.flatnonzero((np.abs(mesh.points[:, 1] - y) < slip) & (mesh.disc == 0))
    return rim[np.argsort(mesh.points[rim, 0])]


def _sides(rim: FloatArray, coarse: float) -> FloatArray:
    """Corners along the sides of a sector of a disc: from the end of its rim to the centre, and back."""
    first, last = (float(np.linalg.norm(rim[i] - rim[i + 1])) for i in (0, -2))
    out, back = (1 - graded_divisions(1.0, (size, coarse), coarse)[1:-1, None] for size in (last, first))
    return np.concatenate([rim[-1] * out, np.zeros((1, 2)), (rim[0] * back)[::-1]])
