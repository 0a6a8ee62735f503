# SPDX-License-Identifier: MIT
"""Cells of electrodes that do not go all around a 3-D mesh."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.elements import ELEMENT_NODES, node_at
from annelid.geometry.errors import InvalidValue, checking
from annelid.geometry.meshing.mapped_plane import MappedPlane
from annelid.geometry.meshing.revolve import SweptMesh
from annelid.geometry.shapes.band import Band

__all__ = ["angular_limits", "covered_cells"]

_DIGITS = 9  # of an angle in degrees; limits that agree to them are one
_REMEDY = "end the electrode farther from the pole"
_NODES = ELEMENT_NODES["hexahedron27"]
# Axes of a hexahedron: outward, around, along.
_FACE_NODES = tuple(
    node_at(_NODES, np.array(place))
    for place in ((0.5, 0, 0.5), (0.5, 1, 0.5), (0, 0.5, 0.5), (1, 0.5, 0.5), (0.5, 0.5, 0), (0.5, 0.5, 1))
)


def angular_limits(bands: Sequence[Band]) -> FloatArray:
    """Return the angles at which the mesh needs cell edges, ascending from 0 to below 2π, radians."""
    limits = np.sort([angle % 360.0 for band in bands if band.angles is not None for angle in band.angles])
    return np.radians(np.unique(np.round(limits, _DIGITS) % 360.0))


def covered_cells(
    bands: Sequence[Band], mapped: MappedPlane, swept: SweptMesh
) -> tuple[dict[str, NDArray[np.bool_]], dict[str, str]]:
    """Find the hexahedra of bands that do not go all around, and the error of the area of each helix.

    Returns:
        By band, whether it covers each cell, shape (m,); and one sentence by helix.

    Raises:
        InvalidValue: A band reaches the axis, where cells do not lie around it, or covers no cell.
    """
    covered, notes = {}, {}
    centre = swept.cells[:, node_at(_NODES, np.full(3, 0.5))]
    x, y = mapped.parameters(swept.grid[centre])
    height = mapped.place(np.full_like(y, mapped.x[0]), y).position[:, 1]
    for band in (band for band in bands if not band.all_around):
        patches = mapped.bands[band.name]
        with checking(f"electrode '{band.name}'"):
            if any(mapped.on_axis(patch) is not None for patch in patches):
                text = f"cannot reach the axis, around which the cells do not lie: {_REMEDY}"
                raise InvalidValue(text, key=band.key)
            around = np.any([np.all(swept.patches == patch, axis=1) for patch in patches], axis=0)
            inside = around & band.covers(np.degrees(swept.angle[centre]), height)
            if not inside.any():
                raise InvalidValue(
                    "covers no element: make mesh.along smaller or mesh.around larger", key=band.key
                )
        covered[band.name] = inside
        if band.helix is not None:
            size = _sizes(mapped, swept, x, y)
            error = float(size[inside].sum() / size[around].sum()) / band.fraction - 1
            notes[f"electrode {band.name}"] = (
                f"electrode {band.name} is a helix of whole elements: its area is {100 * abs(error):.2g} % "
                f"{'larger' if error > 0 else 'smaller'} than drawn"
            )
    return covered, notes


def _sizes(mapped: MappedPlane, swept: SweptMesh, x: FloatArray, y: FloatArray) -> FloatArray:
    """Volume of each ring of hexahedra times the angle that the hexahedron spans, up to a common factor."""
    behind, ahead, inner, outer, below, above = (swept.cells[:, node] for node in _FACE_NODES)
    radius = mapped.place(x, y).position[:, 0]
    angle = (swept.angle[ahead] - swept.angle[behind]) % (2 * np.pi)
    (low_x, _), (high_x, _) = (mapped.parameters(swept.grid[nodes]) for nodes in (inner, outer))
    (_, low_y), (_, high_y) = (mapped.parameters(swept.grid[nodes]) for nodes in (below, above))
    return radius * angle * (high_x - low_x) * (high_y - low_y)
