# SPDX-License-Identifier: MIT
"""Comparisons of scans with prescribed deviations: the files say what was prescribed."""

import json
import re
from dataclasses import replace

import numpy as np
import pyarrow.csv
import pyarrow.parquet
import pytest
import pyvista
import trimesh
from comparison_parts import NOISE, deviating_scan, write_points
from synthetic_parts import LENGTH, meridian_tube
from synthetic_runs import create, states

from annelid.compare.alignment.poses import Pose
from annelid.compare.alignment.records import AlignmentSettings
from annelid.compare.comparison.named_points import about, read_named_points
from annelid.compare.comparison.simulated_part import ComparisonSettings, simulated_part
from annelid.compare.page.write import write_comparisons
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import digests_of, read_sealed

SETTINGS = ComparisonSettings("mm", replicates=10)
HEIGHT, WIDE, HIGH = 7.0, 0.5, 0.15


def bump(z, θ):
    """A smooth bump of 0.15 mm at 7 mm height, within a third of the circumference."""
    return HIGH * np.exp(-(((z - HEIGHT) / 2.0) ** 2) - (θ / WIDE) ** 2)


@pytest.fixture(scope="module")
def bumped(run, tmp_path_factory):
    """The scan with a bump: folder, prescribed deviations, rotation and shift."""
    place = tmp_path_factory.mktemp("bumped")
    points, value, rotation, shift = deviating_scan(simulated_part(run, SETTINGS).surface, bump)
    page, _ = write_comparisons(run, [write_points(place / "bump.ply", points)], SETTINGS, out=place / "out")
    return page.parent, value, rotation, shift


def summary_of(folder):
    return read_sealed(folder / "summary.json")


@pytest.mark.long
@pytest.mark.exact
def test_a_wider_part_deviates_by_its_excess_and_encloses_more(run, tmp_path):
    # Closed form: all deviations are 0.1 mm, and the volume grows by π ((r + 0.1)² - r²) L.
    surface = simulated_part(run, SETTINGS).surface
    points, *_ = deviating_scan(surface, lambda z, θ: 0.1 + 0.0 * z)
    page, _ = write_comparisons(
        run, [write_points(tmp_path / "wide.ply", points)], SETTINGS, out=tmp_path / "out"
    )
    found = {name: entry["value"] for name, entry in summary_of(page.parent)["measures"].items()}
    r = float(np.hypot(*surface.points.T[:2]).max())
    assert found["mean deviation"] == pytest.approx(0.1, abs=1e-3)
    assert found["root mean square deviation"] == pytest.approx(np.hypot(0.1, NOISE), abs=1e-3)
    assert found["volume difference"] == pytest.approx(np.pi * (0.2 * r + 0.01) * LENGTH, rel=0.02)


@pytest.mark.exact
def test_a_bump_is_found_with_the_prescribed_mean_and_root_mean_square(bumped):
    folder, value, *_ = bumped
    found = summary_of(folder)
    measures = {name: entry["value"] for name, entry in found["measures"].items()}
    assert measures["mean deviation"] == pytest.approx(value.mean(), abs=0.005 * HIGH)
    assert measures["root mean square deviation"] == pytest.approx(
        np.sqrt((value**2).mean() + NOISE**2), rel=0.03
    )
    assert measures["largest deviation outward"] == pytest.approx(HIGH, abs=4.0 * NOISE)
    # The tube looks alike end for end.
    height = found["places"]["largest deviation outward"][2]
    assert min(abs(height - HEIGHT), abs(height - (LENGTH - HEIGHT))) < 0.5


@pytest.mark.exact
def test_the_pose_of_the_scan_is_found_but_for_its_free_turn(bumped):
    folder, _, rotation, shift = bumped
    found = summary_of(folder)["alignment"]
    back, moved = np.array(found["rotation"]), np.array(found["translation_mm"])
    axis = back @ rotation @ [0.0, 0.0, 1.0]
    assert abs(axis[2]) == pytest.approx(1.0, abs=1e-5)
    middle = np.array([0.0, 0.0, 0.5 * LENGTH])
    np.testing.assert_allclose(back @ (rotation @ middle + shift) + moved, middle, atol=0.05)
    assert [(motion["kind"], motion["fixed_by"]) for motion in found["free"]] == [
        ("slide", "the ends of the scan"),
        ("turn", ""),
    ]
    # The angle of the turn between two poses, from the trace of the rotation.
    cosine = 0.5 * (np.trace(back) - 1.0)
    assert found["turn_deg"] == pytest.approx(np.degrees(np.arccos(cosine)))


