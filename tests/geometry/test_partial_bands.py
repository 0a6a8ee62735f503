# SPDX-License-Identifier: MIT
"""Bands between two angles and helices: which cells and faces they have, and what is refused.

Volumes are those of the cylinder: own reasoning. The overlap of two helices follows from their rise.
"""

import numpy as np
import pytest
from measuring import cell_volumes

from annelid.geometry.errors import InvalidValue
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band, Helix
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

WALL = (Layer("wall", 0.5),)
TUBE = Tube(5.0, 30.0, WALL)
"""In mm."""


def solid(**size):
    return MeshSize(**{"model": "solid", "along": 10.0, "through": 1, "around": 16} | size)


def sector_band(first, last, name="side", low=5.0, high=25.0):
    return Band(name, "wall", low, high, angles=(first, last))


def winding(name="coil", low=0.0, high=30.0, **helix):
    return Band(name, "wall", low, high, helix=Helix(**{"pitch": 20.0, "width": 4.0} | helix))


def volume(body, cells):
    return cell_volumes(body)[cells].sum()


def test_mesh_lines_lie_at_the_angles():
    """The volume between two angles, up to the arcs; the faces of the band are those of its cells."""
    body = build(TUBE, solid(around=64), [sector_band(-33.0, 40.0), sector_band(100.0, 117.0, "other")])
    for name, turn in (("side", 73.0), ("other", 17.0)):
        drawn = np.radians(turn) / 2 * (5.5**2 - 5.0**2) * 20.0
        assert volume(body, body.bands[name]) == pytest.approx(drawn, rel=1e-6)
        for face in ("inner", "outer"):
            nodes = body.surface_nodes(f"{name}.{face}")
            assert len(body.surfaces[f"{name}.{face}"]) == len(body.bands[name])
            assert np.isin(nodes, body.cells[body.bands[name]]).all()


def test_capped_tube_follows_the_angles():
    """The discs in the caps have the same lines on their rims."""
    tube = Tube(5.0, 30.0, WALL, ends="capped")
    body = build(tube, solid(around=64), [sector_band(10.0, 41.0)])
    drawn = np.radians(31.0) / 2 * (5.5**2 - 5.0**2) * 20.0
    assert volume(body, body.bands["side"]) == pytest.approx(drawn, rel=1e-6)
    assert sum(volume(body, cells) for cells in body.regions.values()) == pytest.approx(
        sum(tube.region_volume(name) for name in body.regions), rel=1e-6
    )


def test_tetrahedra_have_the_same_bands():
    bands = [sector_band(-30.0, 30.0), winding(low=25.0, high=30.0)]
    whole, split = (build(TUBE, solid(cells=cells), bands) for cells in ("hexahedra", "tetrahedra"))
    for band in bands:
        assert len(split.bands[band.name]) == 6 * len(whole.bands[band.name]) > 0


def test_note_states_the_error_of_the_area_of_a_helix():
    """One of five elements around is whole 16/5 = 3.2: 3 at the height of their centres, 1/16 too few."""
    body = build(TUBE, solid(), [winding()])
    ratio = volume(body, body.bands["coil"]) / (volume(body, body.regions["wall"]) / 5)
    assert abs(ratio - 1) > 0.01
    word = "larger" if ratio > 1 else "smaller"
    assert f"{100 * abs(ratio - 1):.2g} % {word} than drawn" in body.notes["electrode coil"]


@pytest.mark.parametrize(
    ("first", "second", "overlap"),
    [
        (sector_band(-30, 30), sector_band(30, 60, "b"), False),
        (sector_band(-30, 30), sector_band(29, 60, "b"), True),
        (sector_band(-30, 30), sector_band(300, 331, "b"), True),
        (sector_band(-30, 30), sector_band(300, 330, "b"), False),
        (sector_band(-30, 30), sector_band(10, 20, "b", 25, 30), False),
        (sector_band(-30, 30), Band("b", "wall", 20.0, 30.0), True),
        (winding(), winding("b", start_angle=180.0), False),
        (winding(), winding("b", start_angle=71.0), True),
        (winding(), winding("b", start_angle=73.0), False),
        (winding(low=0.0), winding("b", low=10.0), False),
        (winding(low=0.0), winding("b", low=3.0), True),
        (winding(), winding("b", start_angle=180.0, hand="left"), True),
        (winding(), sector_band(0, 10, "b"), True),
    ],
)
def test_overlap(first, second, overlap):
    """72 degrees are the width of 4 mm of a pitch of 20 mm."""
    assert first.overlaps(second) == second.overlaps(first) == overlap
    if overlap:
        with pytest.raises(InvalidValue, match="overlaps"):
            build(TUBE, solid(), [first, second])


@pytest.mark.parametrize(
    ("shape", "band", "message"),
    [
        (
            Balloon(sphere(6.0), WALL),
            sector_band(0, 90, low=0.0, high=6.0),
            "angles: cannot reach the axis",
        ),
        (Dome(6.0, 2.0, WALL), winding(low=3.0, high=5.0), "but edges of electrodes on a dome are radii"),
        (TUBE, winding(low=14.0, high=15.0, width=0.1), "helix: covers no element: make mesh.along smaller"),
    ],
)
def test_bands_that_cannot_be_placed(shape, band, message):
    with pytest.raises(InvalidValue, match=message):
        build(shape, solid(), [band])
