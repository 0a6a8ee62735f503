# SPDX-License-Identifier: MIT
"""Scan files written by other libraries, against the ellipsoid on which their points lie."""

import re

import numpy as np
import pytest
import trimesh
from scan_files import HALF_AXES, ellipsoid, write_small_files

from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.reading import read_scan
from annelid.compare.scans.writing import write_scan
from annelid.geometry.errors import InputError
from annelid.results.views.rendering import pyvista_off_screen

SINGLE = 2e-6  # single precision, relative to 20 mm
COUNT = 122  # points of the small files: 12 meridians of 10 points, and two poles
NAMES = (
    *("binary.ply", "ascii.ply", "binary.stl", "ascii.stl", "mesh.obj", "normals.obj"),
    *("packed.vtp", "ascii.vtp", "points.xyz", "bare.txt", "named.csv"),
)
WITH_INTENSITIES = ("packed.vtp", "ascii.vtp", "bare.txt", "named.csv")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("scans")
    assert {path.name for path in write_small_files(place)} == set(NAMES)
    return place


def true_normals(points):
    gradient = points / HALF_AXES**2
    return gradient / np.linalg.norm(gradient, axis=1)[:, None]


@pytest.mark.exact
@pytest.mark.parametrize("name", NAMES)
def test_points_lie_on_the_ellipsoid(folder, name):
    cloud = read_scan(folder / name, unit="mm")
    assert cloud.points.shape == (COUNT, 3)
    np.testing.assert_allclose(((cloud.points / HALF_AXES) ** 2).sum(axis=1), 1.0, atol=5 * SINGLE)
    np.testing.assert_allclose(
        np.ptp(cloud.points, axis=0), np.ptp(ellipsoid(12).points, axis=0), rtol=SINGLE
    )


@pytest.mark.exact
@pytest.mark.parametrize("name", [name for name in NAMES if name != "points.xyz"])
def test_normals_of_files_and_of_triangles_point_outward(folder, name):
    cloud = read_scan(folder / name, unit="mm")
    np.testing.assert_allclose(np.linalg.norm(cloud.normals, axis=1), 1.0, atol=1e-12)
    angle = np.degrees(np.arccos(np.clip((cloud.normals * true_normals(cloud.points)).sum(axis=1), -1, 1)))
    # PLY and STL of VTK and OBJ of meshio have no normals of points: those of coarse triangles
    own = name in ("normals.obj", *WITH_INTENSITIES)
    assert angle.max() < (0.01 if own else 12.0)


@pytest.mark.parametrize("name", NAMES)
def test_intensities_belong_to_their_points(folder, name):
    cloud, mesh = read_scan(folder / name, unit="mm"), ellipsoid(12)
    assert (cloud.intensities is not None) == (name in WITH_INTENSITIES)
    if cloud.intensities is not None:
        np.testing.assert_allclose(cloud.points, mesh.points[cloud.intensities.astype(int)], atol=20 * SINGLE)


@pytest.mark.exact
@pytest.mark.parametrize("name", NAMES[:8])
def test_triangles_enclose_the_volume_that_another_library_finds(folder, name):
    cloud = read_scan(folder / name, unit="mm")
    a, b, c = np.moveaxis(cloud.points[cloud.faces], 1, 0)
    volume = np.einsum("ni,ni->", a, np.cross(b, c)) / 6.0
    assert volume == pytest.approx(ellipsoid(12).volume, rel=1e-5)


@pytest.mark.parametrize(("unit", "millimetres"), [("µm", 1e-3), ("cm", 10.0), ("in", 25.4), ("m", 1000.0)])
def test_units_are_those_of_the_si_and_the_international_inch(folder, unit, millimetres):
    """SI prefixes; 1 inch = 25.4 mm exactly (international yard and pound agreement of 1959)."""
    plain = read_scan(folder / "points.xyz", unit="mm").points / 1000.0  # so that metres stay small
    np.savetxt(folder / "small.xyz", plain * (1e4 if unit == "µm" else 10.0), fmt="%.17g")
    scaled = read_scan(folder / "small.xyz", unit=unit).points
    np.testing.assert_allclose(scaled, plain * (1e4 if unit == "µm" else 10.0) * millimetres, rtol=1e-12)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace(",", ";").replace(".", ","),
        lambda text: text.replace(",", "\t").replace("_mm", ""),
        lambda text: text.replace(",", ", ").replace("x_mm", '"X [mm]"'),
        lambda text: "# a comment\n\n" + text,
        lambda text: "# x_mm,y_mm,z_mm,nx,ny,nz,intensity\n" + text,
        lambda text: text.partition("\n")[2].replace(",", ";").replace(".", ","),
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", ",a word\n").replace("a word", "label", 1),
        lambda text: "\ufeff" + text,
        lambda text: "\n".join(
            ",".join(["1", *reversed(row.split(","))]) for row in text.splitlines()
        ).replace("1,intensity", "red,intensity"),
    ],
    ids=[
        *("semicolons", "tabs", "quotes", "comment", "same comment", "bare semicolons", "windows", "words"),
        *("mark", "reversed"),
    ],
)
def test_tables_of_many_kinds_are_the_same_scan(folder, change):
    first = read_scan(folder / "named.csv", unit="mm")
    changed = folder / "changed.csv"
    changed.write_text(change((folder / "named.csv").read_text()), newline="")
    second = read_scan(changed, unit="mm")
    np.testing.assert_array_equal(second.points, first.points)
    np.testing.assert_array_equal(second.normals, first.normals)
    np.testing.assert_array_equal(second.intensities, first.intensities)