def named(path, places, rotation, shift):
    """A file of named points on the part and where they are on the scan, in cm there."""
    rows = [
        ",".join(map(str, [name, *(0.1 * (rotation @ place + shift)), *place]))
        for name, place in places.items()
    ]
    path.write_text("\n".join(["name,x_scan,y_scan,z_scan,x_part,y_part,z_part", *rows]) + "\n")
    return read_named_points(path, unit="cm")


@pytest.mark.long
@pytest.mark.exact
def test_a_named_point_fixes_the_turn_and_tells_the_ends_apart(run, bumped, tmp_path):
    folder, _, rotation, shift = bumped
    fiducials = named(tmp_path / "mark.csv", {"mark": np.array([6.56, 0.0, 2.0])}, rotation, shift)
    settings = replace(SETTINGS, fiducials=fiducials)
    page, _ = write_comparisons(run, [folder.parent / "bump.ply"], settings, out=tmp_path / "out")
    found = summary_of(page.parent)
    np.testing.assert_allclose(np.array(found["alignment"]["rotation"]) @ rotation, np.eye(3), atol=0.01)
    x, y, z = found["places"]["largest deviation outward"]
    assert (np.arctan2(y, x), z) == pytest.approx((0.0, HEIGHT), abs=0.4)
    assert found["alignment"]["residuals at named points_mm"]["mark"] < 0.05
    assert "so the angle of the scan about its axis is arbitrary" not in page.read_text()


@pytest.mark.long
def test_three_named_points_alone_are_a_datum(run, bumped, tmp_path):
    folder, _, rotation, shift = bumped
    places = {name: np.array(x) for name, x in (("a", [6.6, 0, 0]), ("b", [0, 6.6, 12]), ("c", [-6.6, 0, 5]))}
    fiducials = named(tmp_path / "marks.csv", places, rotation, shift)
    settings = replace(SETTINGS, fiducials=fiducials, alignment=AlignmentSettings("points"))
    page, _ = write_comparisons(run, [folder.parent / "bump.ply"], settings, out=tmp_path / "out")
    np.testing.assert_allclose(
        np.array(summary_of(page.parent)["alignment"]["rotation"]) @ rotation, np.eye(3), atol=1e-9
    )
    assert "the named points a, b, c as datum targets" in page.read_text()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("name,x_scan\na,1\n", "missing: y_scan, z_scan, x_part, y_part, z_part"),
        ("name,x_scan,y_scan,z_scan,x_part,y_part,z_part\na,1,2,here,4,5,6\n", "here"),
        (
            "name,x_scan,y_scan,z_scan,x_part,y_part,z_part\n" + 2 * "a,1,2,3,4,5,6\n",
            "another name in each row",
        ),
        ("x_scan,y_scan,z_scan,x_part,y_part,z_part\n1,2,3,4,5,6\n", "needs a column name"),
    ],
)
def test_files_that_are_no_named_points_are_refused(tmp_path, text, message):
    (tmp_path / "marks.csv").write_text(text)
    with pytest.raises(InputError, match=message):
        read_named_points(tmp_path / "marks.csv", unit="mm")


@pytest.mark.exact
def test_the_covariance_about_another_centre_is_that_of_the_same_motion():
    # A motion about one centre shifts the other one by what the exact motion does, to first order.
    centre, other, motion = np.array([1.0, 2.0, 3.0]), np.array([-4.0, 6.0, 5.0]), 1e-6 * np.arange(1.0, 7.0)
    moved = Pose(np.eye(3), np.zeros(3)).moved(motion, centre).apply(other[None])[0] - other
    there = np.concatenate([motion[:3], moved])
    np.testing.assert_allclose(
        about(np.outer(motion, motion), centre, other), np.outer(there, there), rtol=1e-4
    )


