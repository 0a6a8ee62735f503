# SPDX-License-Identifier: MIT
"""Clearances of nozzles in closed form (own derivations, plane geometry): cones, a sphere, a neck."""

import math

import numpy as np
import pytest
from lattices import pattern_of

from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import RevolutionChart, chart_of
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.printing.nozzle_clearance import Nozzle, clearance_of
from annelid.geometry.printing.settings import PrinterSettings
from annelid.geometry.printing.tool_path import tool_path
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.spline_meridian import from_points
from annelid.geometry.shapes.tube import Tube


@pytest.mark.exact
def test_points_beside_a_cone():
    # Beside the cone's side the distance is (ρ - tip/2) cos α - z sin α, under the tip -z, over the shoulder
    # ρ - body/2; inside it is negative.
    nozzle = Nozzle(tip=1.0, half_angle=30.0, length=6.0, body=12.0)
    c, s = math.cos(math.radians(30.0)), math.sin(math.radians(30.0))
    radius = np.array([3.0, 2.0, 0.2, 0.0, 8.0, 5.0, 5.0])
    height = np.array([2.0, 3.0, -0.7, 1.0, 50.0, 5.5, 6.5])
    gaps = [2.5 * c - 2.0 * s, 1.5 * c - 3.0 * s, 0.7, -(0.5 * c + 1.0 * s), 2.0, 0.5, -0.5]
    assert nozzle.distance(radius, height) == pytest.approx(gaps)


@pytest.mark.exact
@pytest.mark.parametrize("machine", ["rotary", "five-axis"])
def test_over_a_tube_the_gap_is_the_stand_off(machine):
    lattice = wrap(pattern_of("diamond"), chart_of(Tube(6.0, 20.0, (Layer("wall", 0.3),))), height=0.4)
    found = clearance_of(tool_path(lattice, PrinterSettings(machine=machine, stand_off=0.25)))
    assert found.smallest_gap == pytest.approx(0.25, abs=1e-6)
    assert len(found.collisions) == 0


@pytest.mark.exact
@pytest.mark.parametrize("stand_off", [0.4, 0.2])
def test_the_clearance_of_a_radial_nozzle_on_a_sphere(stand_off):
    # The tip's centre is R + s from the sphere's; its edge lies tip/2 nearer to the plane of the equator.
    R, tip = 12.0, 0.8
    path = tool_path(
        wrap(pattern_of("diamond"), RevolutionChart(sphere(R)), height=0.2),
        PrinterSettings(stand_off=stand_off, tip=tip),
    )
    tips = np.concatenate([move.poses.position for move in path.moves if move.printing]) - [0.0, 0.0, R]
    edge = np.hypot(np.hypot(tips[:, 0], tips[:, 1]), np.abs(tips[:, 2]) - tip / 2) - R
    found = clearance_of(path)
    if edge.min() > 0:
        assert found.smallest_gap == pytest.approx(edge.min(), abs=0.01)
    assert (found.smallest_gap < 0) == (edge.min() < 0)
    assert (len(found.collisions) > 0) == (edge.min() < 0)
    assert (
        clearance_of(
            tool_path(path.lattice, PrinterSettings(machine="five-axis", stand_off=stand_off))
        ).smallest_gap
        > 0.19
    )


@pytest.mark.exact
@pytest.mark.parametrize(("cone", "touches"), [(60.0, False), (64.0, False), (66.0, True)])
def test_the_clearance_of_a_cone_in_a_neck(cone, touches):
    # Neck of meridian r = r0 + ρ - √(ρ² - z²): the upper edge of the cone, which stands radially at height z,
    # is as far from it as ρ less its distance from the centre of the arc.
    r0, arc, length = 4.0, 10.0, 3.0
    z = np.linspace(-9.0, 9.0, 121)
    neck = RevolutionChart(from_points(np.column_stack([r0 + arc - np.sqrt(arc**2 - z**2), z])))
    middle = float(neck.v_at_arc(np.array([sum(neck.arc_at(np.array([neck.low, neck.high]))) / 2]))[0])
    lattice = wrap(
        pattern_of("diamond", strut=1.2, width=0.2), neck, height=0.2, span=(middle - 0.3, middle + 0.3)
    )
    how = PrinterSettings(
        nozzle=0.2, tip=0.4, cone_angle=cone, cone_length=length, body=1.0, clearance=0.5, stand_off=0.2
    )
    path = tool_path(lattice, how)
    tips = np.concatenate([move.poses.position for move in path.moves])
    shoulder = 0.2 + length * math.tan(math.radians(cone))
    corner = np.hypot(np.hypot(tips[:, 0], tips[:, 1]) + length - r0 - arc, np.abs(tips[:, 2]) + shoulder)
    expected = min((arc - corner).min(), 0.2)
    found = clearance_of(path)
    assert (found.smallest_gap < 0) == (expected < 0)
    if expected > 0:
        assert found.smallest_gap == pytest.approx(expected, abs=0.02)
    assert (len(found.collisions) > 0) == touches


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"tip": 0.0}, "tip: must be above 0 mm, got 0 mm"),
        ({"half_angle": 85.0}, "half_angle: must be at least 0 and below 80 deg, got 85 deg"),
        ({"body": 0.2}, r"body: must be at least 0\.6 mm \(the tip\), got 0\.2 mm"),
    ],
)
def test_impossible_nozzles_are_rejected(changes, words):
    with pytest.raises(InputError, match=words):
        Nozzle(**{"tip": 0.6, "half_angle": 10.0, "length": 30.0, "body": 12.0} | changes)
