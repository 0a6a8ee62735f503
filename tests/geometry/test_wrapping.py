# SPDX-License-Identifier: MIT
"""Lattices wrapped around surfaces: whole cells, rings, true widths and angles, sectors, closed surfaces."""

import math

import numpy as np
import pytest
import shapely
from lattices import pattern_of

from annelid.geometry.errors import InputError
from annelid.geometry.lattice.catalogue import EXAMPLES
from annelid.geometry.lattice.chart import PERIOD, RevolutionChart, chart_of
from annelid.geometry.lattice.footprint import footprint
from annelid.geometry.lattice.lattice_surface import lattice_surface
from annelid.geometry.lattice.measured_chart import measured_chart
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.shapes.meridian_profiles import necked, sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

RADIUS = 12.0
SPHERE = RevolutionChart(sphere(RADIUS))
TUBE = chart_of(Tube(6.0, 30.0, (Layer("wall", 0.3),)))
NECKED = RevolutionChart(necked(12.0, 44.0, 5.0, 4.0), 0.3)
WIDTH_TOLERANCE = 0.01  # of a strut's width
ANGLES = PERIOD * np.arange(36)[:, None] / 36
OVAL = measured_chart(
    np.linspace(0.0, 30.0, 31), 8.0 + 1.5 * np.cos(2 * ANGLES) + 0.0 * np.linspace(0, 1, 31)
)


def latitude(v):
    return np.arcsin(np.tanh(v))


@pytest.mark.exact
@pytest.mark.parametrize("along", [None, 3])
def test_rings_on_a_sphere_have_their_width(along):
    lattice = wrap(pattern_of("diamond"), SPHERE, height=0.5, around=14, along=along, ring=1.5)
    width = [RADIUS * np.ptp(latitude(np.array(band))) for band in lattice.rings]
    assert lattice.rings[0].high == lattice.cells.low
    assert lattice.cells.high == lattice.rings[1].low
    if along is None:
        # Mercator: cells end where the radius is 0.3 of the largest.
        assert np.cos(latitude(lattice.extent.low)) == pytest.approx(0.3, rel=5e-3)
        assert min(width) > 1.5
    else:
        assert width == pytest.approx([1.5, 1.5], rel=1e-3)
        assert lattice.along == along


def test_without_rings_cells_lie_in_the_middle():
    lattice = wrap(pattern_of("diamond"), TUBE, height=0.5)
    assert lattice.rings == ()
    assert lattice.extent == lattice.cells
    assert sum(lattice.cells) == pytest.approx(TUBE.low + TUBE.high)
    length = 6.3 * (lattice.cells.high - lattice.cells.low)
    rows = length / (lattice.scale_factor * pattern_of("diamond").height)
    assert rows == pytest.approx(lattice.along)
    assert lattice.along == math.floor(30.0 / (lattice.scale_factor * pattern_of("diamond").height))


@pytest.mark.parametrize("kind", EXAMPLES)
def test_the_number_of_cells_around_is_what_fits(kind):
    lattice = wrap(pattern_of(kind), NECKED, height=0.5)
    assert lattice.around == round(PERIOD * 12.3 / pattern_of(kind).width)
    assert lattice.scale_factor * pattern_of(kind).width * lattice.around == pytest.approx(PERIOD * 12.3)
    assert 0.3 <= lattice.smallest < 0.6  # necks of 5.3 mm


