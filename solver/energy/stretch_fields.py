# SPDX-License-Identifier: MIT
"""Natural stretch of all parts at the nodes of cells."""

from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import ELEMENT_NODES, shape_gradients
from annelid.geometry.wall_directions import wall_frames
from annelid.solver.model.natural_stretch import NaturalField
from annelid.solver.model.parts import Part

if TYPE_CHECKING:
    from annelid.solver.model.model import Model

_TURNED = 0.5  # cosine of the angle between directions at two nodes of a cell

_WHOLE = 9  # components of a gradient along X, Y, Z


def components(model: "Model") -> int:
    """How many components of the natural stretch are needed: 3, or if it varies 4 or 6 along the wall.

    9 along X, Y, Z, the gradient of stress-free places, where these are known.
    """
    fields = [p.natural_stretch for p in model.parts if isinstance(p.natural_stretch, NaturalField)]
    if any(field.places is not None for field in fields):
        return _WHOLE
    return max((field.factors.shape[1] for field in fields), default=3)


def unstretched(count: int) -> FloatArray:
    """Components of the natural stretch of a part that has none, shape (count,)."""
    return np.eye(3).ravel() if count == _WHOLE else np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])[:count]


def natural_stretch(model: "Model", cells: IntArray, corners: IntArray, count: int) -> FloatArray:
    """Natural stretch at nodes of cells, shape (m, k, count).

    Args:
        model: For the parts.
        cells: Cells at which it is wanted, shape (m,).
        corners: Their places in a cell, shape (k,).
        count: How many components.
    """
    nodes, regions = model.body.cells[cells][:, corners], in_region(model, cells)
    found = np.tile(unstretched(count), (*nodes.shape, 1))
    for part in model.parts:
        rows, given = regions[part.region], part.natural_stretch
        if isinstance(given, NaturalField) and given.places is not None:
            found[rows] = _gradient(model, given.places, cells[rows], corners)
            continue
        factors = given.factors[nodes[rows]] if isinstance(given, NaturalField) else np.array(given.factors)
        if count == _WHOLE:
            frame = wall_frames(model.body, cells[rows])[:, corners]
            found[rows] = _along_axes(
                np.broadcast_to(factors, (*nodes[rows].shape, factors.shape[-1])), frame
            )
            continue
        found[rows, ..., : factors.shape[-1]] = factors
    return found


def _gradient(model: "Model", places: FloatArray, cells: IntArray, corners: IntArray) -> FloatArray:
    """Gradient of stress-free places over drawn ones at nodes of cells, shape (m, k, 9)."""
    body = model.body
    slopes = shape_gradients(body.cell_type, ELEMENT_NODES[body.cell_type][corners])
    there, here = (
        np.einsum("mni,knj->mkij", x[body.cells[cells]], slopes, optimize=True) for x in (places, body.points)
    )
    return (there @ np.linalg.inv(here)).reshape(len(cells), len(corners), _WHOLE)


def _along_axes(factors: FloatArray, frame: FloatArray) -> FloatArray:
    """Components along the wall, shape (m, k, 3 to 6), as a tensor along X, Y, Z, (m, k, 9)."""
    whole = np.concatenate([factors, np.zeros((*factors.shape[:2], 6 - factors.shape[2]))], axis=2)
    normal, hoop, axial, shear, aslant, along = np.moveaxis(whole, -1, 0)
    G = np.stack([normal, aslant, shear, aslant, hoop, along, shear, along, axial], axis=-1)
    turned = np.swapaxes(frame, -1, -2) @ G.reshape(*G.shape[:2], 3, 3) @ frame
    return turned.reshape(*G.shape[:2], _WHOLE)


def sheet_thickness(body: Body, part: Part, nodes: IntArray) -> FloatArray:
    """Drawn thickness of one sheet of a part at nodes of a body, shape of ``nodes``, mm."""
    assert part.sheets is not None
    given, uneven = part.natural_stretch, body.layer_thickness.get(part.region)
    count, thickness = part.sheets.count, np.full(nodes.shape, part.sheets.thickness)
    if uneven is not None:
        thickness = uneven[nodes] / count
    return thickness * given.thickness[nodes] if isinstance(given, NaturalField) else thickness


def growth_through(part: Part, nodes: IntArray) -> FloatArray:
    """Stress-free over drawn thickness of a part's sheets at nodes, shape of ``nodes``."""
    given = part.natural_stretch
    if isinstance(given, NaturalField):
        return 1 / given.thickness[nodes]
    return np.full(nodes.shape, given.factors[0])


def turning(model: "Model") -> bool:
    """Whether wall directions, in which a varying natural stretch is given, turn far within some cell.

    They do at the axis, in caps and at poles, where all directions around are alike.
    """
    body = model.body
    if components(model) in (3, _WHOLE) or body.hoop is None:
        return False
    return any(
        np.einsum("mki,mi->mk", field[body.cells], field[body.cells[:, 0]]).min() < _TURNED
        for field in (body.normal, body.hoop)
    )


def in_region(model: "Model", cells: IntArray) -> dict[str, IntArray]:
    """Rows of a list of cells that lie in each region."""
    return {name: np.flatnonzero(np.isin(cells, members)) for name, members in model.body.regions.items()}
