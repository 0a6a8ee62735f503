# SPDX-License-Identifier: MIT
"""Meshes that are chosen for an accuracy: what they save, what is written, and what is refused."""

import json
import math
import os
import subprocess
import sys
import tomllib
from functools import cache

import numpy as np
import pytest
from plain_tube import ROOT

from annelid.cases.adapt import adapting
from annelid.cases.adapt.goals import HEADLINES, goals_of
from annelid.cases.cli.main import main
from annelid.cases.convert.body import body_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import stages_of
from annelid.cases.run.run import run_case
from annelid.cases.studies import estimate
from annelid.cases.studies.opening import open_study
from annelid.cases.validate.reading import case_from_tables, library_cases, read_case
from annelid.cases.validate.reported import known_quantities
from annelid.cases.validate.resolved import case_hash, to_toml
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run
from annelid.results.verification.adaptation import MeshPass, adaptation_of
from annelid.solver.continuation.path import Path

# Of the library case long_ring_tube with even elements of 0.1 mm, three through the wall (74,014 unknowns).
REFERENCE = {
    "radial expansion middle": 0.12286936682,
    "breakdown margin": 2.2289051458,
    "charge ring": 0.32169915487,
}
LARGEST_EVEN = "1.5 mm"  # even elements of 1.49 mm are the largest that reach 0.5 %, with 2,071 unknowns


def tables(**mesh):
    found = tomllib.loads(library_cases()["long_ring_tube"].read_text())
    return found | {"mesh": mesh} if mesh else found


def short(**more):
    """A short tube whose mesh is found at once, without searches for limits."""
    found = tables(accuracy="5 %")
    found["shape"]["length"] = "12 mm"
    found["electrodes"][0] |= {"from": "4 mm", "to": "8 mm"}
    found["sections"][0]["at"] = "6 mm"
    found["path"] = {"seek_limit": 1, "harmonics": "none"}
    return found | more


@cache
def chosen():
    lines = []
    return *adapting.adapted(case_from_tables(tables()), say=lines.append), lines


def errors_of(case):
    """Unknowns of the path of a case, and the relative errors of its last state."""
    states = []
    path = Path(model_of(case, body_of(case)), stages_of(case))
    path.watch.acts = False
    path.follow(observe=states.append)
    values = states[-1].quantities
    return path.system.x.getSize(), {n: abs(values[n].value / exact - 1) for n, exact in REFERENCE.items()}


def test_a_third_of_the_unknowns_of_an_even_mesh_reaches_half_a_percent():
    unknowns, errors = errors_of(chosen()[0])
    even, too_large = errors_of(case_from_tables(tables(along=LARGEST_EVEN, through=1)))
    assert max(errors.values()) < 0.005
    assert max(too_large.values()) > 0.005
    assert 3 * unknowns < even


def test_the_bars_contain_the_true_errors():
    _, adaptation, _ = chosen()
    assert adaptation.reached
    assert {q.quantity for q in adaptation.quantities} == set(REFERENCE)
    for q in adaptation.quantities:
        true, allowed = REFERENCE[q.quantity] - q.value, 0.005 * abs(q.value)
        assert abs(true) < max(q.bar, 0.1 * allowed)  # far below what is allowed bars may be too narrow
        assert q.bar < allowed
        if abs(true) > 0.1 * allowed:
            assert 0.5 < q.error / true < 2


def test_elements_are_small_where_bending_is():
    edges = np.array(chosen()[0].mesh.edges_along)
    sizes, middles = np.diff(edges), (edges[:-1] + edges[1:]) / 2
    near = np.min([np.abs(middles - edge) for edge in (0.0, 98.5, 101.5, 200.0)], axis=0) < 1.0
    assert sizes[near].max() < 2.5
    assert sizes[np.abs(middles - 50) < 15].max() > 10


def test_a_resolved_case_reproduces_the_mesh_exactly():
    case, _, _ = chosen()
    again = case_from_tables(tomllib.loads(to_toml(case)))
    assert again.mesh == case.mesh
    assert (body_of(again).points == body_of(case).points).all()


def test_each_mesh_is_stated_with_its_error():
    _, adaptation, lines = chosen()
    assert len(lines) == len(adaptation.passes) >= 2
    assert all("unknowns: " in line and "(allowed 0.5 %)" in line for line in lines)
    assert adaptation.text.startswith("the mesh of")


def test_a_run_writes_how_its_mesh_was_chosen(tmp_path):
    case = case_from_tables(short())
    run_case(case, tmp_path / "run")
    summary = json.loads((tmp_path / "run/summary.json").read_text())
    assert summary["case_hash"] == case_hash(case)
    adaptation = adaptation_of(summary)
    assert adaptation.reached
    assert adaptation.text in summary["outcome"]["remarks"]
    assert adaptation.text in (tmp_path / "run/log.txt").read_text()
    solution = summary["evidence"][1]
    assert solution["status"] == "mesh errors estimated, as accurate as asked"
    resolved = read_case(tmp_path / "run/case.toml")
    assert resolved.mesh.accuracy is None
    assert resolved.mesh.edges_along == adaptation.edges_along
    assert len(body_of(resolved).cells) == summary["facts"]["mesh"]["cells"]
    with pytest.raises(InputError, match="finished run"):  # the same case is the same run
        run_case(case, tmp_path / "run")


