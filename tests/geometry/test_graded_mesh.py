# SPDX-License-Identifier: MIT
"""Meshes whose element edges are given, and divided meshes."""

import numpy as np
import pytest

from annelid.geometry.errors import InputError
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

TUBE = Tube(inner_radius=2.0, length=6.0, layers=(Layer("wall", 0.3),))
RING = Band("ring", "wall", 2.0, 4.0)


def edges(body, axis):
    """Coordinates of the corners of the cells."""
    return np.unique(np.round(body.points[body.cells[:, :4]].reshape(-1, 2)[:, axis], 9))


def test_edges_lie_where_they_are_given():
    along, through = (0.0, 1.5, 1.9, 2.0, 2.2, 4.0, 6.0), (2.0, 2.1, 2.3)
    size = MeshSize(along=1.0, edges_along=along, edges_through=through)
    body = build(TUBE, size, [RING])
    assert edges(body, 1) == pytest.approx(along)
    assert edges(body, 0) == pytest.approx(through)
    assert len(body.bands["ring"]) == 4


def test_divided_elements_keep_their_edges():
    even = build(TUBE, MeshSize(along=1.0, through=1), [RING])
    divided = build(TUBE, MeshSize(along=1.0, through=1, divide=(3, 2)), [RING])
    assert len(divided.cells) == 6 * len(even.cells)
    for axis in (0, 1):
        assert set(edges(even, axis)) <= set(edges(divided, axis))
    assert divided.grid.max(axis=0).tolist() == [4, 36]


def test_the_edges_of_a_mesh_made_of_its_own_edges_are_the_same():
    body = build(TUBE, MeshSize(along=0.7, through=2), [RING])
    size = MeshSize(along=1.0, edges_along=tuple(edges(body, 1)), edges_through=tuple(edges(body, 0)))
    again = build(TUBE, size, [RING])
    assert again.points == pytest.approx(body.points, abs=1e-9)
    assert (again.cells == body.cells).all()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"edges_along": (0.0, 3.0, 6.0)}, r"edges_along: needs edges .* 0 mm, 2 mm, 4 mm, 6 mm"),
        ({"edges_along": (0.0, 2.0, 4.0, 4.0, 6.0)}, "edges_along: must ascend"),
        ({"edges_along": (0.0, 2.0, 4.0, 6.0, 7.0)}, "edges_along: needs edges"),
        ({"edges_through": (2.0, 2.2)}, "edges_through: needs edges"),
        ({"edges_through": (2.0,)}, "edges_through: must ascend"),
        ({"edges_through": (2.0, float("nan"), 2.3)}, "edges_through: must ascend"),
        ({"divide": (0, 1)}, "divide"),
        ({"model": "solid", "edges_along": (0.0, 2.0, 4.0, 6.0)}, "edges_along: is for axisymmetric models"),
    ],
)
def test_edges_that_do_not_fit_are_refused(changes, words):
    with pytest.raises(InputError, match=words):
        build(TUBE, MeshSize(along=1.0, **changes), [RING])
