# SPDX-License-Identifier: MIT
"""The time of moves against closed forms of trapezoidal speed profiles (own derivation)."""

import math

import numpy as np
import pytest

from annelid.geometry.lattice.catalogue import EXAMPLES
from annelid.geometry.lattice.chart import chart_of
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.printing.motion_code import motion_code
from annelid.geometry.printing.settings import PrinterSettings
from annelid.geometry.printing.tool_path import tool_path
from annelid.geometry.printing.travel_time import axis_limits, move_time, top_speeds
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

V, A, CORNER = 8.0, 40.0, 2.0
SLOW = PrinterSettings(
    feed=V,
    travel=30.0,
    acceleration=A,
    corner=CORNER,
    turn_speed=60.0,
    turn_acceleration=90.0,
    turn_corner=5.0,
)
LIMITS = axis_limits(SLOW, ("X", "Z", "A"))


def time_of(points, speed=V, limits=LIMITS):
    """Straight moves of X and Z, in mm."""
    axes = np.column_stack([np.array(points, dtype=float), np.zeros(len(points))])
    return move_time(axes, np.linalg.norm(np.diff(axes, axis=0), axis=1), speed, limits)


@pytest.mark.exact
@pytest.mark.parametrize("pieces", [1, 7, 100])
def test_a_long_line_is_a_trapezoid(pieces):
    x = np.linspace(0.0, 20.0, pieces + 1)
    assert time_of(np.column_stack([x, 0 * x])) == pytest.approx(20.0 / V + V / A, rel=1e-12)


@pytest.mark.exact
@pytest.mark.parametrize("pieces", [1, 4])
def test_a_short_line_is_a_triangle(pieces):
    x = np.linspace(0.0, 0.9, pieces + 1)  # below V²/A = 1.6 mm
    assert time_of(np.column_stack([x, 0 * x])) == pytest.approx(2 * math.sqrt(0.9 / A), rel=1e-12)


@pytest.mark.exact
def test_a_slanted_line_uses_both_axes():
    # At 30 degrees X takes cos 30 of the acceleration along the line.
    rate = A / math.cos(math.radians(30.0))
    end = [20.0 * math.cos(math.radians(30.0)), 10.0]
    assert time_of([[0.0, 0.0], end]) == pytest.approx(20.0 / V + V / rate, rel=1e-12)


@pytest.mark.exact
def test_a_right_angle_is_passed_at_the_corner_speed():
    # Both axes change their speed completely, at most by the larger of the allowed sudden change and the
    # change sqrt(A h) over the adjacent segments, here 2 mm/s for h = 0.1 mm.
    leg, last = 10.0, 0.1
    points = [[0, 0], [leg - last, 0], [leg, 0], [leg, last], [leg, leg]]
    slowed = 2 * (leg / V + V / A / 2 + (V - CORNER) ** 2 / (2 * A * V))
    assert time_of(points) == pytest.approx(slowed, rel=1e-9)
    assert math.sqrt(A * last) == pytest.approx(CORNER)


@pytest.mark.exact
def test_a_rotary_axis_limits_the_speed():
    # One turn on a radius of 10 mm at 8 mm/s would be 46 deg/s, on 3 mm 153 deg/s; the limit is 60 deg/s.
    turn = np.linspace(0.0, 360.0, 200)
    for radius, speed in ((10.0, math.degrees(V / 10.0)), (3.0, 60.0)):
        axes = np.column_stack([0 * turn, np.full(200, radius), turn])
        step = radius * np.radians(np.diff(turn))
        assert top_speeds(axes, step, V, LIMITS) == pytest.approx(math.radians(speed) * radius)
        assert move_time(axes, step, V, LIMITS) == pytest.approx(360.0 / speed + speed / 90.0, rel=1e-9)


@pytest.mark.exact
def test_a_polygon_of_many_sides_is_as_fast_as_a_circle():
    # On a circle v² max(|cos|, |sin|) / R <= A, as A limits each axis; starting and stopping add about v/A.
    radius, speed = 0.5, math.sqrt(A * 0.5)
    angle = np.linspace(0.0, 16 * math.pi, 16001)
    circle = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    share = np.sqrt(np.maximum(np.abs(np.cos(angle)), np.abs(np.sin(angle)))).mean()
    smooth = LIMITS._replace(corner=0.0 * LIMITS.corner)
    steady = 16 * math.pi * radius / speed * share
    assert time_of(circle, 100.0, smooth) == pytest.approx(steady + speed / A, rel=5e-3)


def test_nothing_takes_no_time():
    assert time_of([[1.0, 2.0], [1.0, 2.0]]) == 0.0


@pytest.mark.exact
def test_path_takes_longer_than_length_over_speed():
    lattice = wrap(
        EXAMPLES["diamond"].pattern(), chart_of(Tube(6.0, 20.0, (Layer("wall", 0.3),))), height=0.4
    )
    ideal = tool_path(lattice, PrinterSettings(acceleration=1e9, turn_acceleration=1e9, turn_speed=1e9))
    steady = (
        ideal.printed_length / 8.0
        + (ideal.travel_length - ideal.lifts * 5.0) / 30.0
        + ideal.lifts * 5.0 / 8.0
    )
    assert ideal.duration == pytest.approx(steady, rel=1e-3)
    assert tool_path(lattice, SLOW).duration > 1.1 * steady


def test_the_program_respects_the_limits_of_the_rotary_axis():
    narrow = wrap(EXAMPLES["diamond"].pattern(), chart_of(Tube(3.0, 20.0, (Layer("wall", 0.3),))), height=0.4)
    path = tool_path(narrow, PrinterSettings(turn_speed=60.0))
    turn, fastest = None, 0.0
    for line in motion_code(path, "narrow").splitlines():
        words = {word[0]: word[1:] for word in line.split() if not line.startswith("(")}
        if "F" in words and turn is not None:
            fastest = max(fastest, abs(float(words["A"]) - turn) * float(words["F"]) / 60.0)
        turn = float(words["A"]) if "A" in words else turn
    assert fastest == pytest.approx(60.0, rel=5e-3)
