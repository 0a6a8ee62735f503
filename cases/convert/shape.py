# SPDX-License-Identifier: MIT
"""Conversion of the shape table of a case into the shape, its mesh size and its electrode bands."""

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from annelid.cases.schema.base import Table
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import MeasuredGridTable
from annelid.cases.schema.shape import (
    LayerTable,
    MeridianTable,
    PointsMeridianTable,
    ShapeTable,
    ThicknessGridTable,
)
from annelid.cases.schema.stage import ElectrodeTable
from annelid.geometry.errors import InvalidValue, checking
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band, Helix
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.meridian_profiles import ellipsoid, necked, sphere
from annelid.geometry.shapes.shape import Layer, Shape
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.spline_meridian import from_points
from annelid.geometry.shapes.tapered_tube import TaperedTube
from annelid.geometry.shapes.thickness_map import ThicknessMap
from annelid.geometry.shapes.tube import Tube

__all__ = [
    "band_of",
    "edge_range",
    "first_mesh_size",
    "layer_of",
    "measured_heights",
    "meridian_of",
    "mesh_size_of",
    "shape_of",
]

SHAPES: dict[str, type[Shape]] = {shape.kind: shape for shape in (Tube, TaperedTube, Sleeve, Balloon, Dome)}
_FIRST = 6  # least number of elements along a part with which the choice of a mesh begins
_MERIDIANS: Mapping[str, Callable[..., Meridian]] = {
    "sphere": sphere,
    "ellipsoid": ellipsoid,
    "necked": necked,
}


def shape_of(case: Case) -> Shape:
    """Return the drawn shape.

    Raises:
        InvalidValue: A value is not allowed.
    """
    return _shape_of(case.shape)


@lru_cache(maxsize=4)  # a meridian takes 20 ms, and the shape of a case is needed again and again
def _shape_of(table: ShapeTable) -> Shape:
    values = entries_of(table) | {"layers": tuple(layer_of(layer) for layer in table.layers)}
    values.pop("thick_wall", None)  # a rule of the case file, not of the shape
    if "meridian" in values:
        values["inner_face"] = meridian_of(values.pop("meridian"))
    return SHAPES[table.kind](**values)


def layer_of(table: LayerTable) -> Layer:
    """Return a layer of the wall.

    Raises:
        InvalidValue: It has no thickness, or a value is not allowed.
    """
    if isinstance(table.thickness_map, ThicknessGridTable):
        return _uneven_layer(table, table.thickness_map)
    if table.thickness is None:
        text = 'missing: expected the mounted thickness, for example "180 um", or a thickness of its sheets'
        raise InvalidValue(text, key="thickness")
    return Layer(table.name, table.thickness)


def _uneven_layer(table: LayerTable, grid: ThicknessGridTable) -> Layer:
    if table.thickness is not None:
        text = "contradicts thickness, which is the same everywhere: give one of them"
        raise InvalidValue(text, key="thickness_map")
    counts = {len(row) for row in grid.thicknesses}
    if counts != {len(grid.places)}:
        lengths = ", ".join(map(str, sorted(counts)))
        text = f"lists of {lengths} entries for {len(grid.places)} places: give one each"
        raise InvalidValue(text, key="thickness_map.thicknesses")
    try:
        uneven = ThicknessMap(np.array(grid.places), np.array(grid.thicknesses))
    except InvalidValue as error:
        raise error.within("thickness_map") from None
    uneven = uneven.averaged() if grid.average else uneven
    return Layer(table.name, uneven.mean, uneven)


@lru_cache(maxsize=4)
def meridian_of(table: MeridianTable) -> Meridian:
    """Return the meridian of the inner face of a balloon."""
    values = entries_of(table)
    if isinstance(table, PointsMeridianTable):
        if len(table.radius) != len(table.height):
            text = f"has {len(table.height)} entries, but radius has {len(table.radius)}: give one per point"
            raise InvalidValue(text, key="height")
        points = np.column_stack([table.radius, table.height])
        return from_points(points, smoothing=table.smoothing)
    return _MERIDIANS[table.kind](**values)


def mesh_size_of(case: Case) -> MeshSize:
    """Return the element sizes of a shape without a lattice; with an accuracy those of the first mesh."""
    if case.mesh.accuracy is not None:
        return first_mesh_size(shape_of(case))
    if case.mesh.along is None:
        text = 'missing: expected a length, for example "0.5 mm", or accuracy in an axisymmetric model'
        raise InvalidValue(text, key="along", subject="mesh")
    values = entries_of(case.mesh) | {"through": case.mesh.elements}
    values["divide"] = (case.mesh.pieces, case.mesh.pieces)
    return MeshSize(**{key: values[key] for key in MeshSize.__dataclass_fields__})


def first_mesh_size(shape: Shape) -> MeshSize:
    """Return the element sizes with which the choice of a mesh begins: coarse, as nothing is known yet."""
    low, high = shape.band_range
    return MeshSize(along=abs(high - low) / _FIRST, through=1)


def edge_range(case: Case, shape: Shape) -> tuple[float, float]:
    """Return the range of the edges of electrodes: heights of the inner face, or radii on a dome, mm.

    On a measured surface without a making they are heights of that surface. With a making they are heights of
    the skin before its inflation.
    """
    measured = measured_heights(case)
    if measured is not None and case.making is None and case.mesh.model != "axisymmetric":
        return measured
    return shape.band_range


def measured_heights(case: Case) -> tuple[float, float] | None:
    """Return the lowest and highest height of a measured surface, mm; ``None`` if there is none."""
    measured = case.lattice.measured if case.lattice is not None else None
    if not isinstance(measured, MeasuredGridTable):
        return None
    return min(measured.heights), max(measured.heights)


def band_of(table: ElectrodeTable) -> Band:
    """Return the band of an electrode whose edges are given.

    Raises:
        InvalidValue: A value is not allowed.
    """
    with checking(f"electrode '{table.name}'"):
        helix = None if table.helix is None else Helix(**entries_of(table.helix))
    return Band(table.name, table.region, table.start or 0.0, table.end or 0.0, table.angles, helix)


def entries_of(table: Table) -> dict[str, Any]:
    """Return the values of a table by key, without the key that selects its kind."""
    return {key: getattr(table, key) for key in type(table).model_fields if key not in ("kind", "law")}
