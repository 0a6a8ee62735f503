# SPDX-License-Identifier: MIT
"""Errors of invalid input: each names the value, the allowed range and a remedy."""

import math

import numpy as np
import pytest
from measuring import LAYERS

from annelid.geometry.errors import InputError
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import ellipsoid, necked, sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.spline_meridian import COLUMNS, from_points
from annelid.geometry.shapes.tube import Tube
from annelid.geometry.text_files import read_columns

TUBE = Tube(4.0, 12.0, LAYERS)
SIZE = MeshSize(along=1.0)
FIGURE_OF_EIGHT = ((3.0, 0.0), (6.0, 3.0), (3.0, 6.0), (6.0, 6.5), (6.5, 1.0), (4.0, 3.5), (2.0, 8.0))
KINKED = ((6.0, 0.0), (6.0, 4.0), (5.9, 5.0), (4.0, 6.0), (5.9, 7.0), (6.0, 8.0), (6.0, 12.0))
FUNNEL = (
    (0.5, 3.0), (1.5, 2.0), (2.5, 1.0), (3.5, 0.2), (5.0, 0.3), (6.0, 2.0), (6.0, 6.0), (6.0, 12.0),
)  # fmt: skip
OVERHANGING = ((3.0, 0.0), (5.0, 3.0), (7.0, 2.0), (9.0, 5.0), (8.0, 9.0))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Layer("wall", -0.2), r"layer 'wall': thickness: must be above 0 mm, got -0\.2 mm"),
        (lambda: Layer("wall", math.nan), "layer 'wall': thickness: must be above 0 mm, got nan mm"),
        (lambda: Layer("core", 0.2), "layer 'core': name: 'core' is a reserved name: choose another"),
        (
            lambda: Layer("a|b", 0.2),
            r"layer 'a\|b': name: 'a\|b' is not a name: use letters, digits, spaces, hyphens and",
        ),
        (
            lambda: Band("a.b", "wall", 1.0, 2.0),
            r"electrode 'a\.b': name: 'a\.b' is not a name: use letters, digits, spaces, hyphens and",
        ),
        (
            lambda: Band("r", "wall", 3.0, 2.0),
            r"electrode 'r': to: must be above 3 mm \(from\), got 2 mm",
        ),
        (lambda: Tube(0.0, 12.0, LAYERS), "tube: inner_radius: must be above 0 mm, got 0 mm"),
        (lambda: Tube(4.0, -1.0, LAYERS), "tube: length: must be above 0 mm, got -1 mm"),
        (lambda: Tube(4.0, 12.0, ()), "tube: layers: must hold at least one layer, from inside to outside"),
        (
            lambda: Tube(4.0, 12.0, (LAYERS[0], LAYERS[0])),
            "tube: layers: 'liner' appears 2 times; names must be unique",
        ),
        (
            lambda: Tube(4.0, 12.0, LAYERS, ends="shut"),
            "tube: ends: 'shut' is not allowed; allowed: open, capped",
        ),
        (
            lambda: Tube(4.0, 12.0, LAYERS, cap_thickness=1.0),
            "tube: cap_thickness: an open tube has no caps: set ends = 'capped', or leave it out",
        ),
        (
            lambda: Tube(4.0, 12.0, LAYERS, ends="capped", cap_thickness=0.0),
            "tube: cap_thickness: must be above 0 mm, got 0 mm",
        ),
        (lambda: Sleeve(0.0, 12.0, LAYERS), "sleeve: core_radius: must be above 0 mm, got 0 mm"),
        (lambda: Sleeve(4.0, 0.0, LAYERS), "sleeve: length: must be above 0 mm, got 0 mm"),
        (
            lambda: Sleeve(4.0, 12.0, LAYERS, core_inner_radius=4.5),
            r"sleeve: core_inner_radius: must be at least 0 and below 4 mm \(core_radius\), got 4\.5 mm",
        ),
        (
            lambda: Sleeve(4.0, 12.0, LAYERS, core_overhang=-1.0),
            "sleeve: core_overhang: must be at least 0 mm, got -1 mm",
        ),
        (lambda: MeshSize(along=0.0), "mesh: along: must be above 0 mm, got 0 mm"),
        (
            lambda: MeshSize(along=1.0, through=0),
            "mesh: through: must be a whole number of at least 1, got 0",
        ),
        (
            lambda: MeshSize(along=1.0, through=1.5),
            r"mesh: through: must be a whole number of at least 1, got 1\.5",
        ),
        (lambda: MeshSize(along=1.0, around=4), "mesh: around: must be a whole number of at least 8, got 4"),
        (
            lambda: MeshSize(along=1.0, sector=270.0),
            "mesh: sector: must be above 0 and at most 180 degrees, got 270 degrees",
        ),
        (
            lambda: MeshSize(along=1.0, model="shell"),
            "mesh: model: 'shell' is not allowed; allowed: axisymmetric, solid, sector",
        ),
        (
            lambda: MeshSize(along=1.0, cells="wedges"),
            "mesh: cells: 'wedges' is not allowed; allowed: hexahedra, tetrahedra",
        ),
        (
            lambda: MeshSize(along=1.0, cells="tetrahedra"),
            "mesh: cells: 'tetrahedra' needs the solid or the sector model; an axisymmetric model is",
        ),
    ],
)
def test_numbers_and_names_out_of_range(make, message):
    with pytest.raises(InputError, match=message):
        make()


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: sphere(-1.0), "radius: must be above 0 mm, got -1 mm"),
        (lambda: ellipsoid(3.0, 0.0), "half_length: must be above 0 mm, got 0 mm"),
        (
            lambda: necked(3.0, 20.0, 4.0, 2.0),
            r"radius: must be above 4 mm \(neck_radius\), got 3 mm",
        ),
        (lambda: necked(6.0, 8.0, 3.0, 4.0), r"length: must be above 8 mm \(both necks\), got 8 mm"),
        (
            lambda: necked(6.0, 20.0, 3.0, 4.0, shoulder=7.0),
            r"shoulder: must be above 0 and at most 6 mm \(half of what the necks leave\), got 7 mm",
        ),
        (
            lambda: necked(6.0, 20.0, 3.0, 4.0, shoulder=1.0),
            r"shoulder: 1 mm is too short for a step of 3 mm in radius: give at least 1\.5 mm",
        ),
        (
            lambda: from_points([(1, 0), (1, 1), (1, 2)]),
            r"need at least 4 pairs of R and Z, got an array of shape \(3, 2\)",
        ),
        (
            lambda: from_points([(1, 0), (1, 1), (math.inf, 2), (1, 3)]),
            "points: point 2 is not finite",
        ),
        (
            lambda: from_points([(1, 0), (-1, 1), (1, 2), (1, 3)]),
            r"radius -1 mm at point 1; radii must be at least 0 mm",
        ),
        (lambda: from_points([(1, 0), (1, 1), (1, 1), (1, 3)]), r"point 2 repeats the one before it"),
        (
            lambda: from_points([(0, 0), (1, 4), (2, 8), (2, 9)]),
            "points: the wall meets the axis 76 degrees from the horizontal, but must meet it at a",
        ),
        (
            lambda: from_points([(4, 0), (4, 2), (0.05, 4), (0.05, 6), (4, 8), (4, 10)]),
            r"meridian: spline through 6 points: radius -0\.1972 mm at Z = 5\.013 mm; radii must be above",
        ),
        (lambda: from_points(FIGURE_OF_EIGHT), r"it crosses itself near R = .* mm, Z = .* mm"),
        (
            lambda: from_points([(1, 0), (1, 1), (1, 2), (1, 3)], smoothing=-1.0),
            "smoothing: must be at least 0 mm, got -1 mm",
        ),
        (
            lambda: Balloon(from_points(KINKED), (Layer("wall", 3.0),)),
            r"wall of 3 mm is thicker than the meridian allows at Z = 6.* where .* would fold; keep it below",
        ),
        (
            lambda: Balloon(from_points(FUNNEL), (Layer("wall", 1.0),)),
            r"wall of 1 mm reaches the axis at Z = 3 mm; make it thinner",
        ),
    ],
)
def test_impossible_meridians(make, message):
    with pytest.raises(InputError, match=message):
        make()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("radius_mm\n1\n", r"missing: height_mm; expected the columns radius_mm, height_mm"),
        ("radius_mm,height_mm\n", r"has no rows below the line of column names"),
        ("radius_mm,height_mm\n1,0\n2,wide\n", r"line 3: height_mm: 'wide' is not a number"),
        ("radius_mm,height_mm\n1,0\n2\n", r"line 3: height_mm: '' is not a number"),
        ("radius_mm,height_mm\n1,0\n2,1\n", r"need at least 4 pairs"),
    ],
)
def test_tables_that_cannot_be_read(tmp_path, text, message):
    path = tmp_path / "meridian.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=message):
        from_points(read_columns(path, COLUMNS))


