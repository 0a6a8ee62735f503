# SPDX-License-Identifier: MIT
"""A path of the solver through a pressure maximum in the Run folder and in the report."""

import numpy as np
import pytest

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.figures.load_curves import load_paths
from annelid.results.figures.path_figures import stage_spans
from annelid.results.folder.run_folder import RunFolder
from annelid.results.folder.run_record import open_run
from annelid.results.folder.run_records import CaseDescription
from annelid.results.report.stability import stability
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


def test_path_without_jumps_is_drawn_against_the_volume(run):
    assert not run.table.after_jump.any()
    (path,) = load_paths(run.table, stage_spans(run.table))
    assert (path.load, path.response) == ("pressure", "displaced volume")
    assert run.table.unstable.any()
    assert not run.table.unstable_under_control.any()
    assert stability(run)["rows"][0]["ratio"].endswith("passed")
