# SPDX-License-Identifier: MIT
"""The files for looking at, read by VTK, pyvista and meshio."""

import errno
import os
import shutil
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import meshio
import numpy as np
import pytest
from exact.tube import radius
from synthetic_parts import INNER, LENGTH, OUTER, SHEAR_MODULUS, meridian_tube, solid_tube, tetra_block
from synthetic_runs import DESCRIPTION, create, finished, states

from annelid.results.fields.state_fields import FieldGrid, in_space
from annelid.results.folder.folder_files import remove_run_files
from annelid.results.folder.run_record import open_run
from annelid.results.show import show_files
from annelid.results.show.obstacles import obstacle_surface
from annelid.results.show.show_files import chosen_states, write_show
from annelid.results.show.shown_fields import labelled, shown_fields
from annelid.results.show.state_numbers import times_of
from annelid.results.show.wall_lines import WallLines
from annelid.results.show.whole_part import whole_part
from annelid.results.views.rendering import pyvista_off_screen
from annelid.solver.display import DisplayUnits
from annelid.solver.model.contact import Contact
from annelid.solver.records import Measure

SINGLE = 3e-7  # relative rounding of numbers in single precision
STRETCH = 1.2  # of the lumen in the last state
VOLUME = np.pi * (OUTER**2 - INNER**2) * LENGTH  # kept by the deformation, as rubber keeps its volume


def of_polygons(corners):
    """Area of a regular polygon over that of its circle."""
    return corners / (2.0 * np.pi) * np.sin(2.0 * np.pi / corners)


@pytest.fixture(scope="module", params=["axisymmetric", "four images", "three images", "solid"])
def shown(request, tmp_path_factory):
    """A run whose show files were written, and the corners of the circles in them."""
    body, corners = {
        "axisymmetric": lambda: (meridian_tube(2, 6), 60),
        "four images": lambda: (solid_tube(2, 3, 3, turns=1 / 4), 24),
        "three images": lambda: (solid_tube(2, 4, 3, turns=1 / 3), 24),
        "solid": lambda: (solid_tube(2, 6, 3), 12),
    }[request.param]()
    path = finished(tmp_path_factory.mktemp("show") / "run", body)
    assert write_show(path) == path / "show/last_state.pvd"
    return path, corners


def opened(file, time=None):
    """The grid that a viewer shows on opening a file, and its times."""
    reader = pyvista_off_screen().PVDReader(file)
    if time is not None:
        reader.set_active_time_value(time)
    return reader.read()[0], reader.time_values


def test_the_first_file_shows_the_whole_deformed_part_of_the_last_state(shown):
    path, corners = shown
    grid, times = opened(path / "show/last_state.pvd")
    outer = np.sqrt((STRETCH * INNER) ** 2 + OUTER**2 - INNER**2)
    # Polygons of 12, 24 and 60 corners reach the radius of their circle along both axes.
    np.testing.assert_allclose(grid.bounds, [-outer, outer, 0.0, LENGTH, -outer, outer], atol=1e-5)
    sizes = grid.compute_cell_sizes()["Volume"]
    assert sizes.min() > 0
    # Middle nodes of the 3-D tubes lie on the circles, so all corners of the pieces do.
    assert sizes.sum() == pytest.approx(VOLUME * of_polygons(corners), rel=1e-5)
    joined = grid.clean(tolerance=1e-6)  # points are doubled where parts and electrodes meet
    surface = joined.extract_surface(algorithm="dataset_surface")
    assert surface.n_open_edges == 0
    assert surface.volume == pytest.approx(sizes.sum(), rel=1e-5)
    assert times == [2.0]  # the end of the second stage