def test_a_unit_in_a_name_must_be_the_given_one(folder):
    with pytest.raises(InputError, match=r"named\.csv.*column x is in mm, but the unit given is cm"):
        read_scan(folder / "named.csv", unit="cm")


def test_several_solids_and_groups_of_the_same_name_are_one_scan(folder):
    solid = (folder / "ascii.stl").read_text()
    beside = re.sub(r"vertex +(\S+)", lambda match: f"vertex {float(match[1]) + 50.0}", solid)
    (folder / "twice.stl").write_text(solid + beside)
    both = read_scan(folder / "twice.stl", unit="mm")
    assert len(both.faces) == 2 * len(read_scan(folder / "ascii.stl", unit="mm").faces)
    lines = (folder / "normals.obj").read_text().splitlines()
    faces = [line for line in lines if line.startswith("f ")]
    grouped = [line for face in faces for line in ("g same", "usemtl other", face.replace(" ", " \\\n", 1))]
    (folder / "groups.obj").write_text("\n".join([*(line for line in lines if line not in faces), *grouped]))
    one, two = (read_scan(folder / name, unit="mm") for name in ("normals.obj", "groups.obj"))
    np.testing.assert_array_equal(one.points, two.points)
    np.testing.assert_array_equal(one.faces, two.faces)


def test_quadrangles_in_the_other_byte_order_become_triangles(folder):
    ball = trimesh.creation.cylinder(radius=5.0, height=20.0, sections=80)
    sides = np.array([[i, (i + 1) % 80, 80 + (i + 1) % 80, 80 + i] for i in range(80)])
    angle = 2.0 * np.pi * np.arange(80) / 80
    ring = np.column_stack([5.0 * np.cos(angle), 5.0 * np.sin(angle)])
    points = np.concatenate([np.column_stack([ring, np.full(80, z)]) for z in (-10.0, 10.0)])
    faces = np.empty(80, dtype=[("count", "u1"), ("corners", ">i4", 4)])
    faces["count"], faces["corners"] = 4, sides
    header = "ply\nformat binary_big_endian 1.0\nelement vertex 160\nproperty float x\nproperty float y\n"
    header += "property float z\nelement face 80\nproperty list uchar int vertex_indices\nend_header\n"
    (folder / "quads.ply").write_bytes(header.encode() + points.astype(">f4").tobytes() + faces.tobytes())
    cloud = read_scan(folder / "quads.ply", unit="mm")
    a, b, c = np.moveaxis(cloud.points[cloud.faces], 1, 0)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()
    caps = 2.0 * 0.5 * 80 * 25.0 * np.sin(2.0 * np.pi / 80)
    assert area == pytest.approx(ball.area - caps, rel=1e-6)
    assert (cloud.normals[:, :2] * cloud.points[:, :2]).sum(axis=1) == pytest.approx(5.0, rel=1e-3)


@pytest.mark.parametrize("suffix", [".ply", ".csv"])
def test_other_libraries_read_a_written_scan(tmp_path, folder, suffix):
    cloud = read_scan(folder / "packed.vtp", unit="mm")
    file = tmp_path / f"scan{suffix}"
    write_scan(cloud, file, comments=["two\nlines"])
    assert b"two\n" in file.read_bytes()
    if suffix == ".ply":
        mesh = pyvista_off_screen().read(file)
        np.testing.assert_allclose(mesh.points, cloud.points, rtol=SINGLE)
        np.testing.assert_array_equal(mesh.regular_faces, cloud.faces)
    else:
        table = np.loadtxt(file, delimiter=",", skiprows=3)
        np.testing.assert_allclose(table[:, :3], cloud.points, rtol=1e-8)
    again = read_scan(file, unit="mm")
    np.testing.assert_allclose(again.points, cloud.points, rtol=0 if suffix == ".ply" else 1e-8)
    np.testing.assert_array_equal(again.intensities, cloud.intensities)
    np.testing.assert_allclose(again.normals, cloud.normals, atol=1e-8)


def test_triangles_without_area_and_points_in_none_are_left_out(tmp_path):
    mesh = ellipsoid(12)
    points = np.concatenate([mesh.points, [[50.0, 50.0, 50.0]]])
    flat = [[0, 0, 1], [1, 2, 1]]
    write_scan(PointCloud(points, None, None, np.concatenate([mesh.regular_faces, flat])), tmp_path / "a.ply")
    cloud = read_scan(tmp_path / "a.ply", unit="mm")
    assert len(cloud.points) == COUNT
    assert len(cloud.faces) == mesh.n_cells
