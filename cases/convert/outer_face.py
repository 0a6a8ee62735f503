# SPDX-License-Identifier: MIT
"""The outer face of a straight tube with an uneven wall, on which its lattice is wrapped."""

import numpy as np

from annelid.cases.convert.shape import layer_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import MeasuredGridTable
from annelid.cases.schema.shape import TubeTable
from annelid.geometry.errors import InvalidValue
from annelid.geometry.shapes.shape import layer_faces

__all__ = ["with_outer_face"]

_HEIGHTS, _ANGLES = 81, 72
_DECIMALS = 9  # of mm


def with_outer_face(case: Case) -> Case:
    """Add ``lattice.measured`` to a case with a lattice outside a straight tube of uneven layers.

    Its radii are the inner radius plus the thicknesses, so the lumen stays a cylinder. The layers are then
    placed inwards along the normal of this face; a slope s of it moves the lumen by h s² / 2 where the wall
    is h thick.

    Args:
        case: The case; it is returned as it is if this does not apply, or if a layer is not valid.
    """
    lattice, shape = case.lattice, case.shape
    if lattice is None or lattice.measured or lattice.side != "outside" or case.making:
        return case
    if not isinstance(shape, TubeTable) or shape.ends != "open":
        return case
    if all(layer.thickness_map is None for layer in shape.layers):
        return case
    try:
        layers = [layer_of(layer) for layer in shape.layers]
    except InvalidValue:  # found again where it is reported
        return case
    heights = np.linspace(0.0, shape.length, _HEIGHTS)
    angles = 2.0 * np.pi * np.arange(_ANGLES) / _ANGLES
    wall = [layer_faces(layers, heights, np.full(_HEIGHTS, angle))[:, -1] for angle in angles]
    radii = np.round(shape.inner_radius + np.array(wall), _DECIMALS)
    face = MeasuredGridTable.model_construct(
        kind="grid", heights=tuple(heights.tolist()), radii=tuple(map(tuple, radii.tolist()))
    )
    return case.model_copy(update={"lattice": lattice.model_copy(update={"measured": face})})
