# SPDX-License-Identifier: MIT
"""Runs of parts that leave their axial symmetry: outcome, requirement, picture, file for ParaView.

A thick tube under suction with sliding ends, B/A = 1.5, gets two lobes at 0.0688764 μ: the incremental
equations of Haughton and Ogden, J. Mech. Phys. Solids 27, 179 and 489 (1979), from memory, solved by a
spectral method.
"""

import copy
import json

import numpy as np
import pytest
import pyvista

from annelid.cases.convert.body import body_of
from annelid.cases.convert.cost import cost_of
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.results.folder.run_record import open_run
from annelid.results.report.stability import stability
from annelid.results.show.show_files import write_show
from annelid.results.views.state_pictures import picture

TWO_LOBES = 6.88764  # kPa, of a shear modulus of 0.1 MPa
KIND = "goes oval (2 lobes)"
TUBE = {
    "title": "Thick tube under suction",
    "shape": {
        "kind": "tube",
        "inner_radius": "4 mm",
        "length": "6 mm",
        "layers": [{"name": "wall", "thickness": "2 mm"}],
    },
    "mesh": {"model": "axisymmetric", "along": "1 mm", "through": 3},
    "materials": {"silicone": {"law": "neo-hookean", "shear_modulus": "0.1 MPa"}},
    "parts": [{"region": "wall", "material": "silicone"}],
    "supports": [{"region": f"end_{end}", "hold": "axial"} for end in ("low", "high")],
    "stages": [{"name": "suck", "pressure": "-15 kPa", "steps": 5}],
    "requirements": [{"quantity": "stability margin pressure", "at_least": 1}],
    "path": {"seek_limit": 2},
}


@pytest.fixture(scope="module")
def oval(tmp_path_factory):
    folder = tmp_path_factory.mktemp("oval") / "run"
    return run_case(case_from_tables(copy.deepcopy(TUBE)), folder), open_run(folder)


@pytest.mark.exact
def test_the_run_ends_where_the_tube_goes_oval(oval):
    result, run = oval
    assert result.outcome.kind == "lost stability"
    assert result.outcome.text.startswith(f"lost stability: {KIND} at pressure ")
    (point,) = run.critical_points
    assert (point.kind, point.state) == (KIND, int(run.table["state"][-1]))
    assert point.loads["pressure"].value == pytest.approx(-TWO_LOBES / 1000, rel=2e-3)
    (verdict,) = result.verdicts
    assert (verdict.met, verdict.value) == (False, pytest.approx(TWO_LOBES / 15, rel=2e-3))
    assert KIND in verdict.where
    summary = json.loads((run.path / "summary.json").read_text())
    assert summary["critical_points"][0]["kind"] == KIND


def test_the_report_tells_and_draws_it(oval):
    _, run = oval
    section = stability(run)
    assert "needs a 3-D model" in section["paragraphs"][0]
    assert section["rows"][0]["kind"] == KIND
    png = picture(run, field="mode", state=run.critical_points[0].state)
    assert png.startswith(b"\x89PNG")


def test_the_mode_is_a_field_of_the_whole_part(oval):
    """Its axis is Y there; two lobes are those of cos 2θ outwards and sin 2θ around."""
    _, run = oval
    write_show(run.path)
    grid = pyvista.read(run.path / "show" / "last_state.pvd")[0]
    mode, (x, _, z) = grid.point_data["mode"][:-2], grid.points[:-2].T
    assert np.linalg.norm(mode, axis=1).max() == pytest.approx(1.0, rel=1e-5)
    θ = np.arctan2(-z, x)
    outwards = mode[:, 0] * np.cos(θ) - mode[:, 2] * np.sin(θ)
    around = -mode[:, 0] * np.sin(θ) - mode[:, 2] * np.cos(θ)
    middle = np.abs(np.hypot(x, z) - np.hypot(x, z).mean()) < 0.2
    chosen = middle & (np.abs(np.sin(4 * θ)) > 0.5)  # far from the zeros of both
    assert chosen.any()
    a, b = outwards[chosen] / np.cos(2 * θ[chosen]), around[chosen] / np.sin(2 * θ[chosen])
    assert np.ptp(a) < 0.1
    assert b.mean() / a.mean() == pytest.approx(-0.5, abs=0.1)
    first = pyvista.read(run.path / "show" / "state_0000.vtu")
    assert "mode" not in first.point_data


def test_without_judging_the_tube_stays_round(tmp_path):
    tables = copy.deepcopy(TUBE) | {"path": {"harmonics": "none"}, "requirements": []}
    result = run_case(case_from_tables(tables), tmp_path / "run")
    assert result.outcome.kind == "reached"
    assert result.outcome.remarks == ()


def test_the_foretold_time_contains_the_waves():
    seconds = []
    for which in ("none", "stage ends", "all"):
        case = case_from_tables(copy.deepcopy(TUBE) | {"path": {"harmonics": which}, "requirements": []})
        seconds.append(cost_of(case, body_of(case)).seconds)
    assert seconds == sorted(set(seconds))
