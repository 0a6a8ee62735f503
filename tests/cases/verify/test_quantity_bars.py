# SPDX-License-Identifier: MIT
"""From the summaries of runs to error bars and verdicts."""

import math

import pytest

from annelid.cases.verify.bars import FinishedRun, barred_verdicts, quantity_bars
from annelid.cases.verify.refinement import CASE, MESH, QUADRATURE, STEPS, TOLERANCE, RefinedRun
from annelid.results.verification.record import TOO_CLOSE, QuantityBar, Verification, read_verification

RUNS = (("case", CASE, 1.0), ("mesh 1/2", MESH, 0.5), ("mesh 1/4", MESH, 0.25), ("steps 1/2", STEPS, 0.5))
RUNS += (("steps 1/4", STEPS, 0.25), ("tolerance", TOLERANCE, 0.1), ("quadrature", QUADRATURE, 1.0))


def summary(run, h, dt, *, kind="reached", bound=False):
    """Invented quantities over element and step size."""
    quantities = {
        "mean radial expansion [1]": 0.2 + 0.01 * h**2 + 0.002 * dt,
        "lumen volume [mm3]": 100.0,
        "peak stress [MPa]": 0.1 * h**-0.5,
        "peak stress 99.5 % [MPa]": 0.08 + 0.001 * h**2,
        "axial reaction end_low [N]": 3.0 + h**2,
        "axial reaction end_high [N]": 1e-12 * (h - 0.4),
        "radial stroke [1]": 0.1 + (5e-6 if run == "quadrature" else 2e-6 if run == "tolerance" else 0.0),
    }
    margins = [{"load": "voltage", "value": 2.0, "is_bound": bound}]
    verdict = {"condition": "at least", "unit": "1", "stage": "", "where": "at the last state", "met": True}
    value = quantities["mean radial expansion [1]"]
    return {
        "facts": {"mesh": {"cells": round(100 / h**2), "model": "axisymmetric"}},
        "outcome": {"kind": kind, "margins": margins},
        "final_state": {"stage": "fill", "loads": {"pressure [MPa]": 0.01}, "quantities": quantities},
        "verdicts": [
            verdict | {"quantity": "mean radial expansion", "limit": limit, "value": value, "is_bound": False}
            for limit in (0.1, 0.205)
        ],
        "path_quantities": {},
    }


def finished(**changes):
    found = []
    for name, family, factor in RUNS:
        h, dt = factor if family == MESH else 1.0, factor if family == STEPS else 1.0
        run = RefinedRun(name, family, factor, {})
        found.append(FinishedRun(run, summary(name, h, dt, **changes.get(name, {}))))
    return found


@pytest.fixture
def bars():
    return {bar.quantity: bar for bar in quantity_bars(finished())}


def test_shares_of_mesh_and_steps_are_seen_apart(bars):
    bar = bars["mean radial expansion"]
    assert (bar.pattern, bar.order) == ("regular", pytest.approx(2.0))
    assert bar.sizes == pytest.approx((1.0, 0.5, 0.25))
    assert 0.01 <= bar.mesh < 0.0115
    assert 0.002 <= bar.steps < 0.0031
    assert bar.half_width >= abs(bar.value - 0.2)
    assert bar.half_width == pytest.approx(bar.mesh + bar.steps, rel=1e-4)


def test_values_that_do_not_change_are_exact_to_rounding(bars):
    assert bars["lumen volume"].pattern == "exact to rounding"
    assert bars["lumen volume"].half_width < 1e-4


def test_rounding_beside_large_values_of_the_same_unit_is_no_pattern(bars):
    assert bars["axial reaction end_high"].pattern == "exact to rounding"


def test_a_value_without_a_limit_is_named_with_the_one_beside_it(bars):
    bar = bars["peak stress"]
    assert bar.pattern == "no limit"
    assert not bar.has_bar
    assert "peak stress 99.5 % has a limit" in bar.note
    assert bars["peak stress 99.5 %"].has_bar


def test_tolerance_and_quadrature_widen_the_bar(bars):
    bar = bars["radial stroke"]
    assert (bar.tolerance, bar.quadrature) == (pytest.approx(2e-6), pytest.approx(5e-6))
    assert bar.half_width >= 7e-6


def test_a_lower_bound_has_no_bar():
    found = {b.quantity: b for b in quantity_bars(finished(case={"bound": True}))}
    assert found["stability margin voltage"].pattern == "lower bound"
    assert not found["stability margin voltage"].has_bar


def test_states_of_paths_that_end_in_another_way_do_not_count():
    found = {b.quantity: b for b in quantity_bars(finished(**{"mesh 1/4": {"kind": "limit point"}}))}
    assert found["mean radial expansion"].pattern == "two meshes"
    assert len(found["mean radial expansion"].values) == 2


def test_runs_that_are_missing_are_named():
    runs = [f if f.run.family not in (STEPS, QUADRATURE) else FinishedRun(f.run, None) for f in finished()]
    bar = next(b for b in quantity_bars(runs) if b.quantity == "mean radial expansion")
    assert "Without the influence of quadrature, steps" in bar.note
    assert bar.has_bar


def test_a_limit_within_the_bar_is_too_close_to_call():
    runs = finished()
    answers = [v.answer for v in barred_verdicts(runs[0].summary, quantity_bars(runs))]
    assert answers == ["met", TOO_CLOSE]


def test_the_record_is_read_as_it_was_written(tmp_path):
    bars = tuple(quantity_bars(finished()))
    verdicts = tuple(barred_verdicts(finished()[0].summary, bars))
    record = Verification("Invented", "c0ffee", "1", ({"run": "case", "state": "finished"},), bars, verdicts)
    record.write(tmp_path)
    read = read_verification(tmp_path)
    assert read.verdicts == verdicts
    assert [b.quantity for b in read.bars] == [b.quantity for b in bars]
    assert math.isnan(next(b for b in read.bars if b.quantity == "peak stress").half_width)
    assert isinstance(read.bars[0], QuantityBar)
