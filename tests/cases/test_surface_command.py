# SPDX-License-Identifier: MIT
"""From a scan to the measured surface of a case: the command, its files, and a run with them."""

import sys

import numpy as np
import pytest
import tomli_w
from plain_tube import BARE, ROOT

from annelid.cases.cli.main import main
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.compare.alignment.poses import Pose
from annelid.compare.invented.invented_files import write_invented_scan
from annelid.compare.invented.invented_scan import invent_scan
from annelid.compare.invented.scanned_surface import surface_of_run
from annelid.compare.invented.scanner import InventedScanner
from annelid.compare.measured.scanned import measured_scan
from annelid.compare.measured.settings import SurfaceSettings
from annelid.compare.scans.reading import read_scan
from annelid.geometry.lattice.measured_surface import read_radial_surface
from annelid.results.folder.digests import read_sealed
from annelid.results.folder.run_record import open_run

sys.path.insert(0, str(ROOT / "tests" / "compare"))
from radial_tubes import RadialTube

TUBE = RadialTube(lambda a, z: 5 + 0.3 * np.cos(2 * a) + 0.3 * np.sin(np.pi * z / 20), 0.0, 20.0)
FILES = ["summary.json", "surface.csv", "surface.png", "surface_uncertainty.csv"]


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    """An invented scan and what is true of it."""
    cloud, truth = TUBE.scan(spacing=0.5, noise=0.03, seed=2, outlier_share=0.03, dropout_share=0.04)
    path = tmp_path_factory.mktemp("scan") / "invented_oval.ply"
    write_invented_scan(cloud, truth, path)
    return path, truth


@pytest.fixture(scope="module")
def written(scan):
    path, _ = scan
    assert main(["surface-from-scan", str(path), "--unit", "mm"]) == 0
    return path.with_name("invented_oval_surface")


def table(path):
    return np.loadtxt(path, delimiter=",", skiprows=1)


def test_files_hold_the_surface_and_its_uncertainty(scan, written):
    assert sorted(path.name for path in written.iterdir()) == FILES
    found, rows = read_sealed(written / "summary.json"), table(written / "surface_uncertainty.csv")
    surface = read_radial_surface(written / "surface.csv")
    np.testing.assert_array_equal(rows[:, :3], table(written / "surface.csv"))
    assert surface.radii.shape == (found["grid"]["angles"], found["grid"]["heights"])
    assert found["invented"]
    assert found["unit"] == "mm"
    assert found["heights [mm]"] == pytest.approx([surface.heights[0], surface.heights[-1]], abs=1e-6)
    assert found["holes"]["share filled"] == pytest.approx(rows[:, 5].mean())
    assert 0.0 < found["holes"]["share filled"] < 0.2
    assert found["residual"]["root mean square [mm]"] == pytest.approx(0.03, rel=0.3)
    points = found["points"]
    kept = points["within the heights"] - points["outliers about the surface"]
    assert rows[:, 4].sum() == kept
    assert any("95 %" in line or "Its axis is" in line for line in found["remarks"])
    assert (written / "surface.png").read_bytes()[:4] == b"\x89PNG"


def test_the_surface_is_that_of_the_tube(scan, written):
    path, truth = scan
    measured = measured_scan(path, SurfaceSettings(), unit="mm")
    rows = table(written / "surface_uncertainty.csv")
    pose = _pose(measured, path)
    true = TUBE.true_radius(truth, pose, np.radians(rows[:, 0]), rows[:, 1])
    error = rows[:, 2] - true
    assert np.sqrt(np.mean(error**2)) < 0.01
    assert np.mean(np.abs(error) < 1.96 * rows[:, 3]) > 0.9


def _pose(measured, path):
    """The motion that the fit made: from the points of the scan to those in its frame (Kabsch, from
    memory)."""
    before = read_scan(path, unit="mm").points[measured.cleaned.removed == -1]
    a, b = before - before.mean(axis=0), measured.points - measured.points.mean(axis=0)
    u, _, vt = np.linalg.svd(a.T @ b)
    rotation = (u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt).T
    np.testing.assert_allclose(a @ rotation.T, b, atol=1e-9)
    return Pose(rotation, measured.points.mean(axis=0) - rotation @ before.mean(axis=0))


def lattice_case(heights, radii):
    measured = {
        "kind": "grid",
        "heights": [f"{z!r} mm" for z in heights.tolist()],
        "radii": [[f"{r!r} mm" for r in row] for row in radii.tolist()],
    }
    cell = {"kind": "helices", "spacing": "8 mm", "helix_angle": "0 deg", "width": "2 mm"}
    return BARE | {
        "mesh": {"model": "solid", "along": "5 mm", "through": 1, "on_struts": "4 mm"},
        "lattice": {"cell": cell, "height": "0.5 mm", "ring": "1 mm", "measured": measured},
        "parts": [*BARE["parts"], {"region": "lattice", "material": "rubber"}],
        "stages": [{"name": "fill", "pressure": "0.5 kPa", "steps": 1}],
        "path": {"seek_limit": 1},
    }


