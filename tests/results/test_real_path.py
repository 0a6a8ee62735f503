# SPDX-License-Identifier: MIT
"""A path of the solver through a pressure maximum in the Run folder and in the report."""

import numpy as np
import pytest
from exact import tube

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.figures.load_curves import load_paths
from annelid.results.figures.stage_spans import stage_spans
from annelid.results.folder.run_folder import RunFolder
from annelid.results.folder.run_record import open_run
from annelid.results.folder.run_records import CaseDescription
from annelid.results.report.stability import stability
from annelid.results.show.show_files import write_show
from annelid.results.views.rendering import pyvista_off_screen
from annelid.solver.continuation.path import follow
from annelid.solver.model.boundary import Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

# Own derivation by the tests of the solver: neo-Hookean tube of inner radius 1 and wall 0.1, closed ends,
# shear modulus 1: greatest pressure at an inner hoop stretch of 1.628565.
STRETCH, PRESSURE = 1.628565, 0.071467
LOCATED = 1e-3
DISCRETE = 2e-3  # of stresses on a coarse mesh


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    body = build(Tube(1.0, 1.0, (Layer("wall", 0.1),)), MeshSize(along=0.5))
    rubber = Material("rubber", "neo-hookean", {"shear_modulus": 1.0})
    model = Model(body, (Part("wall", rubber),), (Support("end_low", "axial"), Support("end_high", "plate")))
    folder = tmp_path_factory.mktemp("real") / "run"
    given = {"case_toml": 'title = "Tube"\n', "case_hash": "a", "provenance": {}, "body": body}
    given["description"] = CaseDescription(title="Tube")
    with RunFolder.create(folder, keep_fields="stage ends", **given) as writer:
        stages = [Stage("fill", volume=4.0 * np.pi, control="volume", steps=8)]
        writer.finish(follow(model, stages, observe=writer.append))
    return open_run(folder)


@pytest.mark.exact
def test_the_run_folder_has_the_pressure_maximum(run):
    (point,) = run.critical_points
    assert point.kind == "limit point"
    assert point.loads["pressure"].value == pytest.approx(PRESSURE, rel=LOCATED)
    assert 1.0 + point.quantities["mean radial expansion"].value == pytest.approx(STRETCH, rel=LOCATED)
    assert run.table["pressure"].max() == run.table["pressure"][run.table.is_critical][0]


def test_the_fields_of_the_critical_state_include_its_mode(run):
    (point,) = run.critical_points
    arrays = read_point_arrays(run.field_files[point.state])
    assert np.abs(arrays["mode"]).max() == pytest.approx(1.0)
    assert len(arrays["mode"]) == len(FieldGrid(run.body).nodes)
    assert np.isfinite(arrays["least in-plane stress [MPa]"]).all()


@pytest.mark.exact
def test_shown_mises_stress_and_thickness_are_those_of_the_closed_solution(run):
    """σ = μ b - p 1 with the radii of the incompressible tube (exact/tube.py) at its stretches."""
    reader = pyvista_off_screen().PVDReader(write_show(run.path))
    grid = reader.read()[0]
    axial = 1.0 - run.table["axial shortening"][-1]
    inner = 1.0 + run.table["mean radial expansion"][-1]
    now = np.hypot(grid.points[:-2, 0], grid.points[:-2, 2])
    drawn = np.sqrt(1.0 + axial * (now**2 - inner**2))
    hoop = now / drawn
    σ = np.stack([hoop**2, 1.0 / (hoop * axial) ** 2, np.full_like(now, axial**2)])
    mises = np.sqrt(((σ - np.roll(σ, 1, axis=0)) ** 2).sum(axis=0) / 2)
    np.testing.assert_allclose(grid["von Mises stress [MPa]"][:-2], mises, rtol=DISCRETE)
    thickness = tube.radius(1.1, 1.0, inner, axial) - inner
    np.testing.assert_allclose(grid["wall thickness [µm]"][:-2], 1e3 * thickness, rtol=LOCATED)


def test_path_without_jumps_is_drawn_against_the_volume(run):
    assert not run.table.after_jump.any()
    (path,) = load_paths(run.table, stage_spans(run.table))
    assert (path.load, path.response) == ("pressure", "displaced volume")
    assert run.table.unstable.any()
    assert not run.table.unstable_under_control.any()
    assert stability(run)["rows"][0]["ratio"].endswith("passed")
