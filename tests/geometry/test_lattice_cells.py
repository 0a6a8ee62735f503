# SPDX-License-Identifier: MIT
"""Flat cells: covered areas in closed form, periods, tiling, mirror lines, and invalid parameters."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from lattices import pattern_of

from annelid.geometry.errors import InputError
from annelid.geometry.lattice.catalogue import CELLS, EXAMPLES
from annelid.geometry.lattice.chart import PERIOD, chart_of
from annelid.geometry.lattice.footprint import footprint
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube


def unrolled(cell, around=8):
    """A lattice on a tube with the size of the flat cell; one unit of the chart is ``radius`` mm."""
    pattern = cell.pattern()
    radius = around * pattern.width / PERIOD
    tube = Tube(radius, 2.01 * pattern.height, (Layer("wall", 1e-3),))
    lattice = wrap(pattern, chart_of(tube, "inside"), height=0.5, around=around)
    assert (lattice.along, lattice.scale_factor) == (2, pytest.approx(1.0))
    return lattice, radius


def covered(kind, **changes):
    return footprint(unrolled(replace(EXAMPLES[kind], **changes))[0]).covered_fraction


def area_of(printed, radius):
    shapes = [shapely.Polygon(p.outer, p.holes) for p in printed.polygons]
    return shapely.unary_union(shapes), radius**2


@pytest.mark.exact
@pytest.mark.parametrize("width", [0.1, 0.4, 1.0])
def test_regular_honeycomb(width):
    # Each hexagon of side l keeps a hole of apothem (sqrt(3) l - t)/2 (own derivation).
    expected = 1 - (1 - width / (math.sqrt(3) * 3.0)) ** 2
    assert covered("honeycomb", width=width) == pytest.approx(expected, rel=1e-6)


@pytest.mark.exact
@pytest.mark.parametrize("width", [0.1, 0.4, 1.0])
def test_diamond_braid(width):
    # Each rhombus keeps a hole smaller by t/(L sin 2 alpha) (own derivation).
    expected = 1 - (1 - width / (3.5 * math.sin(math.radians(80.0)))) ** 2
    assert covered("diamond", width=width) == pytest.approx(expected, rel=1e-6)


@pytest.mark.exact
@pytest.mark.parametrize("angle", [-30.0, 20.0, 60.0])
def test_helices(angle):
    assert covered("helices", helix_angle=angle, width=0.5) == pytest.approx(0.5 / 3.0, rel=1e-6)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("kind", "angle", "sign"),
    [("honeycomb", 20.0, 1.0), ("honeycomb", 40.0, 1.0), ("re-entrant", 25.0, -1.0)],
)
def test_relative_density_of_slender_honeycombs(kind, angle, sign):
    # Gibson & Ashby 1997, chapter 4 (from memory): rho*/rho = t/l (h/l + 2) / (2 cos (h/l + sin)), slender.
    vertical, inclined, width = 4.0, 3.0, 0.03
    theta, slimness = sign * math.radians(angle), vertical / inclined
    expected = width / inclined * (slimness + 2) / (2 * math.cos(theta) * (slimness + math.sin(theta)))
    found = covered(kind, vertical=vertical, inclined=inclined, angle=angle, width=width)
    assert found == pytest.approx(expected, rel=0.01)  # nodes take part of the order of t/l


@pytest.mark.exact
def test_rotating_squares_and_their_hinges():
    # Grima & Evans 2000 (from memory): pitch a (cos(theta/2) + sin(theta/2)), here with the hinge's length.
    cell = EXAMPLES["rotating-squares"]
    half = math.radians(cell.opening) / 2
    pitch = cell.side * (math.cos(half) + math.sin(half)) + cell.ligament
    assert cell.pattern().width == cell.pattern().height == pytest.approx(2 * pitch)
    # A square and two hinges each; a hinge begins at a corner of 90 degrees, which it covers in part: between
    # its sides and the corner lie right triangles of height w/2 (own derivation).
    lean = math.radians(90.0 - cell.opening) / 2
    corner = (math.tan(math.pi / 4 + lean) + math.tan(math.pi / 4 - lean)) * cell.width**2 / 8
    expected = (cell.side**2 + 2 * (cell.ligament * cell.width + 2 * corner)) / pitch**2
    assert footprint(unrolled(cell)[0]).covered_fraction == pytest.approx(expected, rel=2e-3)


@pytest.mark.exact
@pytest.mark.parametrize(("kind", "nodes", "ligaments"), [("hexachiral", 2, 6), ("anti-tetrachiral", 4, 8)])
def test_chiral_nodes_and_ligaments(kind, nodes, ligaments):
    # Slender: a ring 2 pi r t for each node and L t for each ligament, all tangent and so overlapping little.
    cell = replace(EXAMPLES[kind], width=0.004)
    pattern = cell.pattern()
    length = nodes * 2 * math.pi * cell.node_radius + ligaments * cell.ligament
    expected = length * cell.width / (pattern.width * pattern.height)
    assert footprint(unrolled(cell)[0]).covered_fraction == pytest.approx(expected, rel=0.03)
    if kind == "hexachiral":
        # Prall & Lakes 1997 (from memory): the distance of nodes R has R^2 = L^2 + (2 r)^2.
        assert pattern.width == pytest.approx(math.hypot(cell.ligament, 2 * cell.node_radius))
        assert pattern.height == pytest.approx(math.sqrt(3) * pattern.width)
    solid = covered(kind, width=0.4, node="disc") - covered(kind, width=0.4)
    holes = nodes * math.pi * (1.0 - 0.2) ** 2 / (pattern.width * pattern.height)
    assert solid == pytest.approx(holes, rel=0.02)


@pytest.mark.exact
def test_double_arrowhead():
    cell = replace(EXAMPLES["arrowhead"], width=0.01)
    long, short = math.radians(30.0), math.radians(60.0)
    half, tip = 5.0 * math.sin(long), 5.0 * math.cos(long)
    dent = half / math.tan(short)
    pattern = cell.pattern()
    assert (pattern.width, pattern.height) == pytest.approx((2 * half, tip - dent))
    length = 2 * (5.0 + half / math.sin(short))
    expected = 0.01 * length / (pattern.width * pattern.height)
    assert footprint(unrolled(cell)[0]).covered_fraction == pytest.approx(expected, rel=0.01)


@pytest.mark.exact
def test_sinusoidal_ligaments():
    # Length of half a sine wave by Simpson's rule (own).
    cell = replace(EXAMPLES["sinusoidal"], width=0.02)
    x = np.linspace(0.0, 1.0, 2001)
    length = np.trapezoid(np.sqrt(4.0**2 + (0.8 * np.pi * np.cos(np.pi * x)) ** 2), x)
    expected = 8 * length * 0.02 / 8.0**2
    assert footprint(unrolled(cell)[0]).covered_fraction == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("kind", EXAMPLES)
def test_more_periods_change_nothing(kind):
    # The footprint of a tiled pattern is that of the pattern: both directions are truly periodic.
    lattice, radius = unrolled(EXAMPLES[kind])
    one = footprint(lattice)
    pattern = EXAMPLES[kind].pattern()
    twice = wrap(pattern.tiled(2, 2), lattice.chart, height=0.5, around=4)
    printed = footprint(twice)
    whole, area = area_of(printed, radius)
    parts = [shapely.Polygon(p.outer, p.holes) for p in one.polygons]
    moved = [
        shapely.transform(p, lambda xy, k=k: np.add(xy, [k * one.period, 0.0])) for p in parts for k in (0, 1)
    ]
    other = shapely.unary_union(moved)
    assert shapely.symmetric_difference(whole, other).area * area < 1e-3 * pattern.widest**2


@pytest.mark.parametrize("kind", EXAMPLES)
def test_patterns_have_their_mirror_lines(kind):
    lattice, _ = unrolled(EXAMPLES[kind])
    printed = footprint(lattice)
    whole = shapely.unary_union([shapely.Polygon(p.outer, p.holes) for p in printed.polygons])
    mirrored = shapely.transform(whole, lambda xy: [printed.period, 0.0] + xy * [-1.0, 1.0])
    off = shapely.symmetric_difference(whole, mirrored).area / whole.area
    assert (off < 1e-6) == lattice.pattern.symmetric
    if lattice.pattern.symmetric:
        half = footprint(lattice, half_columns=1)
        assert half.covered_fraction == pytest.approx(printed.covered_fraction, rel=1e-6)
        assert half.columns == 2 * printed.columns


@pytest.mark.parametrize(
    ("kind", "changes", "words"),
    [
        ("honeycomb", {"vertical": -1.0}, "vertical: must be above 0 mm, got -1 mm"),
        ("honeycomb", {"angle": 90.0}, "angle: must be above 0 and below 90 deg, got 90 deg"),
        (
            "honeycomb",
            {"width": 2.6},
            r"width: must be above 0 and below 2\.25 mm \(the space between walls or corners of a cell\),",
        ),
        # asin(5/6) = 56.44 degrees
        (
            "re-entrant",
            {"angle": 60.0},
            r"angle: must be above 0 and below 56\.4427 deg \(there the inner corners of a cell would",
        ),
        (
            "re-entrant",
            {"width": 1.8},
            r"width: must be above 0 and below 1\.73205 mm \(the space between walls or corners of a",
        ),
        ("rotating-squares", {"opening": 5.0}, "opening: must be at least 10 and at most 170 deg, got 5 deg"),
        (
            "rotating-squares",
            {"ligament": 3.5},
            r"ligament: must be above 0 and below 3 mm \(side\), got 3\.5 mm",
        ),
        (
            "rotating-squares",
            {"width": 1.2},
            r"width: must be above 0 and at most 1\.09191 mm \(hinges\), got 1\.2 mm",
        ),
        (
            "hexachiral",
            {"width": 1.0},
            r"width: must be above 0 and below 1 mm \(the radius of the nodes\), got 1 mm",
        ),
        ("hexachiral", {"node": "square"}, "node: 'square' is not allowed; allowed: ring, disc"),
        (
            "anti-tetrachiral",
            {"ligament": 2.5},
            r"ligament: must be above 2\.8 mm \(neighbouring nodes touch at 2 node_radius \+ 2 width\), got",
        ),
        (
            "arrowhead",
            {"short_angle": 30.0},
            r"short_angle: must be above 30 and below 90 deg \(short arms must be flatter than long",
        ),
        (
            "arrowhead",
            {"width": 0.8},
            r"width: must be above 0 and below 0\.721688 mm \(half of the space between two arms\), got",
        ),
        (
            "sinusoidal",
            {"amplitude": 1.7},
            r"amplitude: must be at least 0 and at most 1\.6 mm \(ligaments that bend towards each other",
        ),
        ("diamond", {"braid_angle": 0.0}, "braid_angle: must be above 0 and below 90 deg, got 0 deg"),
        (
            "diamond",
            {"width": 2.0},
            r"width: must be above 0 and below 1\.72341 mm \(half of the distance between parallel",
        ),
        ("helices", {"helix_angle": 2.0}, "helix_angle: must be at least 5 and at most 85 deg, got 2 deg"),
        (
            "helices",
            {"width": 1.5},
            r"width: must be above 0 and below 1\.5 mm \(half of the spacing\), got 1\.5 mm",
        ),
    ],
)
def test_impossible_cells_are_rejected_with_the_range(kind, changes, words):
    with pytest.raises(InputError, match=words):
        replace(EXAMPLES[kind], **changes)


@pytest.mark.parametrize(("columns", "rows"), [(0, 1), (2, 1.5)])
def test_only_whole_cells_are_tiled(columns, rows):
    with pytest.raises(InputError, match="whole number of at least 1"):
        pattern_of("diamond").tiled(columns, rows)


def test_every_kind_has_an_example():
    assert set(EXAMPLES) == set(CELLS)
    assert all(type(cell) is CELLS[kind] for kind, cell in EXAMPLES.items())
