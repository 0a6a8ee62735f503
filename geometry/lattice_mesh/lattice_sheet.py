# SPDX-License-Identifier: MIT
"""The flat mesh of a wall with a lattice: one column of cells in the chart, copied, closed over poles."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import whole_number, within
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.footprint import footprint
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.lattice_mesh.flat_mesh import Outline, mesh_flat
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh, tiled
from annelid.geometry.lattice_mesh.pole_caps import Caps, poles

_SAMPLES = 400  # places along v at which the scale is tabulated for element sizes
_AROUND = 97  # places around at which it is, where the surface is not the same all around
_CAP = 0.4  # share of the largest radius at which discs over poles begin, if nothing is in their way


@dataclass(frozen=True, kw_only=True)
class LatticeMesh:
    """How a wall with a lattice is meshed.

    Attributes:
        along: Largest element size between the struts, mm.
        on_struts: Element size on the struts, mm; above their width one element lies across a strut and
            elements are as long along it. ``None``: half of the width.
        through: Elements through each layer of the wall.
        through_struts: Elements through the height of the struts.
        sector: Opening angle of the modelled piece, degrees; 360 for the whole part.
        rim: Length from either end over which elements grow from half of their size, mm, where a wall drawn
            stretched has edge effects; 0 for none.
        rings: Whether the end rings are a region of their own, ``end ring``, or belong to ``lattice``.

    Raises:
        InputError: If a value is outside its range.
    """

    along: float
    on_struts: float | None = None
    through: int = 1
    through_struts: int = 1
    sector: float = 360.0
    rim: float = 0.0
    rings: bool = False

    def __post_init__(self) -> None:
        within("mesh.along", self.along, above=0.0, unit="mm")
        if self.on_struts is not None:
            within("mesh.on_struts", self.on_struts, above=0.0, unit="mm")
        whole_number("mesh.through", self.through, least=1)
        whole_number("mesh.through_struts", self.through_struts, least=1)
        within("mesh.sector", self.sector, above=0.0, most=360.0, unit="degrees")


class Ring(NamedTuple):
    """An electrode around the wall: one layer between two values of v."""

    name: str
    region: str
    low: float
    high: float


class LatticeSheet(NamedTuple):
    """A lattice and its wall, flat.

    Attributes:
        mesh: The triangles; the pattern begins at (0, 0).
        width: Width of the pattern, rad.
        caps: Where it begins and ends along v, and what closes it.
    """

    mesh: FlatMesh
    width: float
    caps: Caps

    @property
    def start(self) -> FloatArray:
        """U and v of the corner of the pattern."""
        return np.array([self.mesh.origin[0], self.caps.low])

    @property
    def heights(self) -> FloatArray:
        """Values of v in the middle of every triangle."""
        middle = self.mesh.points[self.mesh.triangles].mean(axis=1)
        return self.caps.unrolled(middle, self.mesh.disc[self.mesh.triangles[:, 0]])[:, 1] + self.caps.low


def lattice_sheet(lattice: Lattice, size: LatticeMesh, electrodes: Sequence[Ring] = ()) -> LatticeSheet:
    """Mesh the chart of a lattice, with edges of triangles along struts and edges of electrodes.

    Raises:
        InputError: If the sector does not fit the cells, or the pattern not to itself.
    """
    caps = Caps(lattice.chart, *_span(lattice, size, electrodes))
    mesh, width = _flat(lattice, size, electrodes, caps)
    return LatticeSheet(caps.closing(mesh, width, size.along), width, caps)


def _span(lattice: Lattice, size: LatticeMesh, electrodes: Sequence[Ring]) -> tuple[float, float]:
    """Least and largest v of the flat pattern: the ends of the chart, or where discs over poles begin.

    These begin behind the lattice and the edges of electrodes, where the surface has narrowed.
    """
    chart = lattice.chart
    closed = poles(chart)
    if not any(closed):
        return chart.low, chart.high
    v = np.linspace(chart.low, chart.high, _SAMPLES)
    scale = chart.scale(np.column_stack([np.zeros_like(v), v]))
    wide = v[scale > _CAP * scale.max()]
    edges = [edge for ring in electrodes for edge in (ring.low, ring.high) if chart.low < edge < chart.high]
    low, high = min(*lattice.extent, *edges), max(*lattice.extent, *edges)
    room_low, room_high = 2 * size.along / np.interp([low, high], v, scale)
    low = float(wide[0]) if wide[0] < low - room_low else low
    high = float(wide[-1]) if wide[-1] > high + room_high else high
    return low if closed[0] else chart.low, high if closed[1] else chart.high


def _flat(
    lattice: Lattice, size: LatticeMesh, electrodes: Sequence[Ring], caps: Caps
) -> tuple[FlatMesh, float]:
    """The chart triangulated from (0, low) on, without discs over poles, and its width."""
    covered = footprint(lattice)
    swell, largest = _swelling(lattice, size, caps)
    narrow = min(strut.width for strut in lattice.pattern.struts)
    fine = (narrow / 2 if size.on_struts is None else size.on_struts) / largest
    cuts = {edge for ring in electrodes for edge in (ring.low, ring.high)}
    cuts |= {edge for band in (lattice.cells, *lattice.rings) for edge in band} if size.rings else set()
    shift = np.array([0.0, -caps.low])
    outlines = [
        (polygon.outer + shift, tuple(hole + shift for hole in polygon.holes)) for polygon in covered.polygons
    ]
    width, copies, seams = covered.period, round(covered.columns), "x"
    if size.sector < 360.0:
        width, copies, seams = lattice.half_columns(size.sector) * lattice.pattern.width / 2, 1, ""
        outlines = _repeated(outlines, covered.period, width)
    mesh = mesh_flat(
        outlines,
        (width, caps.high - caps.low),
        fine=fine,
        coarse=size.along / largest,
        detail=narrow / largest,
        seams=seams,
        cuts=sorted(cut - caps.low for cut in cuts),
        swell=swell,
    )
    return (tiled(mesh, width, copies) if copies > 1 else mesh), copies * width


def _swelling(
    lattice: Lattice, size: LatticeMesh, caps: Caps
) -> tuple[Callable[[float, float], float], float]:
    """Factor of element sizes over the pattern, and the largest scale."""
    chart = lattice.chart
    u = np.linspace(0.0, PERIOD, 1 if chart.of_revolution else _AROUND)
    v = np.linspace(caps.low, caps.high, _SAMPLES)
    grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    scale = chart.scale(grid).reshape(len(u), len(v))
    largest = float(scale.max())
    table = largest / scale * _towards_rims(v, scale.mean(axis=0), size.rim)
    if chart.of_revolution:
        return lambda _x, y: float(np.interp(y + caps.low, v, table[0])), largest

    def swell(x: float, y: float) -> float:
        place = (x % PERIOD) / PERIOD * (len(u) - 1)
        left = min(int(place), len(u) - 2)
        share, at = place - left, y + caps.low
        return float((1 - share) * np.interp(at, v, table[left]) + share * np.interp(at, v, table[left + 1]))

    return swell, largest


def _towards_rims(v: FloatArray, scale: FloatArray, rim: float) -> FloatArray:
    """Factor of element sizes along v: a half at either end, 1 from ``rim`` mm on."""
    if rim <= 0.0:
        return np.ones_like(v)
    length = np.concatenate([[0.0], np.cumsum(np.diff(v) * (scale[1:] + scale[:-1]) / 2)])
    nearest = np.minimum(length, length[-1] - length)
    return np.asarray(0.5 + 0.5 * np.minimum(nearest / rim, 1.0))


def _repeated(outlines: list[Outline], period: float, width: float) -> list[Outline]:
    moves = [np.array([i * period, 0.0]) for i in range(-1, math.ceil(width / period) + 1)]
    return [(outer + move, tuple(h + move for h in holes)) for move in moves for outer, holes in outlines]