def test_images_have_the_values_of_the_model(shown):
    grid, _ = opened(shown[0] / "show/last_state.pvd")
    used = slice(0, -2)
    now = np.hypot(grid.points[used, 0], grid.points[used, 2])
    drawn = np.sqrt(now**2 - (STRETCH**2 - 1.0) * INNER**2)
    unit = 1000.0 if "displacement [µm]" in grid.point_data else 1.0
    name = "µm" if unit == 1000.0 else "mm"
    for field in ("displacement", "radial displacement"):
        np.testing.assert_allclose(
            grid[f"{field} [{name}]"][used], unit * (now - drawn), rtol=1e-5, atol=1e-5
        )
    np.testing.assert_allclose(grid["largest principal stretch"][used], now / drawn, rtol=1e-5)
    part = grid["part"]
    radius = np.hypot(*grid.cell_centers().points[:, [0, 2]].T)
    assert grid.field_data["part 0 is liner"][0] == 0
    assert radius[part == 0].max() < radius[part == 1].min()


def values(grid, name):
    """A stress or thickness at the points of the part, in MPa or mm."""
    (label,) = (label for label in grid.point_data if label.startswith(f"{name} ["))
    factor = {"MPa": 1.0, "kPa": 1e-3, "mm": 1.0, "µm": 1e-3}[label.partition("[")[2].rstrip("]")]
    return factor * grid[label][:-2]


def test_mises_stress_and_wall_thickness_are_those_of_an_inflated_tube(shown):
    """Own derivation: σ = μ b - p 1, so the mean stress leaves √(½ Σ (σi - σj)²) unchanged."""
    grid, _ = opened(shown[0] / "show/last_state.pvd")
    now = np.hypot(grid.points[:-2, 0], grid.points[:-2, 2])
    drawn = np.sqrt(now**2 - (STRETCH**2 - 1.0) * INNER**2)
    σ = SHEAR_MODULUS * np.stack([(now / drawn) ** 2, (drawn / now) ** 2, np.ones_like(now)])
    mises = np.sqrt(((σ - np.roll(σ, 1, axis=0)) ** 2).sum(axis=0) / 2)
    np.testing.assert_allclose(values(grid, "von Mises stress"), mises, rtol=1e-5)
    faces = radius([INNER, (INNER + OUTER) / 2, OUTER], INNER, STRETCH, 1.0)
    thickness = np.diff(faces)  # of the liner and of the skin
    assert thickness[0] < 0.9 * (OUTER - INNER) / 2
    shown_thickness = values(grid, "wall thickness")
    for part, expected in enumerate(thickness):
        points = np.unique(grid.extract_cells(np.flatnonzero(grid["part"] == part))["vtkOriginalPointIds"])
        np.testing.assert_allclose(shown_thickness[points], expected, rtol=1e-5)


def test_parts_without_two_faces_have_no_wall_thickness():
    drawn = {"reference position [mm]": np.zeros((3, 3)), "displacement [mm]": np.ones((3, 3))}
    assert WallLines(FieldGrid(tetra_block())).thickness(np.zeros((3, 3))) is None
    assert "von Mises stress" not in shown_fields(drawn)


def test_all_states_have_one_range_of_colours(shown):
    series = shown[0] / "show/all_states.pvd"
    first, times = opened(series, 1.0)
    assert times == [1.0, 1.25, 1.5, 2.0]  # the settled state and three of the inflation
    active = first.active_scalars_name
    assert active.startswith("displacement [")
    assert np.ptp(first[active][:-2]) == 0.0  # nothing has moved yet
    grids = [opened(series, time)[0] for time in times]
    largest = max(grid[active][:-2].max() for grid in grids)
    assert largest > 0.5
    for grid in grids:
        assert grid.get_data_range(active) == pytest.approx((0.0, largest), rel=SINGLE)
        assert not np.isin([grid.n_points - 2, grid.n_points - 1], grid.cell_connectivity).any()


def test_loads_and_requirements_are_numbers_with_names_and_units(shown):
    grid, _ = opened(shown[0] / "show/last_state.pvd")
    last = list(states(open_run(shown[0]).body))[-1]
    numbers = {name: float(values[0]) for name, values in grid.field_data.items()}
    assert numbers["state"] == 3
    assert numbers["parameter of stage inflate"] == 1.0
    assert numbers["voltage ring [kV]"] == 3.0
    assert numbers["pressure [mmHg]"] == pytest.approx(last.loads["pressure"].value * 7500.61683)
    expansion = numbers["requirement met: mean radial expansion at least 12 %, last state [%]"]
    assert expansion == pytest.approx(20.0)
    assert numbers["requirement not met: peak stress at most 0.1 MPa, last state [MPa]"] == 0.2
    assert numbers["time, number of the stage + its parameter"] == 2.0


