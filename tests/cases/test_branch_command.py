# SPDX-License-Identifier: MIT
"""The 3-D case of a branch: its path agrees with the critical load, and what cannot be written is refused.

The tube of ``test_harmonic_runs.py`` gets two lobes at 0.0688764 μ (source there). Near the critical load
P_c a part with the deviation δ0 along the mode moves by δ with P (δ + δ0)/δ = P_c (1 + b δ²): Koiter's
expansion of a symmetric branch, from memory.
"""

import copy
import re
from types import SimpleNamespace

import numpy as np
import pytest

from annelid.cases.cli import branching
from annelid.cases.cli.main import main
from annelid.cases.run import branch as branch_cases
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables, read_case
from annelid.cases.validate.toml_files import read_toml
from annelid.geometry.errors import InputError
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.folder.run_record import open_run
from annelid.solver.model.harmonic_words import NOT_JUDGED

INPUT = 2
TWO_LOBES = 6.88764e-3  # MPa, of a shear modulus of 0.1 MPa
SIZE = 0.01  # mm
TUBE = {
    "title": "Thick tube under suction",
    "shape": {
        "kind": "tube",
        "inner_radius": "4 mm",
        "length": "3 mm",
        "layers": [{"name": "wall", "thickness": "2 mm"}],
    },
    "mesh": {"along": "3 mm", "through": 2},
    "materials": {"silicone": {"law": "neo-hookean", "shear_modulus": "0.1 MPa"}},
    "parts": [{"region": "wall", "material": "silicone"}],
    "supports": [{"region": f"end_{end}", "hold": "axial"} for end in ("low", "high")],
    "stages": [{"name": "suck", "pressure": "-15 kPa", "steps": 5}, {"name": "rest", "pressure": "0 kPa"}],
    "requirements": [
        {"quantity": "stability margin pressure", "at_least": 1},
        {"quantity": "peak stress", "at_most": "1 MPa", "stage": "suck"},
        {"quantity": "largest stretch", "at_most": 2, "stage": "rest"},
    ],
    "path": {"seek_limit": 2},
}


def run_of(tables, folder):
    run_case(case_from_tables(copy.deepcopy(tables)), folder)
    return open_run(folder)


@pytest.fixture(scope="module")
def oval(tmp_path_factory):
    return run_of(TUBE, tmp_path_factory.mktemp("oval") / "run")


def branch(run, path, *options):
    return main(["branch", str(run.path), str(path), "--size", f"{SIZE} mm", *options])


def test_the_case_is_that_of_the_run_in_half_a_wave(oval, tmp_path, capsys):
    path = tmp_path / "oval.toml"
    assert branch(oval, path) == 0
    assert "goes oval (2 lobes), stage 'suck'" in capsys.readouterr().out
    case = read_case(path)
    assert (case.mesh.model, case.mesh.sector, case.mesh.around) == ("sector", 90.0, 32)
    assert (case.imperfection.waves, case.imperfection.size) == (2, SIZE)
    assert [stage.name for stage in case.stages] == ["suck"]  # what comes later begins elsewhere
    assert [r.quantity for r in case.requirements] == ["peak stress"]
    assert sorted(file.name for file in tmp_path.iterdir()) == ["oval.toml", "oval_mode.csv"]


@pytest.mark.exact
def test_the_path_along_the_branch_agrees_with_the_critical_load(oval, tmp_path):
    assert branch(oval, tmp_path / "oval.toml", "--arc", "0.5 mm") == 0
    tables = read_toml(tmp_path / "oval.toml")
    tables["stages"][0]["steps"] = 10
    run_case(case_from_tables(tables, folder=tmp_path), tmp_path / "run")
    run = open_run(tmp_path / "run")
    P = -run.table["pressure"]
    δ = np.array([lobe(run, int(state)) for state in run.table["state"]])
    δ0 = SIZE * abs(read_case(tmp_path / "oval.toml").imperfection.outwards[0])
    assert 0.2 < δ.max() < 1.0
    assert (np.diff(P) > 0).all()
    on_branch = δ > 5 * δ0
    y = P[on_branch] * (1 + δ0 / δ[on_branch])
    P_c, _ = np.linalg.lstsq(np.column_stack([np.ones_like(y), δ[on_branch] ** 2]), y, rcond=None)[0]
    assert P_c == pytest.approx(TWO_LOBES, rel=0.015)


def lobe(run, state):
    """Half the difference of the radii of the lumen in both planes of the sector, mm."""
    arrays = read_point_arrays(run.field_file(state))
    X, u = (arrays[f"{name} [mm]"] for name in ("reference position", "displacement"))
    r, low = np.hypot(X[:, 0], X[:, 1]), X[:, 2] < 1e-9
    first, last = (np.argmin(np.where(low, r + 1e3 * np.abs(X[:, i]), np.inf)) for i in (1, 0))
    return abs(u[first, 0] - u[last, 1]) / 2


