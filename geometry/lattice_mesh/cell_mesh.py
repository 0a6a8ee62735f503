# SPDX-License-Identifier: MIT
"""One period of a flat lattice as a solid slab whose mesh matches at its periodic edges."""

from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.checks import within
from annelid.geometry.lattice.chart import PERIOD, SurfacePoints
from annelid.geometry.lattice.footprint import footprint
from annelid.geometry.lattice.pattern import Pattern
from annelid.geometry.lattice.scale_profile import Interval
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.lattice_mesh.extruded_body import STRUTS, WallPoints, extruded_body
from annelid.geometry.lattice_mesh.extrusion import Slab, extrude
from annelid.geometry.lattice_mesh.flat_mesh import mesh_flat
from annelid.geometry.lattice_mesh.united_outlines import Outline
from annelid.geometry.meshing.quality import check_quality


@dataclass(frozen=True)
class FlatChart:
    """Chart of a plane in which one period of a pattern is 2 pi wide.

    Attributes:
        width: Period around, mm.
        high: Largest v.
        low: Least v.
        of_revolution: Whether all columns of cells are equal, which holds for a plane.
    """

    width: float
    high: float
    low: float = 0.0
    of_revolution: bool = True

    def place(self, points: FloatArray, offset: FloatArray | float = 0.0) -> SurfacePoints:
        """Return the points at (u, v) and a distance along Z in mm; the plane is X, Y."""
        height = np.broadcast_to(np.asarray(offset, dtype=np.float64), (len(points),))
        normal = np.zeros((len(points), 3))
        normal[:, 2] = 1.0
        return SurfacePoints(np.column_stack([self.width / PERIOD * points, height]), normal)

    def hoop(self, points: FloatArray) -> FloatArray:
        """Return the direction of u, which is constant."""
        return np.tile([1.0, 0.0, 0.0], (len(points), 1))

    def scale(self, points: FloatArray) -> FloatArray:
        """Return the length of one unit of u or v, which is constant, mm."""
        return np.full(len(points), self.width / PERIOD)


def cell_outlines(pattern: Pattern) -> list[Outline]:
    """Return the polygons that a pattern covers in one period, mm."""
    unit = pattern.width / PERIOD
    chart = FlatChart(pattern.width, pattern.height / unit)
    lattice = Lattice(
        chart=chart,
        pattern=pattern.scaled(1 / unit),
        around=1,
        along=1,
        cells=Interval(0.0, chart.high),
        rings=(),
        height=1.0,
        side="outside",
        scale_factor=1.0,
        smallest=1.0,
    )
    return [
        (unit * polygon.outer, tuple(unit * hole for hole in polygon.holes))
        for polygon in footprint(lattice).polygons
    ]


def unit_cell(pattern: Pattern, *, height: float, fine: float | None = None) -> Body:
    """Mesh one period of a lattice from its middle plane Z = 0 to half of its height.

    Args:
        pattern: The flat pattern.
        height: Height of the struts, mm.
        fine: Element size, mm; by default half of the width of the widest strut.

    Returns:
        A solid body with the region ``lattice`` and the surfaces ``midplane`` (Z = 0) and ``outer``.

    Raises:
        InputError: If a size is not positive, or the mesh quality is below the floor.
    """
    within("height", height, above=0.0, unit="mm")
    period = pattern.width, pattern.height
    flat = mesh_flat(cell_outlines(pattern), period, fine=pattern.widest / 2 if fine is None else fine)
    extruded = extrude(flat, [Slab(0.0, height / 2, 1, STRUTS, None)], width=period[0], merge=False)

    def placement(at: FloatArray, depth: FloatArray) -> WallPoints:
        ones, zeros = np.ones(len(depth)), np.zeros(len(depth))
        return WallPoints(
            np.column_stack([at, depth]),
            np.column_stack([zeros, zeros, ones]),
            np.column_stack([ones, zeros, zeros]),
        )

    body = extruded_body(extruded, placement, extent=period, wall=(0.0, height / 2))
    surfaces = {"midplane": body.surfaces["lumen"], "outer": body.surfaces["outer"]}
    body = replace(body, surfaces=surfaces)
    check_quality(body)
    return body
