# SPDX-License-Identifier: MIT
"""Tool paths and motion code, checked with an independent reader."""

import numpy as np
import pytest
from lattices import pattern_of
from motion_reader import between, nozzle, read, tip

from annelid.geometry.errors import InputError
from annelid.geometry.lattice.catalogue import EXAMPLES
from annelid.geometry.lattice.chart import RevolutionChart, chart_of
from annelid.geometry.lattice.measured_chart import measured_chart
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.printing.motion_code import motion_code
from annelid.geometry.printing.settings import PrinterSettings
from annelid.geometry.printing.tool_path import tool_path
from annelid.geometry.shapes.meridian_profiles import ellipsoid, sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

RADIUS = 12.0
TOLERANCE = 0.01  # mm, stated in the program's comments
HEIGHT, STAND_OFF = 0.4, 0.3
SPHERE = RevolutionChart(sphere(RADIUS))
TUBE = chart_of(Tube(6.0, 30.0, (Layer("wall", 0.3),)))


def printed_on(chart, kind="re-entrant", machine="rotary", around=None, **how):
    lattice = wrap(pattern_of(kind), chart, height=HEIGHT, ring=1.0, around=around)
    return tool_path(
        lattice, PrinterSettings(machine=machine, stand_off=STAND_OFF, tolerance=TOLERANCE, **how)
    )


def open_moves(path):
    moves = [move for move in read(motion_code(path, "a test (of parentheses) µ")) if move["open"]]
    assert not any(move["rapid"] for move in moves)
    return moves


@pytest.mark.parametrize("machine", ["rotary", "five-axis"])
def test_the_open_nozzle_stays_over_a_sphere(machine):
    path = printed_on(SPHERE, machine=machine)
    moves = open_moves(path)
    tips = np.array([tip(between(move, share)) for move in moves for share in (0.0, 0.3, 0.5, 0.8, 1.0)])
    over = np.linalg.norm(tips - [0.0, 0.0, RADIUS], axis=1) - RADIUS
    layers = HEIGHT / path.layers * np.arange(path.layers) + STAND_OFF
    off = np.abs(over[:, None] - layers).min(axis=1)
    assert path.layers == 2
    assert 0.1 * TOLERANCE < off.max() < TOLERANCE


def test_the_nozzle_of_five_axes_points_along_the_normal():
    for move in open_moves(printed_on(SPHERE, machine="five-axis")):
        normal = np.array(tip(move["to"])) - [0.0, 0.0, RADIUS]
        assert nozzle(move["to"]) == pytest.approx(normal / np.linalg.norm(normal), abs=1e-5)


@pytest.mark.parametrize("machine", ["rotary", "five-axis"])
def test_nozzle_keeps_its_distance_from_measured_faces(machine):
    # A sphere measured about an axis 1 mm from its centre, so that normals do not intersect the axis.
    angle, heights = 2 * np.pi * np.arange(72)[:, None] / 72, np.linspace(-8.0, 8.0, 41)
    aside = np.cos(angle) + np.sqrt(RADIUS**2 - heights**2 - np.sin(angle) ** 2)
    moves = open_moves(printed_on(measured_chart(heights, aside), "diamond", machine, around=8))
    tips = np.array([tip(between(move, share)) for move in moves for share in (0.5, 1.0)])
    over = np.linalg.norm(tips - [1.0, 0.0, 0.0], axis=1) - RADIUS - STAND_OFF
    assert np.minimum(np.abs(over), np.abs(over - HEIGHT / 2)).max() < 1.2 * TOLERANCE
    if machine == "five-axis":
        assert max(abs(move["to"]["Y"]) for move in moves) > 0.5
        normals = np.array([tip(move["to"]) for move in moves]) - [1.0, 0.0, 0.0]
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        assert np.abs([nozzle(move["to"]) for move in moves] - normals).max() < 1e-3


def test_the_speed_over_the_surface_is_the_feed():
    path = printed_on(SPHERE, feed=6.0)
    moves = [move for move in open_moves(path) if move["rate"] is not None]
    length = [np.linalg.norm(np.subtract(tip(move["to"]), tip(move["from"]))) for move in moves]
    minutes = np.array([1 / move["rate"] for move in moves])
    assert sum(length) == pytest.approx(path.printed_length, rel=1e-4)
    assert np.array(length) / (60 * minutes) == pytest.approx(6.0, rel=0.02)


@pytest.mark.parametrize("kind", EXAMPLES)
def test_lines_are_printed_once_in_the_fewest_trails(kind):
    path = printed_on(TUBE, kind, nozzle=0.4)
    trails = [move for move in path.moves if move.printing and move.layer == 0]
    assert len(trails) == path.min_trails  # Euler: half the odd nodes, one for a piece without
    assert path.lifts == path.layers * path.min_trails - 1
    drawn = sum(np.hypot(*(6.3 * np.diff(line.points, axis=0)).T).sum() for line in path.lines)
    first = sum(np.hypot(*(6.3 * np.diff(move.points, axis=0)).T).sum() for move in trails)
    assert first == pytest.approx(drawn, rel=1e-3)
    assert set(path.order) == set(range(path.min_trails))