@pytest.mark.parametrize(
    ("options", "text"),
    [
        (["--size", "0 um"], "above 0"),
        (["--size", "5"], "has no unit"),
        (["--size", "2.1 mm"], "imperfection.size: must be at most the thickness of the wall, 2 mm"),
        (["--state", "1"], "state 1 is not critical with waves around the axis; allowed: "),
        (["--arc", "-1 mm"], "above 0"),
    ],
)
def test_values_out_of_range_are_refused(oval, tmp_path, capsys, options, text):
    assert code_of(lambda: branch(oval, tmp_path / "new.toml", *options)) == INPUT
    assert text in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def code_of(command):
    """The exit code of a command, also where it ends while reading its arguments."""
    try:
        return command()
    except SystemExit as end:
        return end.code


def test_files_are_not_overwritten(oval, tmp_path, capsys):
    mode = tmp_path / "new_mode.csv"
    mode.write_text("mine")
    assert branch(oval, tmp_path / "new.toml") == INPUT
    assert "new_mode.csv: exists already" in capsys.readouterr().err
    assert branch(oval, tmp_path / "new.csv") == INPUT
    assert mode.read_text() == "mine"


def test_a_run_without_such_a_mode_is_refused(tmp_path, capsys):
    tables = TUBE | {"stages": [{"name": "suck", "pressure": "-1 kPa", "steps": 1}], "requirements": []}
    run = run_of(tables | {"path": {"seek_limit": 1}}, tmp_path / "run")
    assert branch(run, tmp_path / "new.toml") == INPUT
    assert "has no critical state with waves around the axis" in capsys.readouterr().err
    assert not (tmp_path / "new.toml").exists()


def test_a_run_whose_harmonics_are_refused_says_what_to_do():
    remark = f"{NOT_JUDGED}: loads turn the part about its axis: judge a 3-D model"
    outcome = SimpleNamespace(remarks=("something else", remark))
    body = SimpleNamespace(model="axisymmetric")
    run = SimpleNamespace(body=body, critical_points=(), outcome=outcome, path="runs/twisted")
    with pytest.raises(InputError, match=r"runs/twisted: .* was not judged: loads turn the part"):
        branching._critical_state(run, None)
    run.body.model = "sector"
    with pytest.raises(InputError, match=r"path\.beyond_instability = 'branch'"):
        branching._critical_state(run, None)


def test_half_a_part_cannot_follow_a_mode_that_is_opposite_on_its_mirror_image(tmp_path, capsys):
    """A column between sliding ends bends into half a wave, opposite on its mirror image."""
    tables = copy.deepcopy(TUBE) | {"requirements": [], "stages": [{"name": "press", "pressure": "0 kPa"}]}
    tables["shape"]["length"] = "15 mm"
    tables["supports"][0]["hold"] = "symmetric"
    tables["stages"][0] = {"name": "press", "move": {"end_high": "-2.5 mm"}, "steps": 3}
    run = run_of(tables | {"path": {"seek_limit": 1}}, tmp_path / "run")
    assert run.critical_points[0].kind == "bends sideways"
    assert branch(run, tmp_path / "new.toml") == INPUT
    assert "opposite of its mirror image" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"mesh": {"along": "3 mm"}}, "imperfection: needs a 3-D model"),
        ({"mesh": {"along": "3 mm", "model": "sector", "sector": "60 deg"}}, "mesh.sector = '90 deg'"),
        ({"imperfection": {"waves": 0}}, "waves: must be a whole number of at least 1, got 0"),
        ({"imperfection": {"around": [0.0, 1.0]}}, "around: "),
        ({"imperfection": {"outwards": [0.0] * 3, "around": [0.0] * 3}}, "is zero everywhere"),
        ({"imperfection": {"height": ["1 mm", "3 mm", "1 mm"]}}, "three places"),
        ({"imperfection": {"kind": "file", "path": "none.csv"}}, "imperfection.path: "),
    ],
)
def test_an_imperfection_that_does_not_fit_is_refused(tmp_path, changes, text):
    tables = copy.deepcopy(TUBE) | {"requirements": []}
    tables["mesh"] = changes.get("mesh", {"along": "3 mm", "model": "sector"})
    given = {
        "kind": "points",
        "waves": 2,
        "size": "20 um",
        "radius": ["4 mm", "6 mm", "4 mm"],
        "height": ["0 mm", "0 mm", "3 mm"],
        "outwards": [1.0, 0.5, 1.0],
        "around": [-0.5, -0.5, -0.5],
        "along": [0.0, 0.0, 0.0],
    } | changes.get("imperfection", {})
    if given["kind"] == "file":
        given = {key: given[key] for key in ("kind", "waves", "size", "path")}
    with pytest.raises(InputError, match=re.escape(text)):
        case_from_tables(tables | {"imperfection": given}, folder=tmp_path)


def test_a_part_that_bends_needs_a_surface_to_be_held_at():
    supports = (SimpleNamespace(region=region, hold="axial") for region in ("outer", "lumen"))
    with pytest.raises(InputError, match="leave one of them free"):
        branch_cases._supports(SimpleNamespace(supports=tuple(supports), foundations=()), 1)
