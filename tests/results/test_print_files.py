# SPDX-License-Identifier: MIT
"""Files for a printer, opened by the stock readers, and the pictures."""

import csv

import numpy as np
import pytest

from annelid.geometry.lattice.catalogue import EXAMPLES
from annelid.geometry.lattice.chart import RevolutionChart
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.printing.settings import PrinterSettings
from annelid.geometry.printing.tool_path import tool_path
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.results.lattice.cells_figure import cells_figure
from annelid.results.lattice.pictures import lattice_picture, path_picture
from annelid.results.lattice.print_files import LINES_CSV, LINES_VTP, PROGRAM, SURFACE, write_print_files

RADIUS = 9.0
CHART = RevolutionChart(sphere(RADIUS))


@pytest.fixture(scope="module")
def path():
    return tool_path(wrap(EXAMPLES["sinusoidal"].pattern(), CHART, height=0.4, ring=0.8), PrinterSettings())


@pytest.fixture(scope="module")
def folder(path, tmp_path_factory):
    folder = tmp_path_factory.mktemp("print") / "new" / "folder"
    files = write_print_files(path, folder, "a lattice")
    assert [file.name for file in files] == [LINES_VTP, LINES_CSV, PROGRAM, SURFACE]
    return folder


def off_sphere(points):
    return np.linalg.norm(np.asarray(points) - [0.0, 0.0, RADIUS], axis=1) - RADIUS


def test_vtk_reads_centre_lines_with_normals(path, folder):
    import pyvista

    lines = pyvista.read(folder / LINES_VTP)
    assert lines.n_lines == len(path.lines)
    assert np.abs(off_sphere(lines.points)).max() < 1e-6
    outwards = (np.asarray(lines.points) - [0.0, 0.0, RADIUS]) / RADIUS
    assert np.asarray(lines.point_data["normal"]) == pytest.approx(outwards, abs=1e-6)
    widths = np.asarray(lines.cell_data["width [mm]"])
    assert widths == pytest.approx([line.width for line in path.lines])
    assert np.asarray(lines.cell_data["order"]).tolist() == path.order.tolist()
    # Chords of 0.05 rad: lengths short by 1e-4 at most; struts only, whose way is that of the lattice.
    sizes = lines.compute_cell_sizes()["Length"]
    struts = np.asarray(lines.cell_data["kind"]) == 0
    scaled = sum(
        (
            np.linalg.norm(np.diff(line.points, axis=0), axis=1)
            * CHART.scale((line.points[1:] + line.points[:-1]) / 2)
        ).sum()
        for line in path.lines
        if line.kind == "strut"
    )
    assert sizes[struts].sum() == pytest.approx(scaled, rel=1e-3)


def test_the_csv_table_has_the_same_content(path, folder):
    import pyvista

    with (folder / LINES_CSV).open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    lines = pyvista.read(folder / LINES_VTP)
    points = np.array([[float(row[key]) for key in ("x_mm", "y_mm", "z_mm")] for row in rows])
    normals = np.array([[float(row[key]) for key in ("nx", "ny", "nz")] for row in rows])
    assert points == pytest.approx(np.asarray(lines.points), abs=1e-5)
    assert normals == pytest.approx(np.asarray(lines.point_data["normal"]), abs=1e-5)
    assert [int(row["line"]) for row in rows] == sorted(int(row["line"]) for row in rows)
    assert {row["kind"] for row in rows} == {"strut", "ring"}
    assert {int(row["order"]) for row in rows} == set(path.order.tolist())


def test_the_surface_lies_between_its_heights(folder):
    import pyvista

    solid = pyvista.read(folder / SURFACE)
    off = off_sphere(solid.points)
    assert off.min() == pytest.approx(0.0, abs=1e-5)
    assert off.max() == pytest.approx(0.4, abs=1e-5)
    assert solid.clean(tolerance=1e-5, absolute=True).n_open_edges == 0


def test_the_program_is_written(folder):
    text = (folder / PROGRAM).read_text(encoding="ascii")
    assert text.startswith("%\n(a lattice)\n")
    assert text.count("\nM8\n") == text.count("\nM9\n") - 1


@pytest.mark.long
def test_pictures_are_not_empty(path, tmp_path):
    from PIL import Image

    drawn = ((lattice_picture, path.lattice, 330), (path_picture, path, 330), (cells_figure, EXAMPLES, 550))
    for draw, what, struts in drawn:
        pixels = np.asarray(Image.open(draw(what, tmp_path / "picture.png")).convert("RGB"), dtype=float)
        background = np.abs(pixels - pixels[0, 0]).max(axis=2) < 8
        assert 0.1 < background.mean() < 0.9
        dark = pixels.sum(axis=2) < struts  # their colour, lighter under dimensions
        assert dark.mean() > 0.01