def test_meshio_reads_what_pyvista_reads(shown):
    file = shown[0] / "show/state_0003.vtu"
    grid, mesh = pyvista_off_screen().read(file), meshio.read(file)
    np.testing.assert_array_equal(mesh.points, grid.points)
    assert set(mesh.point_data) == set(grid.point_data)
    np.testing.assert_array_equal(mesh.point_data["true field [V/µm]"], grid["true field [V/µm]"])
    np.testing.assert_array_equal(mesh.cell_data["electrode"][0], grid["electrode"])
    assert [cells.type for cells in mesh.cells] == ["hexahedron"]


def test_electrodes_have_their_voltage(shown):
    grid, _ = opened(shown[0] / "show/last_state.pvd")
    energised = grid.extract_cells(np.flatnonzero(grid["electrode"] == 0))
    bare = grid.extract_cells(np.flatnonzero(grid["electrode"] < 0))
    assert grid.field_data["electrode 0 is ring"][0] == 0
    np.testing.assert_array_equal(energised["electrode voltage [kV]"], 3.0)
    assert np.isnan(bare["electrode voltage [kV]"]).all()
    assert energised["true field [V/µm]"].min() > 0
    assert bare["true field [V/µm]"].max() == 0


@pytest.mark.parametrize("body", [tetra_block(), solid_tube(2, 3, 3, turns=1 / 4)], ids=lambda b: b.model)
def test_large_parts_are_shown_by_the_corners_of_their_cells(monkeypatch, body):
    from annelid.results.show import whole_part as module

    grid = FieldGrid(body)
    fine = whole_part(grid)
    monkeypatch.setattr(module, "_FINEST", 10)
    coarse = whole_part(grid)
    assert fine.is_fine
    assert not coarse.is_fine
    assert len(fine.cells) == 8 * len(coarse.cells) == 8 * fine.images * len(body.cells)
    for part in (fine, coarse):
        points = part.placement.place(in_space(body.points)[grid.nodes])
        cells = pyvista_off_screen().UnstructuredGrid({part.vtk_cell_type: part.cells}, points)
        sizes = cells.compute_cell_sizes()["Volume"]
        assert sizes.min() > 0
        whole = 1.0 if body.model == "solid" else VOLUME * of_polygons(24 if part.is_fine else 12)
        assert sizes.sum() == pytest.approx(whole, rel=1e-6)


def test_images_share_the_points_of_their_mirror_planes():
    body = solid_tube(2, 3, 3, turns=1 / 4)
    grid = FieldGrid(replace(body, regions={"wall": np.arange(len(body.cells))}, bands={}))
    points = whole_part(grid).placement.place(in_space(body.points)[grid.nodes])
    assert len(points) == len(np.unique(points.round(9), axis=0)) == len(solid_tube(2, 12, 3).points)


@pytest.mark.parametrize(
    "body", [meridian_tube(1, 2), solid_tube(1, 3, 2, turns=1 / 4)], ids=lambda b: b.model
)
def test_a_half_model_is_mirrored_about_its_plane_of_symmetry(body):
    low = np.isclose(body.points[body.facets][..., -1], 0.0).all(axis=1)
    assert not low.any()  # the synthetic tubes have no named ends
    nodes = np.flatnonzero(np.isclose(body.points[:, -1], 0.0))
    body = replace(body, facets=nodes[:, None], surfaces={"end_low": np.arange(len(nodes))}, bands={})
    grid = FieldGrid(body)
    half, whole = whole_part(grid), whole_part(grid, symmetry_plane="end_low")
    drawn = in_space(body.points)[grid.nodes] * [1.0, 1.0, 1.5] + [0.0, 0.0, 1.0]  # stretched, and moved by 1
    points = whole.placement.place(drawn)
    assert [points[:, 2].min(), points[:, 2].max()] == [1.0 - 1.5 * LENGTH, 1.0 + 1.5 * LENGTH]
    on_plane = int(np.isclose(half.placement.place(drawn)[:, 2], 1.0).sum())
    assert len(points) == 2 * len(half.placement.source) - on_plane
    cells = pyvista_off_screen().UnstructuredGrid({whole.vtk_cell_type: whole.cells}, points)
    sizes = cells.compute_cell_sizes()["Volume"]
    assert sizes.min() > 0
    assert sizes.sum() == pytest.approx(3.0 * VOLUME * of_polygons(60 if body.hoop is None else 24), rel=1e-6)
    assert len(whole.origin) == len(whole.cells)