def test_tables_surface_and_scan_agree_with_each_other(bumped):
    folder = bumped[0]
    table = pyarrow.parquet.read_table(folder / "deviation.parquet")
    assert table.equals(pyarrow.csv.read_csv(folder / "deviation.csv"))
    points = np.column_stack([table[f"{axis} [mm]"].to_numpy() for axis in "xyz"])
    np.testing.assert_allclose(trimesh.load(folder / "aligned.ply").vertices, points, atol=1e-5)
    counted = np.array(table["use"].to_pylist()) == "counted"
    assert counted.sum() == summary_of(folder)["points"]["counted"]
    assert len(table) == summary_of(folder)["points"]["after cleaning"]
    deviation = table["deviation [mm]"].to_numpy(zero_copy_only=False)
    outside = np.hypot(points[:, 0], points[:, 1])
    r = float(np.nanmedian(outside - deviation))
    np.testing.assert_allclose(deviation[counted], outside[counted] - r, atol=5e-3)
    mesh = pyvista.read(folder / "deviation.vtp")
    shown = mesh["deviation [mm]"]
    assert np.nanmax(shown) == pytest.approx(HIGH, rel=0.2)
    assert abs(np.nanmedian(shown)) < 0.01


@pytest.mark.long
def test_points_without_partner_have_no_deviation(run, tmp_path):
    surface = simulated_part(run, SETTINGS).surface
    points, *_, rotation, shift = deviating_scan(surface, lambda z, θ: 0.0 * z)
    # A flange beside the upper end, beyond the open edge, 0.3 to 2 mm wide.
    rng = np.random.default_rng(1)
    r, θ = surface.points[:, 0].max() + rng.uniform(0.3, 2.0, 600), rng.uniform(-np.pi, np.pi, 600)
    flange = np.column_stack([r * np.cos(θ), r * np.sin(θ), np.full(600, LENGTH + 0.3)])
    scan = write_points(tmp_path / "flange.ply", np.concatenate([points, flange @ rotation.T + shift]))
    page, _ = write_comparisons(run, [scan], SETTINGS, out=tmp_path / "out")
    table = pyarrow.parquet.read_table(page.parent / "deviation.parquet").to_pylist()
    missing = [row for row in table if row["use"] == "without partner"]
    assert len(missing) > 300
    assert all(row["deviation [mm]"] is None for row in missing)
    assert summary_of(page.parent)["points"]["beyond open edges"] > 300
    assert summary_of(page.parent)["measures"]["root mean square deviation"]["value"] < 2.0 * NOISE


def test_the_summary_names_run_and_scan_by_their_digests(run, bumped):
    folder = bumped[0]
    found = summary_of(folder)
    names = sorted(path.name for path in folder.iterdir())
    assert names == sorted([*found["files"], "summary.json"])
    assert found["files"] == digests_of(folder, found["files"])
    assert found["scan"]["sha256"] == digests_of(folder.parent, ["bump.ply"])["bump.ply"]
    assert found["run"]["sha256 of summary.json"] == digests_of(run, ["summary.json"])["summary.json"]
    assert found["scan"]["invented"]
    assert np.array(found["alignment"]["covariance"]).shape == (6, 6)


def test_the_page_needs_no_other_file_and_states_what_matters(bumped):
    page = (bumped[0] / "compare.html").read_text()
    links = re.findall(r'(?:src|href)="([^"]*)"', page)
    assert links
    assert all(link.startswith(("data:", "#")) for link in links)
    for text in (
        "The scan is invented",
        "Datum system in the sense of ISO 5459",
        "root mean square deviation",
        "isolated patches",
        "High voltage kills",
        "Cuff &lt;b&gt;1&lt;/b&gt; &amp; co",
    ):
        assert text in page, text
    assert page.count("data:image/png") >= 3


@pytest.mark.long
@pytest.mark.slow
def test_several_scans_have_a_page_with_mean_and_spread(run, tmp_path):
    surface = simulated_part(run, SETTINGS).surface
    scans = []
    for number, excess in enumerate((0.05, 0.15)):
        points, *_ = deviating_scan(surface, lambda z, θ, e=excess: e + 0.0 * z, seed=number, count=3000)
        scans.append(write_points(tmp_path / f"part_{number}.ply", points))
    page, lines = write_comparisons(run, scans, SETTINGS, out=tmp_path / "out")
    assert sorted(p.name for p in page.parent.iterdir()) == ["compare.html", "part_0", "part_1"]
    assert len(lines) == 2
    row = re.search(r"<tr><th>mean deviation \[µm\]</th>(.*?)</tr>", page.read_text())[1]
    mean, spread = (1e-3 * float(text) for text in re.findall(r">([\d.]+)<", row)[-2:])
    # The standard deviation of 0.05 and 0.15 is 0.1 / √2.
    assert mean == pytest.approx(0.1, abs=2e-3)
    assert spread == pytest.approx(0.1 / np.sqrt(2.0), abs=2e-3)
    with pytest.raises(InputError, match="several scans have this name"):
        write_comparisons(run, [scans[0], scans[0]], SETTINGS, out=tmp_path / "twice")