@pytest.mark.long
@pytest.mark.mpi
def test_on_two_ranks_the_first_one_chooses_the_same_mesh(tmp_path):
    (tmp_path / "tube.toml").write_text(to_toml(case_from_tables(short())))
    for ranks in ("1", "2"):
        command = [sys.executable, "-m", "annelid", "run", "tube.toml", f"run{ranks}", "--no-report"]
        environment = os.environ | {"PYTHONPATH": str(ROOT)}
        subprocess.run([*command, "--ranks", ranks], cwd=tmp_path, env=environment, check=True)
    one, two = (open_run(tmp_path / f"run{ranks}") for ranks in (1, 2))
    assert two.provenance["ranks"] == 2
    assert (tmp_path / "run2/case.toml").read_text() == (tmp_path / "run1/case.toml").read_text()
    for name in REFERENCE:
        assert two.table[name] == pytest.approx(one.table[name], rel=1e-6)


def test_what_an_accuracy_would_cost_is_stated_if_it_is_not_reached(monkeypatch):
    monkeypatch.setattr(adapting, "MOST_UNKNOWNS", 200)
    _, adaptation = adapting.adapted(case_from_tables(short(mesh={"accuracy": "0.01 %"})))
    assert not adaptation.reached
    assert adaptation.passes[-1].unknowns <= 200
    assert "the accuracy of 0.01 % was not reached" in adaptation.text
    assert "it would take about" in adaptation.text
    assert "more than the 200 that are tried" in adaptation.text


def test_a_stage_that_is_not_reached_is_judged_where_the_path_ends():
    found = short()
    found["stages"][1] |= {"voltage": "2 kV"}  # beyond pull-in
    found["requirements"] = found["requirements"][:1]
    _, adaptation = adapting.adapted(case_from_tables(found))
    assert any(note.startswith("stage 'energise' is not reached") for note in adaptation.notes)
    assert "load at the limit point" in {q.quantity for q in adaptation.quantities}
    assert len(adaptation.passes) > 1  # another mesh shows the same end


def test_without_sizes_the_mesh_is_chosen_for_one_percent():
    found = short()
    del found["mesh"], found["requirements"]
    case = case_from_tables(found)
    assert case.mesh.accuracy == 0.01
    goals, notes = goals_of(case, known_quantities(case))
    named = [goal.quantity for goal in goals]
    assert named == [*HEADLINES, "radial expansion middle"]
    assert notes == ["the mesh is not chosen for the loads at which the part loses stability"]


def test_values_at_a_point_and_counts_are_not_judged():
    requirements = [
        {"quantity": "least breakdown margin", "at_least": 1.2},
        {"quantity": "largest stretch", "at_most": 2},
        {"quantity": "unstable modes", "at_most": 0},
    ]
    case = case_from_tables(short(requirements=requirements))
    goals, notes = goals_of(case, known_quantities(case))
    assert [goal.quantity for goal in goals] == ["breakdown margin"]
    assert "the mesh is chosen for breakdown margin" in notes[0]
    assert "largest stretch is a value at a point" in notes[1]


def test_a_flow_is_refused():
    found = tomllib.loads(library_cases()["oesophagus_wave"].read_text())
    with pytest.raises(InputError, match=r"mesh\.accuracy: cannot be judged where a fluid"):
        case_from_tables(found | {"mesh": {"accuracy": "1 %"}})
    with pytest.raises(InputError, match=r"mesh\.along: missing"):
        case_from_tables(found | {"mesh": {}})


def test_check_states_that_the_mesh_is_chosen_and_coarse_meshes_are_refused(capsys):
    assert main(["check", "long_ring_tube"]) == 0
    assert "the run chooses the mesh for an accuracy of 0.5 %" in capsys.readouterr().out
    assert main(["check", "long_ring_tube", "--coarse", "2"]) == 2
    assert "--coarse: the mesh is chosen for mesh.accuracy" in capsys.readouterr().err


def test_a_case_without_sizes_and_shape_misses_its_shape():
    with pytest.raises(InputError, match="shape: missing"):
        case_from_tables({"title": "Nothing yet"})


def test_a_study_states_that_its_runs_choose_their_meshes_and_times_the_strictest(tmp_path, monkeypatch):
    (tmp_path / "tube.toml").write_text(to_toml(case_from_tables(short())))
    vary = '[[vary]]\nname = "share"\nkey = "mesh.accuracy"\nvalues = ["5 %", "1 %", "2 %"]\n'
    (tmp_path / "study.toml").write_text(f'title = "Accuracies"\ncase = "tube.toml"\n\n{vary}')
    timed = []
    monkeypatch.setattr(estimate, "time_run", timed.append)
    plan, store = open_study(str(tmp_path / "study.toml"), tmp_path / "out")
    lines = estimate.estimate_cost(plan, store).lines([0, 1, 2], 1)
    assert lines[0] == "unknowns: 96 to 96 (of the first mesh of each run, which chooses its own)"
    assert [run.values["share"] for run in timed] == ["1 %"]


@pytest.mark.parametrize(
    ("shares", "idle", "push"),
    [
        ((3.0, 1.1, 1.2, 1.6, 7.3), False, 4.0),
        ((3.0, 1.1, 1.2, 1.6, 7.3, 2.8), True, 1.0),
        ((1.1, 1.6, 2.4, 1.4, 0.3), False, 1.0),
        ((3.0, 0.2, 0.3, 0.3, 0.3, 0.3), False, 4.0),  # below the accuracy, but the end of the path moved
        ((math.nan, math.nan, 3.0, 2.5), False, 4.0),
    ],
)
def test_a_mesh_that_did_not_help_is_refined_more_and_four_of_them_end_the_choice(shares, idle, push):
    passes = [MeshPass(1, 1, 100, share / 100, "peak stress 99.5 %") for share in shares]
    assert adapting._is_idle(passes, 0.01) == idle
    assert adapting._push(passes) == push