@pytest.mark.parametrize("chart", [TUBE, SPHERE, NECKED])
@pytest.mark.parametrize("kind", ["diamond", "helices", "sinusoidal"])
def test_struts_have_their_width_on_the_surface(chart, kind):
    # Across the middle of every strut: the length of the cut through the footprint, scaled by the surface.
    lattice = wrap(pattern_of(kind), chart, height=0.5, ring=0.5)
    shapes = [shapely.Polygon(p.outer, p.holes) for p in footprint(lattice).polygons]
    whole = shapely.union_all(
        [
            shapely.transform(s, lambda xy, k=k: np.add(xy, [k * lattice.pattern.width, 0.0]))
            for s in shapes
            for k in (-1, 0, 1)
        ]
    )
    widths = []
    for strut in lattice.column_struts():
        k = len(strut.points) // 2 if len(strut.points) > 2 else 0
        a, b = strut.points[[k - 1, k + 1]] if k else strut.points
        middle = strut.points[k] if k else (a + b) / 2
        across = np.array([-(b - a)[1], (b - a)[0]]) / np.linalg.norm(b - a)
        scale = float(chart.scale(middle[None])[0])
        if np.abs(middle[1] - lattice.cells).min() < 2 * strut.width / scale:
            continue  # near a ring
        ray = shapely.LineString(
            [middle - strut.width / scale * across, middle + strut.width / scale * across]
        )
        cut = [
            part
            for part in shapely.get_parts(shapely.intersection(whole, ray))
            if part.distance(shapely.Point(middle)) < 1e-9
        ]
        ends = np.asarray(cut[0].coords)
        # On the surface: a fine polyline along the cut.
        fine = chart.place(ends[0] + np.linspace(0, 1, 20)[:, None] * (ends[1] - ends[0])).position
        widths.append(np.linalg.norm(np.diff(fine, axis=0), axis=1).sum() / strut.width)
    assert len(widths) >= lattice.along
    assert np.array(widths) == pytest.approx(1.0, abs=WIDTH_TOLERANCE)