@pytest.mark.long
def test_only_earlier_comparisons_are_replaced(run, bumped, tmp_path):
    scan = bumped[0].parent / "bump.ply"
    other = tmp_path / "other"
    other.mkdir()
    (other / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match=r"something other than a comparison \(notes.txt\)"):
        write_comparisons(run, [scan], SETTINGS, out=other)
    fake = tmp_path / "fake"
    fake.mkdir()
    (fake / "summary.json").write_text(json.dumps({"kind": "annelid run"}))
    with pytest.raises(InputError, match="something other than a comparison"):
        write_comparisons(run, [scan], SETTINGS, out=fake)
    before = (bumped[0] / "summary.json").stat().st_ino
    write_comparisons(run, [scan], SETTINGS, out=bumped[0])
    assert (bumped[0] / "summary.json").stat().st_ino != before
    assert sorted(p.name for p in bumped[0].parent.iterdir()) == ["bump.ply", "out"]


@pytest.mark.long
def test_an_error_leaves_nothing_behind(run, bumped, tmp_path):
    good, bad = bumped[0].parent / "bump.ply", tmp_path / "bad.ply"
    bad.write_bytes(good.read_bytes()[:500])
    with pytest.raises(InputError, match=r"bad\.ply"):
        write_comparisons(run, [good, bad], SETTINGS, out=tmp_path / "new" / "out")
    assert list(tmp_path.iterdir()) == [bad]


@pytest.mark.parametrize(
    ("unit", "message"),
    [("m", "the unit is likelier mm"), ("in", "the unit is likelier mm"), ("ell", "not a unit of length")],
)
def test_an_implausible_unit_is_refused(run, bumped, tmp_path, unit, message):
    scan = bumped[0].parent / "bump.ply"
    with pytest.raises(InputError, match=message):
        write_comparisons(run, [scan], ComparisonSettings(unit), out=tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("factor", [0.3, 4.0])
def test_a_scan_of_another_size_is_refused(run, tmp_path, factor):
    points, *_ = deviating_scan(simulated_part(run, SETTINGS).surface, bump, count=2000)
    scan = write_points(tmp_path / "other.ply", factor * points)
    with pytest.raises(InputError, match="no unit fits, so it may show another part"):
        write_comparisons(run, [scan], SETTINGS, out=tmp_path / "out")


def test_unfinished_runs_and_unknown_states_are_refused(run, tmp_path):
    body = meridian_tube(2, 6)
    with create(tmp_path / "begun", body) as unfinished:
        for state in states(body):
            unfinished.append(state)
    with pytest.raises(InputError, match="the run is not finished"):
        simulated_part(tmp_path / "begun", SETTINGS)
    with pytest.raises(InputError, match="its fields were not written"):
        simulated_part(run, ComparisonSettings("mm", state=99))
    assert simulated_part(run, ComparisonSettings("mm", state=-1)).state == 3


@pytest.mark.long
@pytest.mark.exact
def test_the_state_decides_what_a_scan_deviates_from(run, tmp_path):
    # A scan of the last state, compared with the first one, is wider by the growth of the outer radius.
    last, first = simulated_part(run, SETTINGS), simulated_part(run, ComparisonSettings("mm", state=0))
    points, *_ = deviating_scan(last.surface, lambda z, θ: 0.0 * z, count=3000)
    scan = write_points(tmp_path / "scan.ply", points)
    page, _ = write_comparisons(run, [scan], replace(SETTINGS, state=0), out=tmp_path / "out")
    growth = np.ptp([float(np.hypot(*part.surface.points.T[:2]).max()) for part in (first, last)])
    mean = summary_of(page.parent)["measures"]["mean deviation"]["value"]
    assert mean == pytest.approx(growth, abs=5e-3)