def test_values_are_in_the_unit_that_is_shown_and_rounding_is_zero():
    stress = {"largest principal stress": np.array([-1e-17, 0.02])}
    shown = labelled(stress, {"largest principal stress": (-1e-17, 0.05)}, DisplayUnits())
    np.testing.assert_allclose(shown["largest principal stress [kPa]"], [0.0, 20.0, 0.0, 50.0], rtol=SINGLE)
    absent = labelled(stress, {"tearing margin": (2.0, 3.0)}, DisplayUnits())
    np.testing.assert_array_equal(absent["tearing margin"], [np.nan, np.nan, 2.0, 3.0])


def test_a_sector_that_does_not_fill_the_circumference_stays_one():
    part = whole_part(FieldGrid(solid_tube(2, 3, 3, turns=0.3)))
    assert part.images == 1


@pytest.mark.parametrize(
    ("kind", "options", "part_is", "expected"),
    [
        ("cylinder", {}, "outside", [-3, 3, -3, 3, -1.8, 13.8]),
        ("cylinder", {}, "inside", [-3, 3, 0, 3, -1.8, 13.8]),
        ("cone", {"height": 13.8, "angle": 45.0}, "outside", [-3, 3, -3, 3, -1.8, 13.8]),
        ("sphere", {"height": 20.0}, "outside", [-3, 3, -3, 3, 17, 23]),
        ("plane", {}, "outside", [-7.8, 7.8, -7.8, 7.8, 3, 3]),
        ("side", {}, "outside", [3, 3, -7.8, 7.8, -1.8, 13.8]),
    ],
)
def test_obstacles_have_their_position_and_about_the_size_of_the_part(kind, options, part_is, expected):
    contact = Contact("bar", "lumen", kind=kind, position=1.0, part_is=part_is, **options)
    part = np.array([[6.0, 0.0, 0.0], [0.0, 5.0, 12.0]])
    points, triangles = obstacle_surface(contact, 3.0, part)
    used = points[triangles]
    bounds = np.stack([used.min(axis=(0, 1)), used.max(axis=(0, 1))], axis=1).ravel()
    np.testing.assert_allclose(bounds, expected, atol=1e-9)


def test_obstacles_stand_beside_the_part_without_values(tmp_path):
    bar = Contact("bar", "lumen", position=1.0)
    lumen = Contact("closing", "lumen", position=0.0)
    description = replace(DESCRIPTION, obstacles=(lumen, bar))
    body = meridian_tube(2, 2)
    with create(tmp_path / "run", body, description=description) as run:
        for state in states(body):
            moved = {"obstacle closing": Measure(0.0, "mm"), "obstacle bar": Measure(2.0, "mm")}
            run.append(replace(state, loads={**state.loads, **moved}))
    grid, _ = opened(write_show(tmp_path / "run"))
    bar_cells = grid.extract_cells(
        np.flatnonzero(grid["part"] == grid.field_data["part 3 is obstacle bar"][0])
    )
    assert np.hypot(bar_cells.points[:, 0], bar_cells.points[:, 2]).max() == pytest.approx(2.0, rel=SINGLE)
    assert np.isnan(bar_cells["largest principal stretch"]).all()
    assert not (grid["part"] == grid.field_data["part 2 is obstacle closing"][0]).any()


@pytest.mark.parametrize(
    ("count", "important", "most", "expected"),
    [
        (4, set(), 5, [0, 1, 2, 3]),
        (301, set(), 4, [0, 100, 200, 300]),
        (301, {7, 200}, 4, [0, 7, 200, 300]),
        (301, set(range(0, 301, 2)), 3, [0, 150, 300]),
        (301, set(range(10)), 2, [0, 300]),
    ],
)
def test_of_many_states_ends_of_stages_and_some_others_are_shown(count, important, most, expected):
    assert chosen_states(list(range(count)), important, most) == expected