@pytest.mark.long
def test_a_run_on_the_scanned_surface_gives_the_numbers_of_the_true_one(scan, written, tmp_path):
    """The radius errs by about 0.005 mm of 5 mm, so its area and volume by 0.2 %."""
    path, truth = scan
    surface = read_radial_surface(written / "surface.csv")
    a = 2 * np.pi * np.arange(len(surface.radii)) / len(surface.radii)
    angle, height = np.meshgrid(a, surface.heights, indexing="ij")
    pose = _pose(measured_scan(path, SurfaceSettings(), unit="mm"), path)
    true = TUBE.true_radius(truth, pose, angle, height)
    results = []
    for name, radii in (("scanned", surface.radii), ("true", true)):
        case = case_from_tables(lattice_case(surface.heights, radii))
        assert run_case(case, tmp_path / name).outcome.kind == "reached"
        results.append(open_run(tmp_path / name).table)
    for quantity, tolerance in (
        ("lumen volume", 2e-3),
        ("mean radial expansion", 1e-2),
        ("strain energy", 1e-2),
        ("largest stretch", 5e-3),
    ):
        scanned, exact = (float(found[quantity][-1]) for found in results)
        assert exact > 0
        assert scanned == pytest.approx(exact, rel=tolerance), quantity


def test_an_earlier_surface_is_replaced_and_anything_else_is_kept(scan, tmp_path, capsys):
    path, _ = scan
    folder = tmp_path / "surface"
    command = ["surface-from-scan", str(path), "--unit", "mm", "--out", str(folder)]
    assert main([*command, "--from", "4 mm", "--to", "16 mm", "--angles", "36"]) == 0
    rows = table(folder / "surface.csv")
    assert (rows[:, 1].min(), rows[:, 1].max(), len(np.unique(rows[:, 0]))) == (4.0, 16.0, 36)
    (folder / "mine.txt").write_text("keep")
    assert main(command) == 2
    assert "something other than a measured surface (mine.txt)" in capsys.readouterr().err
    assert len(table(folder / "surface.csv")) == len(rows)


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (["--unit", "m"], "outside 0.5 to 5000 mm: give the unit of the file"),
        (["--unit", "ell"], "'ell' is not a unit of length"),
        (["--unit", "mm", "--from", "8 mm", "--to", "8 mm"], "8 mm must be below the upper height"),
        (["--unit", "mm", "--from", "90 mm"], "points lie from 90 to"),
        (["--unit", "mm", "--angles", "3"], "at least 16"),
        (["--unit", "mm", "--largest-hole", "0.01"], "are filled; scan the part from more sides"),
        (["--unit", "mm", "--run", "nowhere"], "nowhere"),
    ],
)
def test_bad_requests_end_with_one_sentence_and_write_nothing(more, message, scan, tmp_path, capsys):
    path, _ = scan
    out = tmp_path / "out"
    assert main(["surface-from-scan", str(path), *more, "--out", str(out)]) == 2
    printed = capsys.readouterr().err
    assert message in printed
    assert "Traceback" not in printed
    assert list(tmp_path.iterdir()) == []


JUNK = [b"", b"PK\x03\x04junk", b"1 2 3\n4 5 6\n", b"nan nan nan\n" * 50, b"0 0 0\n" * 900]


@pytest.mark.parametrize("content", JUNK)
def test_what_is_no_scan_is_refused(content, tmp_path, capsys):
    path = tmp_path / "scan.xyz"
    path.write_bytes(content)
    assert main(["surface-from-scan", str(path), "--unit", "mm"]) == 2
    assert "Traceback" not in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [path]


def test_heights_can_be_those_of_a_run(tmp_path):
    """The scanned outer face of the run is at the radius of its lumen plus the thickness of its wall."""
    case = tmp_path / "tube.toml"
    case.write_text(tomli_w.dumps(BARE | {"mesh": {"along": "1 mm", "through": 1}}))
    assert main(["run", str(case), str(tmp_path / "run"), "--no-report"]) == 0
    run, scan = open_run(tmp_path / "run"), tmp_path / "invented_5.ply"
    scanner = InventedScanner(0.6, 0.03, seed=5)
    write_invented_scan(*invent_scan(surface_of_run(run), scanner), scan)
    settings = SurfaceSettings(largest_hole=1.0)
    measured = measured_scan(scan, settings, unit="mm", run=tmp_path / "run")
    assert "aligned with the outer surface of state" in measured.remarks[0]
    heights, radii = measured.surface.heights, measured.surface.radius
    assert heights[[0, -1]] == pytest.approx([0.0, 20.0], abs=0.6)
    radius = run.table["largest diameter"][-1] / 2 + run.table["minimum wall thickness"][-1]
    assert radii.mean(axis=0).max() == pytest.approx(radius, rel=5e-3)
    assert heights[int(np.argmax(radii.mean(axis=0)))] > 4.0  # the lower end is clamped, the upper one slides


def test_a_height_needs_its_unit(scan, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["surface-from-scan", str(scan[0]), "--unit", "mm", "--from", "4"])
    assert ended.value.code == 2
    assert "'4' has no unit; write a length" in capsys.readouterr().err