@pytest.mark.parametrize("chart", [SPHERE, NECKED, OVAL])
def test_cells_keep_their_angles(chart):
    # Angle on the surface between the struts of a honeycomb at its nodes: 120 degrees.
    lattice = wrap(pattern_of("honeycomb"), chart, height=0.5, around=12)
    starts = {}
    for strut in lattice.pattern.struts:
        for node, other in (strut.points, strut.points[::-1]):
            key = tuple(np.round(node, 9) % [lattice.pattern.width, lattice.pattern.height])
            starts.setdefault(key, []).append(other - node)
    node, ways = next((k, w) for k, w in starts.items() if len(w) == 3)
    at = np.add(node, [0.0, lattice.cells.low + lattice.pattern.height * (lattice.along // 2)])
    steps = [chart.place((at + 1e-4 * way)[None]).position - chart.place(at[None]).position for way in ways]
    units = np.concatenate([step / np.linalg.norm(step) for step in steps])
    cosines = (units @ units.T)[np.triu_indices(3, 1)]
    assert np.degrees(np.arccos(cosines)) == pytest.approx(120.0, abs=0.02)


@pytest.mark.exact
def test_cells_end_where_their_struts_would_close_them():
    # Diamonds: struts 1.1 times narrower than half the distance of parallel ones, L sin(2 alpha)/2.
    pattern = pattern_of("diamond", width=0.8)
    lattice = wrap(pattern, SPHERE, height=0.5, around=16, ring=0.5, smallest=0.01)
    closed = 1.1 * 0.8 / (3.5 * np.sin(np.radians(80.0)) / 2)
    assert np.cos(latitude(lattice.extent.high)) * lattice.scale_factor == pytest.approx(closed, rel=5e-3)


@pytest.mark.parametrize("side", ["outside", "inside", "embedded"])
def test_heights(side):
    lattice = wrap(pattern_of("diamond"), TUBE, height=0.6, side=side)
    assert lattice.heights == pytest.approx(
        {"outside": (0, 0.6), "inside": (-0.6, 0), "embedded": (-0.3, 0.3)}[side]
    )


@pytest.mark.exact
@pytest.mark.parametrize("kind", EXAMPLES)
def test_the_closed_surface_has_the_volume(kind):
    # On a tube: covered fraction of the hollow cylinder (exact but for facets of 5 degrees).
    lattice = wrap(pattern_of(kind), TUBE, height=0.5, ring=1.0)
    points, triangles = lattice_surface(lattice)
    _, number = np.unique(np.round(points, 6), axis=0, return_inverse=True)
    edges = np.sort(number.ravel()[triangles][:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()  # watertight
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    volume = np.einsum("ki,ki->", a, np.cross(b, c)) / 6
    length = 6.3 * np.diff(lattice.extent)[0]
    expected = footprint(lattice).covered_fraction * np.pi * (6.8**2 - 6.3**2) * length
    assert volume == pytest.approx(expected, rel=3e-3)


def test_surface_is_closed_if_column_sides_differ():
    # A strut extends slightly beyond one side of the column, but not beyond the other.
    sizes = {"node_radius": 0.6628016878024163, "ligament": 1.8138209627045985, "width": 0.2680410031988323}
    lattice = wrap(pattern_of("hexachiral", **sizes, node="ring"), NECKED, height=0.5, around=5)
    points, triangles = lattice_surface(lattice)
    _, number = np.unique(np.round(points, 7), axis=0, return_inverse=True)
    edges = number.ravel()[triangles][:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    ways = {tuple(edge) for edge in edges}
    assert {(b, a) for a, b in ways} == ways


def test_measured_tube_has_the_lattice_of_the_tube():
    tube = measured_chart(np.linspace(0.0, 30.0, 16), np.full((16, 16), 6.3))
    lattices = [wrap(pattern_of("re-entrant"), chart, height=0.5, ring=1.0) for chart in (tube, TUBE)]
    prints = [footprint(lattice) for lattice in lattices]
    assert lattices[0].pattern.width == pytest.approx(PERIOD)
    assert (lattices[0].around, lattices[0].along) == (lattices[1].around, lattices[1].along)
    assert prints[0].columns == pytest.approx(1.0)
    assert prints[0].covered_fraction == pytest.approx(prints[1].covered_fraction, rel=1e-6)


@pytest.mark.parametrize(
    ("kind", "angle", "count"), [("re-entrant", 45.0, 2), ("diamond", 22.5, 1), ("arrowhead", 180.0, 8)]
)
def test_sectors_between_planes_of_symmetry(kind, angle, count):
    lattice = wrap(pattern_of(kind), SPHERE, height=0.5, around=8, smallest=0.6)
    assert lattice.half_columns(angle) == count
    piece = footprint(lattice, half_columns=count)
    assert piece.period == pytest.approx(math.radians(angle))
    assert piece.covered_fraction == pytest.approx(footprint(lattice).covered_fraction, rel=1e-4)


@pytest.mark.parametrize(
    ("kind", "angle", "words"),
    [("hexachiral", 90.0, "no planes of symmetry"), ("diamond", 50.0, "multiple of 22.5 deg")],
)
def test_sectors_that_cut_cells_are_rejected(kind, angle, words):
    with pytest.raises(InputError, match=words):
        wrap(pattern_of(kind), SPHERE, height=0.5, around=8).half_columns(angle)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"height": 0.0}, "lattice: height: must be above 0 mm, got 0 mm"),
        ({"ring": -1.0}, "lattice: ring: must be at least 0 mm, got -1 mm"),
        ({"ring": 20.0}, r"ring: must be below 15 mm \(half of the length of the lattice\), got 20 mm"),
        ({"smallest": 1.5}, r"lattice: smallest: must be above 0 and at most 1, got 1\.5"),
        ({"side": "above"}, "lattice: side: 'above' is not allowed; allowed: outside, inside, embedded"),
        ({"around": 0}, "lattice: around: must be a whole number of at least 1, got 0"),
        (
            {"along": 9},
            r"lattice: along: must be at most 5 \(the number of cells that fit along the surface\), got 9",
        ),
        ({"around": 1}, "no cell fits along"),
        (
            {"around": 40},
            r"struts of 0.4 mm close the cells even at the widest .* 0.99 by 1.18 mm; .* below 0.345 mm",
        ),
    ],
)
def test_numbers_out_of_range_are_rejected(changes, words):
    with pytest.raises(InputError, match=words):
        wrap(pattern_of("diamond"), TUBE, **({"height": 0.5} | changes))