def test_missing_table(tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.csv: cannot be read"):
        read_columns(tmp_path / "nowhere.csv", COLUMNS)


def test_binary_table(tmp_path):
    path = tmp_path / "meridian.csv"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(InputError, match=r"meridian\.csv: is not a UTF-8 text file"):
        read_columns(path, COLUMNS)


@pytest.mark.parametrize(
    ("shape", "bands", "lines", "message"),
    [
        (
            TUBE,
            [Band("r", "skin", 1.0, 2.0)],
            [],
            "electrode 'r': region: 'skin' is not a layer of this shape; allowed: liner, wall",
        ),
        (
            TUBE,
            [Band("r", "wall", 1.0, 20.0)],
            [],
            r"electrode 'r': to: must be at least 0 and at most 12 mm \(where the layers are\), got 20 mm",
        ),
        (
            TUBE,
            [Band("r", "wall", -1.0, 2.0)],
            [],
            r"electrode 'r': from: must be at least 0 and at most 12 mm \(where the layers are\), got -1",
        ),
        (
            TUBE,
            [Band("b", "wall", 4.0, 6.0), Band("a", "wall", 1.0, 5.0)],
            [],
            "electrode 'b': from: 4 mm overlaps electrode 'a', which covers 1 to 5 mm of the same layer",
        ),
        (
            TUBE,
            [Band("r", "wall", 1.0, 2.0), Band("r", "liner", 1.0, 2.0)],
            [],
            "electrodes: 'r' appears 2 times; names must be unique",
        ),
        (TUBE, [], [13.0], r"lines: must be at least 0 and at most 12 mm \(where the part is\), got 13 mm"),
        (
            Sleeve(4.0, 10.0, LAYERS, core_overhang=2.0),
            [Band("r", "wall", 1.0, 5.0)],
            [],
            r"electrode 'r': from: must be at least 2 and at most 12 mm \(where the layers are\), got 1 mm",
        ),
        (
            Balloon(from_points(OVERHANGING), (Layer("wall", 0.2),)),
            [Band("r", "wall", 2.5, 4.0)],
            [],
            r"electrode 'r': from: 2\.5 mm is at more than one place of the meridian, which doubles",
        ),
    ],
)
def test_bands_and_lines_that_do_not_fit(shape, bands, lines, message):
    with pytest.raises(InputError, match=message):
        build(shape, SIZE, bands, lines=lines)


def test_touching_bands_are_accepted():
    bands = [Band("a", "wall", 1.0, 5.0), Band("b", "wall", 5.0, 6.0), Band("c", "liner", 2.0, 5.5)]
    body = build(TUBE, SIZE, bands)
    assert set(body.bands) == {"a", "b", "c"}
    members = np.concatenate(list(body.bands.values()))
    assert len(members) == len(set(members.tolist()))


@pytest.mark.parametrize(
    ("shape", "size", "message"),
    [
        (
            Sleeve(4.0, 10.0, LAYERS),
            MeshSize(along=2.0, model="sector", sector=8.0, around=90),
            r"mesh: a cell of region 'core' at X = .* is too distorted .* widen a narrow sector",
        ),
        (
            TUBE,
            MeshSize(along=1e-5),
            r"would give about 4800000 cells, more than 1000000; make mesh\.along larger",
        ),
        (
            TUBE,
            MeshSize(along=0.01, model="solid", around=1000),
            r"about 4800000 cells, more than 1000000; make mesh\.along larger",
        ),
    ],
)
def test_meshes_of_low_quality_or_excessive_size(shape, size, message):
    with pytest.raises(InputError, match=message):
        build(shape, size)


def test_formula_for_an_unknown_region():
    with pytest.raises(InputError, match="region: 'cap': this shape has liner, wall"):
        TUBE.region_volume("cap")