@pytest.mark.exact
def test_odd_nodes_of_a_honeycomb_are_counted():
    # Own count: every node has three struts, and a row of cells has 4 nodes per cell. At either end one strut
    # per cell is cut in the middle and has a free end. Each trail uses two odd nodes.
    path = printed_on(TUBE, "honeycomb", around=8)
    nodes = path.lattice.around * (4 * path.lattice.along + 2)
    assert path.min_trails == nodes // 2 + 2  # and two rings


@pytest.mark.exact
def test_odd_nodes_of_rotating_squares_are_counted():
    # Own count: each of the four squares of a cell has four ligaments, whose ends are nodes of three lines on
    # its edge. From one of them the infill continues to an end inside, so each square has four odd nodes. At
    # either end of the lattice two ligaments per cell are cut. Each trail uses two odd nodes; two rings.
    path = printed_on(TUBE, "rotating-squares")
    odd = path.lattice.around * (16 * path.lattice.along + 4)
    assert path.min_trails == odd // 2 + 2
    assert path.lifts == path.layers * path.min_trails - 1


def test_short_travel_is_without_lifts():
    lifting, hopping = (printed_on(TUBE, "rotating-squares", hop=hop) for hop in (0.0, 2.0))
    hops = [move for move in hopping.moves if not move.printing and not move.lifted]
    assert len(hops) + hopping.lifts == lifting.lifts
    assert hopping.lifts < 0.1 * lifting.lifts
    assert max(hop.length for hop in hops) <= 2.0
    heights = {move.height for move in hopping.moves if move.printing}
    assert {hop.height for hop in hops} <= heights
    assert hopping.printed_length == pytest.approx(lifting.printed_length)
    assert hopping.duration < lifting.duration
    rapid = [move for move in read(motion_code(hopping, "hops")) if move["rapid"] and "A" in move["from"]]
    low = sum(max(move["from"]["Z"], move["to"]["Z"]) < 6.3 + HEIGHT + 1.0 for move in rapid)
    assert low >= len(hops)


def test_wide_struts_are_printed_in_parallel_passes():
    # Helices of 0.5 mm, printed lines of 0.25 mm: two, a quarter of the width off the centre line, drawn up
    # and down in one trail.
    path = printed_on(TUBE, "helices", nozzle=0.25)
    trails = [move.points for move in path.moves if move.printing and move.layer == 0]
    angle = np.radians(EXAMPLES["helices"].helix_angle)
    helices = [points for points in trails if np.ptp(points[:, 1]) > 3.0]
    assert len(helices) == path.lattice.around
    points = np.concatenate(helices) - [0.0, path.lattice.cells.low]
    across = 6.3 * points @ [np.cos(angle), -np.sin(angle)]
    spacing = 2 * np.pi * 6.3 * np.cos(angle) / path.lattice.around
    aside = (across + spacing / 2) % spacing - spacing / 2
    assert np.abs(aside) == pytest.approx(0.125, abs=1e-9)


def test_travel_stays_clear_of_the_part():
    path = printed_on(RevolutionChart(ellipsoid(8.0, 14.0)), clearance=4.0)
    ways = [move for move in path.moves if not move.printing]
    assert len(ways) == path.lifts
    assert {way.height for way in ways} == {HEIGHT + 4.0}
    assert path.travel_length > path.lifts * 8.0
    assert path.duration > path.printed_length / 8.0 + path.travel_length / 30.0  # see test_print_time


def test_the_program_contains_cautions():
    text = motion_code(printed_on(SPHERE, "helices"), "a (test) µ")
    assert "(a  test   )" in text
    assert "dry-run" in text.splitlines()[5]
    assert text.splitlines()[-2:] == ["M30", "%"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"machine": "lathe"}, "rotary, five-axis"),
        ({"nozzle": 0.0}, "printing: nozzle: must be above 0 mm, got 0 mm"),
        ({"feed": -1.0}, "printing: feed: must be above 0 mm/s, got -1 mm/s"),
        ({"stand_off": -0.1}, r"printing: stand_off: must be at least 0 mm, got -0\.1 mm"),
        ({"nozzle": 2.0}, "1.5 times the thinnest strut"),
    ],
)
def test_numbers_out_of_range_are_rejected(changes, words):
    with pytest.raises(InputError, match=words):
        tool_path(wrap(pattern_of("diamond"), SPHERE, height=0.5), PrinterSettings(**changes))


def test_printing_inside_is_rejected():
    inside = wrap(pattern_of("diamond"), SPHERE, height=0.5, side="inside")
    with pytest.raises(InputError, match="a nozzle cannot reach the inside"):
        tool_path(inside, PrinterSettings())