def test_files_tell_how_many_states_are_shown_and_replace_only_their_own(tmp_path, monkeypatch):
    path = finished(tmp_path / "run", meridian_tube(1, 1))
    write_show(path)
    (path / "show/my_view.pvsm").touch()
    monkeypatch.setattr(show_files, "_MOST_STATES", 2)
    grid, _ = opened(write_show(path))
    assert sorted(file.name for file in (path / "show").glob("*.vtu")) == ["state_0000.vtu", "state_0003.vtu"]
    assert (path / "show/my_view.pvsm").exists()
    assert grid.field_data["states of the run"][0] == 4


def test_times_of_a_path_that_turns_back_are_numbers_of_states(tmp_path):
    body = meridian_tube(1, 1)
    with create(tmp_path / "run", body) as run:
        for state, parameter in zip(states(body), (1.0, 0.5, 0.8, 0.8), strict=True):
            run.append(replace(state, parameter=parameter))
    meaning, times = times_of(open_run(tmp_path / "run").table)
    assert "number of the state" in meaning
    assert times.tolist() == [0, 1, 2, 3]
    _, times = opened(write_show(tmp_path / "run").with_name("all_states.pvd"))
    assert times == [0, 1, 2, 3]


def test_an_unfinished_run_can_be_shown_and_started_again(tmp_path):
    body = meridian_tube(1, 1)
    with create(tmp_path / "run", body) as run:
        for state in list(states(body))[:2]:
            run.append(state)
    grid, times = opened(write_show(tmp_path / "run"))
    assert times == [1.25]
    assert not [name for name in grid.field_data if name.startswith("requirement")]
    remove_run_files(tmp_path / "run")
    assert not (tmp_path / "run/show").exists()


@pytest.mark.parametrize("keep", ["none", "all"])
def test_without_fields_or_states_nothing_is_written(tmp_path, keep):
    body = meridian_tube(1, 1)
    with create(tmp_path / "run", body, keep_fields=keep) as run:
        for state in states(body) if keep == "none" else ():
            run.append(state)
    assert write_show(tmp_path / "run") is None
    assert not (tmp_path / "run/show").exists()


def test_a_full_disk_leaves_no_collection_of_missing_files(tmp_path, monkeypatch):
    path = shutil.copytree(finished(tmp_path / "first", meridian_tube(1, 1)), tmp_path / "run")
    write_show(path)
    real, written = show_files.write_atomically, []

    def full(file, content):
        if len(written) == 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(file))
        written.append(file)
        return real(file, content)

    monkeypatch.setattr(show_files, "write_atomically", full)
    with pytest.raises(OSError, match="No space left"):
        write_show(path)
    assert not list((path / "show").glob("*.pvd"))
    open_run(path)  # the run itself is as it was
    monkeypatch.undo()
    assert opened(write_show(path))[1] == [2.0]


KILLED = """
import os, signal, sys
sys.path[:0] = sys.argv[2:]
from annelid.results.show.show_files import write_show

replace, written = os.replace, []
def kill_at_the_third_file(*paths):
    written.append(paths)
    if len(written) == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    replace(*paths)

os.replace = kill_at_the_third_file
write_show(sys.argv[1])
"""


def test_after_a_kill_the_files_are_written_again_completely(tmp_path):
    path = finished(tmp_path / "run", meridian_tube(1, 1))
    write_show(path)
    before = {file.name: file.read_bytes() for file in (path / "show").iterdir()}
    root = Path(__file__).parents[2]
    killed = subprocess.run([sys.executable, "-c", KILLED, str(path), str(root)], check=False)
    assert killed.returncode == -signal.SIGKILL
    left = {file.name for file in (path / "show").iterdir()}
    assert not any(name.endswith(".pvd") for name in left)
    assert sum(name.endswith(".part") for name in left) == 1
    assert opened(write_show(path))[1] == [2.0]
    assert {file.name: file.read_bytes() for file in (path / "show").iterdir()} == before
