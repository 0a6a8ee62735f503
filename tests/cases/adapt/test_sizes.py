# SPDX-License-Identifier: MIT
"""From what rows add to errors to the next mesh."""

import numpy as np
import pytest

from annelid.cases.adapt.sizes import divided_edges, growing_edges, next_pieces, with_lines


def test_only_the_rows_that_matter_are_divided():
    along, through = np.array([1e-6, 1.0, 1.0, 1e-6]), np.array([1e-6])
    rows, columns = next_pieces(along, through, 4.0)
    assert rows.tolist() == [1, 2, 2, 1]
    assert columns.tolist() == [1]


def test_the_error_expected_of_the_next_mesh_is_the_one_allowed():
    rng = np.random.default_rng(3)
    along, through = rng.uniform(0.5, 1.5, 200), np.array([20.0, 5.0])
    rows, columns = next_pieces(along, through, 5.0)
    left = (along / rows**3.0).sum() + (through / columns**3.0).sum()
    assert 0.5 < 5.0 * left / (along.sum() + through.sum()) < 1.1


def test_a_mesh_always_changes():
    rows, columns = next_pieces(np.full(3, 1.0), np.array([2.0]), 1.0001)
    assert rows.sum() + columns.sum() > 4


def test_divided_edges_are_even_and_neighbours_alike():
    edges = divided_edges(np.array([0.0, 1.0, 20.0]), np.array([2, 1]))
    assert edges[:3] == pytest.approx([0.0, 0.5, 1.0])
    sizes = np.diff(edges)
    assert (sizes[1:] / sizes[:-1]).max() <= 4.0 * (1 + 1e-9)
    assert edges[-1] == 20.0


@pytest.mark.parametrize(
    ("high", "least", "most"), [(100.0, 1.0, 30.0), (3.0, 1.0, 30.0), (0.5, 1.0, 2.0), (7, 5, 3)]
)
def test_growing_edges_are_mirrored_and_cover_the_span(high, least, most):
    edges = growing_edges(0.0, high, least, most)
    assert edges[0] == 0.0
    assert edges[-1] == high
    assert (np.diff(edges) > 0).all()
    assert edges == pytest.approx(high - edges[::-1])
    assert np.diff(edges).max() <= 1.6 * max(most, least)


def test_lines_take_the_place_of_near_edges():
    edges, ends = np.array([0.0, 1.0, 2.0, 5.0]), np.array([0.0, 5.0])
    assert with_lines(edges, np.array([2.1]), keep=ends) == pytest.approx([0.0, 1.0, 2.1, 5.0])
    assert with_lines(edges, np.array([3.5]), keep=ends) == pytest.approx([0.0, 1.0, 2.0, 3.5, 5.0])
    assert with_lines(edges, np.array([0.1]), keep=ends) == pytest.approx([0.0, 0.1, 1.0, 2.0, 5.0])
