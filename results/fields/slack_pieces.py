# SPDX-License-Identifier: MIT
"""Where the wall of an axisymmetric part is slack, as pieces of its line in the meridian plane."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import Body, FloatArray
from annelid.results.fields.state_fields import FieldGrid

SLACK = 1e-4  # folded length from which a piece is shown


class SlackPieces(NamedTuple):
    """Pieces of the deformed wall, from end to end of a cell, shape (k, 2, 2), Z and R in mm.

    Attributes:
        around: Whose length around the axis lies in folds, which run along it.
        along: Whose length along the axis lies in folds, which run around it.
    """

    around: FloatArray
    along: FloatArray


def slack_pieces(body: Body, displacement: FloatArray, folded: tuple[FloatArray, FloatArray]) -> SlackPieces:
    """Return where a wall is slack.

    Args:
        body: An axisymmetric body.
        displacement: At its nodes, shape (n, 2), mm.
        folded: Folded length around and along the axis at the points of its field file.
    """
    cells, ends = FieldGrid(body).cells, _ends(body, displacement)
    return SlackPieces(*(ends[length[cells].mean(axis=1) > SLACK] for length in folded))


def _ends(body: Body, displacement: FloatArray) -> FloatArray:
    """Both ends of the line through each cell along the wall, deformed, shape (cells, 2, 2), Z and R, mm."""
    drawn, normal = body.points[body.cells], body.normal[body.cells].mean(axis=1)
    along = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    place = np.einsum("mkc,mc->mk", drawn - drawn.mean(axis=1, keepdims=True), along)
    third = body.cells.shape[1] // 3
    order = np.argsort(place, axis=1)
    present = (body.points + displacement)[body.cells][..., ::-1]
    rows = np.arange(len(place))[:, None]
    return np.stack(
        [present[rows, nodes].mean(axis=1) for nodes in (order[:, :third], order[:, -third:])], axis=1
    )
