# SPDX-License-Identifier: MIT
"""Quantities that library cases require, on their own meshes and on meshes of half the element size."""

import pytest

from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import library_cases, read_case
from annelid.cases.validate.resolved import coarsened
from annelid.results.folder.run_record import open_run
from annelid.solver.model.harmonic_words import waves_of

HALVED = 0.02  # relative change of a required quantity
QUICK = ("widening_tube",)
WITH_WAVES = ("oval_tube", "wrinkling_sleeve")
REQUIRED = [name for name, path in library_cases().items() if read_case(path).requirements]
LONG = [
    pytest.param(name, marks=[pytest.mark.long, pytest.mark.slow]) for name in REQUIRED if name not in QUICK
]


def verdicts(case, folder):
    result = run_case(case, folder)
    assert result.outcome.kind == "reached", result.outcome.text
    return {(v.quantity, v.condition, v.limit): v for v in result.verdicts}


@pytest.mark.parametrize("name", [*QUICK, *LONG])
def test_required_quantities_do_not_depend_on_the_mesh(name, tmp_path):
    case = read_case(library_cases()[name])
    drawn = verdicts(case, tmp_path / "drawn")
    halved = verdicts(coarsened(case, 0.5), tmp_path / "halved")
    for key, verdict in drawn.items():
        assert verdict.met
        assert halved[key].met
        assert verdict.value == pytest.approx(halved[key].value, rel=HALVED), key
    if name in WITH_WAVES:
        voltages = [first_waves(tmp_path / folder) for folder in ("drawn", "halved")]
        assert voltages[0] == pytest.approx(voltages[1], rel=HALVED)


def first_waves(folder):
    """The voltage at which the part of a run gets waves around its axis."""
    (point,) = open_run(folder).critical_points
    assert waves_of(point.kind)
    return point.loads["voltage whole"].value


def test_search_for_a_margin_goes_on_where_a_step_has_left_the_path(tmp_path):
    """Close to wrinkling, an arc step of the cuff ends on another shape; shorter steps find the margin."""
    case = coarsened(read_case(library_cases()["cuff"]), 1.5)
    case = case.model_copy(update={"path": case.path.model_copy(update={"harmonics": "none"})})
    (margin,) = (
        v for v in run_case(case, tmp_path / "cuff").verdicts if v.quantity == "stability margin voltage"
    )
    assert not margin.is_bound
    assert margin.value == pytest.approx(1.366, rel=HALVED)  # on a mesh of a third of the element size


MARGINS = {"cuff": ("voltage", 1.3224, 26), "two_material_sleeve": ("pressure", 1.2413, 1)}


@pytest.mark.long
@pytest.mark.parametrize("name", MARGINS)
def test_stability_margins_with_every_number_of_waves(name, tmp_path):
    """Stored numbers of this program, on meshes of twice the element size: the first instability."""
    load, value, waves = MARGINS[name]
    outcome = run_case(coarsened(read_case(library_cases()[name]), 2), tmp_path / name).outcome
    (margin,) = (m for m in outcome.margins if m.load == load)
    assert not margin.is_bound
    assert margin.value == pytest.approx(value, rel=1e-3)
    assert waves_of(margin.kind) == waves


@pytest.mark.long
def test_the_voltage_at_which_the_sleeve_wrinkles(tmp_path):
    """A stored number of this program, as above; test_library.py has the closed form within 2 %."""
    run_case(coarsened(read_case(library_cases()["wrinkling_sleeve"]), 2), tmp_path / "run")
    assert first_waves(tmp_path / "run") == pytest.approx(2.29116, rel=1e-3)
