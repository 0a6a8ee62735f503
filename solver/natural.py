# SPDX-License-Identifier: MIT
"""Natural stretch of all parts at the nodes of cells."""

from typing import TYPE_CHECKING

import numpy as np

from geometry.body import FloatArray, IntArray
from solver.natural_stretch import NaturalField
from solver.parts import Part

if TYPE_CHECKING:
    from solver.model import Model

_TURNED = 0.5  # cosine of the angle between directions at two nodes of a cell

NONE = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])
"""Components of the natural stretch of a part that has none."""


def components(model: "Model") -> int:
    """How many components of the natural stretch are needed: 3, or 4 or 6 if it varies."""
    fields = [p.natural_stretch for p in model.parts if isinstance(p.natural_stretch, NaturalField)]
    return max((field.factors.shape[1] for field in fields), default=3)


def natural_stretch(model: "Model", nodes: IntArray, regions: dict[str, IntArray]) -> FloatArray:
    """Natural stretch at nodes of cells: the components of ``NaturalField.factors``, shape (m, k, 6).

    Args:
        model: For the parts.
        nodes: Nodes at which it is wanted, shape (m, k).
        regions: Rows of ``nodes`` in each region.
    """
    found = np.tile(NONE, (*nodes.shape, 1))
    for part in model.parts:
        rows = regions[part.region]
        given = part.natural_stretch
        factors = given.factors[nodes[rows]] if isinstance(given, NaturalField) else np.array(given.factors)
        found[rows, ..., : factors.shape[-1]] = factors
    return found


def sheet_thickness(part: Part, nodes: IntArray) -> FloatArray:
    """Drawn thickness of one sheet of a part at nodes, shape of ``nodes``, mm."""
    assert part.sheets is not None
    given = part.natural_stretch
    if isinstance(given, NaturalField):
        return part.sheets.thickness * given.thickness[nodes]
    return np.full(nodes.shape, part.sheets.thickness)


def growth_through(part: Part, nodes: IntArray) -> FloatArray:
    """Stress-free over drawn thickness of a part's sheets at nodes, shape of ``nodes``."""
    given = part.natural_stretch
    if isinstance(given, NaturalField):
        return 1 / given.thickness[nodes]
    return np.full(nodes.shape, given.factors[0])


def turning(model: "Model") -> bool:
    """Whether wall directions, in which a varying natural stretch is told, turn far within some cell.

    They do at the axis, in caps and at poles, where all directions around are alike.
    """
    body = model.body
    if components(model) == 3 or body.hoop is None:
        return False
    return any(
        np.einsum("mki,mi->mk", field[body.cells], field[body.cells[:, 0]]).min() < _TURNED
        for field in (body.normal, body.hoop)
    )


def in_region(model: "Model", cells: IntArray) -> dict[str, IntArray]:
    """Rows of a list of cells that lie in each region."""
    return {name: np.flatnonzero(np.isin(cells, members)) for name, members in model.body.regions.items()}
