# SPDX-License-Identifier: MIT
"""The picture of the cells: each key of a cell is drawn as a dimension, beside a label that can be read."""

from dataclasses import asdict, replace

import numpy as np
import pytest

from annelid.geometry.lattice.catalogue import EXAMPLES
from annelid.results.lattice.cells_figure import draw_cells
from annelid.results.lattice.dimensions import dimensions

CHANGED = {
    "honeycomb": {"angle": 15.0},
    "helices": {"helix_angle": -20.0},
    "rotating-squares": {"opening": 70.0},
}


def sizes_of(cell):
    return {key: abs(size) for key, size in asdict(cell).items() if key != "node"}


@pytest.mark.parametrize("kind", EXAMPLES)
def test_dimensions_measure_the_keys_of_the_cell(kind):
    for cell in (EXAMPLES[kind], replace(EXAMPLES[kind], **CHANGED.get(kind, {}))):
        found = {d.key: d.size for d in dimensions(cell, cell.pattern())}
        assert found == pytest.approx(sizes_of(cell), rel=1e-9)


def test_the_opening_is_between_the_sides_of_neighbouring_squares():
    cell = EXAMPLES["rotating-squares"]
    pattern = cell.pattern()
    (opening,) = (d for d in dimensions(cell, pattern) if d.key == "opening")
    left, right = pattern.plates[0], pattern.plates[2]
    sides = [left[1] - left[0], right[1] - right[2]]
    rays = [line[1] - line[0] for line in opening.lines[:2]]
    turns = [abs(a[0] * b[1] - a[1] * b[0]) for a in rays for b in sides]
    assert sum(turn < 1e-9 for turn in turns) == 2


@pytest.mark.parametrize("kind", ["hexachiral", "anti-tetrachiral"])
def test_the_radius_ends_on_the_ring(kind):
    cell = EXAMPLES[kind]
    pattern = cell.pattern()
    (radius,) = (d for d in dimensions(cell, pattern) if d.key == "node_radius")
    points = np.concatenate([strut.points for strut in pattern.struts])
    ((centre, head),) = radius.arrows
    rings = points[np.abs(np.linalg.norm(points - centre, axis=1) - cell.node_radius) < 1e-9]
    assert np.linalg.norm(rings - head, axis=1).min() < 0.1 * cell.node_radius
    assert np.linalg.norm(head - centre) == pytest.approx(cell.node_radius)


def test_labels_of_dimensions_overlap_nothing():
    figure = draw_cells(EXAMPLES)
    for axes, (kind, cell) in zip(figure.axes, EXAMPLES.items(), strict=True):
        labels = [text for text in axes.texts if text.get_text()]
        assert sorted(label.get_text().split()[0] for label in labels) == sorted(sizes_of(cell)), kind
        window = axes.get_window_extent()
        boxes = [label.get_window_extent() for label in labels]
        for number, box in enumerate(boxes):
            assert window.x0 <= box.x0 < box.x1 <= window.x1, kind
            assert window.y0 <= box.y0 < box.y1 <= window.y1, kind
            assert not box.count_overlaps(boxes[:number]), kind
            for line in axes.lines:
                points = axes.transData.transform(np.column_stack(line.get_data()))
                assert not box.count_contains(points), kind
