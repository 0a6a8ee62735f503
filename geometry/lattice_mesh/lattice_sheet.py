# SPDX-License-Identifier: MIT
"""The flat mesh of a wall with a lattice: copies of one column of cells, and discs over poles."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import whole_number, within
from annelid.geometry.errors import checking
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.footprint import footprint
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.lattice_mesh.flat_mesh import mesh_flat
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh, tiled
from annelid.geometry.lattice_mesh.pole_discs import PoleDiscs, closed_poles
from annelid.geometry.lattice_mesh.united_outlines import Outline

_SAMPLES = 400  # values of v at which the scale is tabulated for element sizes
_AROUND = 97  # values of u at which it is tabulated if the surface is not one of revolution
_DISC_RADIUS = 0.4  # of the largest radius: where discs over poles begin unless the lattice is in the way


@dataclass(frozen=True, kw_only=True)
class LatticeMeshSize:
    """Element sizes of a wall with a lattice.

    Attributes:
        along: Largest element size between the struts, mm.
        on_struts: Element size on the struts, mm; if it exceeds their width, one element spans a strut and
            has this length along it. ``None``: half of the width.
        through: Elements through each layer of the wall.
        through_struts: Elements through the height of the struts.
        sector: Angle of the modelled piece, degrees; 360 for the whole part.
        edge_zone: Length from either end over which elements grow from half of their size, mm, because an
            inflated wall has edge effects; 0 for none.
        separate_rings: Whether the end rings are a separate region, ``end ring``, or belong to ``lattice``.

    Raises:
        InputError: If a value is outside its range.
    """

    along: float
    on_struts: float | None = None
    through: int = 1
    through_struts: int = 1
    sector: float = 360.0
    edge_zone: float = 0.0
    separate_rings: bool = False

    def __post_init__(self) -> None:
        with checking("mesh"):
            within("along", self.along, above=0.0, unit="mm")
            if self.on_struts is not None:
                within("on_struts", self.on_struts, above=0.0, unit="mm")
            whole_number("through", self.through, least=1)
            whole_number("through_struts", self.through_struts, least=1)
            within("sector", self.sector, above=0.0, most=360.0, unit="deg")


class RingElectrode(NamedTuple):
    """An electrode around the wall: one layer between two values of v.

    Attributes:
        name: Name of the band.
        region: Name of the layer.
        low: Lower value of v.
        high: Upper value of v.
    """

    name: str
    region: str
    low: float
    high: float


class LatticeSheet(NamedTuple):
    """The flat mesh of a lattice and its wall.

    Attributes:
        mesh: The triangles; the pattern begins at (0, 0).
        width: Width of the pattern, rad.
        discs: Range of v of the pattern and the discs that close it.
    """

    mesh: FlatMesh
    width: float
    discs: PoleDiscs

    @property
    def start(self) -> FloatArray:
        """Values of u and v at the corner of the pattern."""
        return np.array([self.mesh.origin[0], self.discs.low])

    @property
    def triangle_v(self) -> FloatArray:
        """Values of v in the middle of every triangle."""
        middle = self.mesh.points[self.mesh.triangles].mean(axis=1)
        piece = self.mesh.piece[self.mesh.triangles[:, 0]]
        return self.discs.pattern_coordinates(middle, piece)[:, 1] + self.discs.low


def lattice_sheet(
    lattice: Lattice, size: LatticeMeshSize, electrodes: Sequence[RingElectrode] = ()
) -> LatticeSheet:
    """Mesh the chart of a lattice, with edges of triangles along struts and edges of electrodes.

    Raises:
        InputError: If the sector does not fit the cells, or the pattern does not match itself.
    """
    discs = PoleDiscs(lattice.chart, *_span(lattice, size, electrodes))
    mesh, width = _flat(lattice, size, electrodes, discs)
    return LatticeSheet(discs.with_discs(mesh, width, size.along), width, discs)


def _span(
    lattice: Lattice, size: LatticeMeshSize, electrodes: Sequence[RingElectrode]
) -> tuple[float, float]:
    """Least and largest v of the flat pattern: the ends of the chart, or the rims of discs over poles.

    The discs lie beyond the lattice and the edges of electrodes, where the surface is narrow.
    """
    chart = lattice.chart
    closed = closed_poles(chart)
    if not any(closed):
        return chart.low, chart.high
    v = np.linspace(chart.low, chart.high, _SAMPLES)
    scale = chart.scale(np.column_stack([np.zeros_like(v), v]))
    wide = v[scale > _DISC_RADIUS * scale.max()]
    edges = [edge for ring in electrodes for edge in (ring.low, ring.high) if chart.low < edge < chart.high]
    low, high = min(*lattice.extent, *edges), max(*lattice.extent, *edges)
    gap_low, gap_high = 2 * size.along / np.interp([low, high], v, scale)
    low = float(wide[0]) if wide[0] < low - gap_low else low
    high = float(wide[-1]) if wide[-1] > high + gap_high else high
    return low if closed[0] else chart.low, high if closed[1] else chart.high


def _flat(
    lattice: Lattice, size: LatticeMeshSize, electrodes: Sequence[RingElectrode], discs: PoleDiscs
) -> tuple[FlatMesh, float]:
    """The triangulated chart without discs over poles, and its width."""
    covered = footprint(lattice)
    size_factor, largest = _size_factor(lattice, size, discs)
    narrow = min(strut.width for strut in lattice.pattern.struts)
    fine = (narrow / 2 if size.on_struts is None else size.on_struts) / largest
    lines = {edge for ring in electrodes for edge in (ring.low, ring.high)}
    if size.separate_rings:
        lines |= {edge for interval in (lattice.cells, *lattice.rings) for edge in interval}
    shift = np.array([0.0, -discs.low])
    outlines = [
        (polygon.outer + shift, tuple(hole + shift for hole in polygon.holes)) for polygon in covered.polygons
    ]
    width, copies, periodic = covered.period, round(covered.columns), "x"
    if size.sector < 360.0:
        width, copies, periodic = lattice.half_columns(size.sector) * lattice.pattern.width / 2, 1, ""
        outlines = _repeated(outlines, covered.period, width)
    mesh = mesh_flat(
        outlines,
        (width, discs.high - discs.low),
        fine=fine,
        coarse=size.along / largest,
        narrowest=narrow / largest,
        periodic=periodic,
        lines=sorted(line - discs.low for line in lines),
        size_factor=size_factor,
    )
    return (tiled(mesh, width, copies) if copies > 1 else mesh), copies * width


def _size_factor(
    lattice: Lattice, size: LatticeMeshSize, discs: PoleDiscs
) -> tuple[Callable[[float, float], float], float]:
    """Factor of element sizes as a function of the position in the pattern, and the largest scale."""
    chart = lattice.chart
    u = np.linspace(0.0, PERIOD, 1 if chart.of_revolution else _AROUND)
    v = np.linspace(discs.low, discs.high, _SAMPLES)
    grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    scale = chart.scale(grid).reshape(len(u), len(v))
    largest = float(scale.max())
    table = largest / scale * _edge_refinement(v, scale.mean(axis=0), size.edge_zone)
    if chart.of_revolution:
        return lambda _x, y: float(np.interp(y + discs.low, v, table[0])), largest

    def size_factor(x: float, y: float) -> float:
        position = (x % PERIOD) / PERIOD * (len(u) - 1)
        left = min(int(position), len(u) - 2)
        fraction, at = position - left, y + discs.low
        return float(
            (1 - fraction) * np.interp(at, v, table[left]) + fraction * np.interp(at, v, table[left + 1])
        )

    return size_factor, largest


def _edge_refinement(v: FloatArray, scale: FloatArray, edge_zone: float) -> FloatArray:
    """Factor of element sizes along v: 0.5 at either end, growing to 1 over a length in mm."""
    if edge_zone <= 0.0:
        return np.ones_like(v)
    length = np.concatenate([[0.0], np.cumsum(np.diff(v) * (scale[1:] + scale[:-1]) / 2)])
    nearest = np.minimum(length, length[-1] - length)
    return np.asarray(0.5 + 0.5 * np.minimum(nearest / edge_zone, 1.0))


def _repeated(outlines: list[Outline], period: float, width: float) -> list[Outline]:
    moves = [np.array([i * period, 0.0]) for i in range(-1, math.ceil(width / period) + 1)]
    return [(outer + move, tuple(h + move for h in holes)) for move in moves for outer, holes in outlines]
