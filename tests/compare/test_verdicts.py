# SPDX-License-Identifier: MIT
"""Verdicts on measured parts: the decision rule, and the uncertainty that it uses."""

import numpy as np
import pytest
from nominal_shapes import tube

from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.comparison.limits import COVERAGE_FACTOR, MeasuredLimit, judged
from annelid.compare.deviation.coverage import surface_deviations
from annelid.compare.deviation.quantities import Measures, Uncertain
from annelid.compare.deviation.quantity_names import UNITS, unit_of
from annelid.compare.deviation.radius_field import radius_field
from annelid.compare.deviation.signed import deviations
from annelid.compare.deviation.uncertainty import with_uncertainty
from annelid.geometry.errors import InvalidValue

RADIUS, LENGTH = 15.0, 60.0


def verdict(value, deviation, condition, limit):
    found = {"mean deviation": Uncertain(value, deviation, value, value, 0.0, deviation)}
    return judged(found, [MeasuredLimit("mean deviation", condition, limit)])[0].verdict


@pytest.mark.exact
@pytest.mark.parametrize(
    ("value", "condition", "answer"),
    [
        (0.79, "at most", "met"),
        (0.81, "at most", "undecided"),
        (1.19, "at most", "undecided"),
        (1.21, "at most", "not met"),
        (1.21, "at least", "met"),
        (1.19, "at least", "undecided"),
        (0.79, "at least", "not met"),
    ],
)
def test_the_expanded_uncertainty_lies_between_met_and_not_met(value, condition, answer):
    # ISO 14253-1 (from memory): conformity is proven inside the limit by the expanded uncertainty, here 0.2.
    assert verdict(value, 0.1, condition, 1.0) == answer


@pytest.mark.exact
def test_a_part_at_its_limit_is_rarely_called_either():
    # Normal errors exceed two standard deviations on each side in 2.275 % of all cases (tables of the normal
    # distribution).
    values = 1.0 + 0.1 * np.random.default_rng(0).standard_normal(20_000)
    answers = np.array([verdict(value, 0.1, "at most", 1.0) for value in values])
    for answer in ("met", "not met"):
        assert (answers == answer).mean() == pytest.approx(0.02275, abs=0.004)


def test_what_was_not_measured_is_undecided():
    assert verdict(float("nan"), float("nan"), "at most", 1.0) == "undecided"
    assert judged({}, [MeasuredLimit("largest ovality", "at most", 1.0)])[0].verdict == "undecided"
    assert verdict(1.0, 0.0, "at most", 1.0) == "met"


def test_unknown_quantities_and_limits_are_refused():
    with pytest.raises(InvalidValue, match="'rms' is not a quantity of a comparison; allowed: mean dev"):
        MeasuredLimit("rms", "at most", 1.0)
    with pytest.raises(InvalidValue, match="is not finite"):
        MeasuredLimit("mean deviation", "at most", float("inf"))
    assert MeasuredLimit("radius at 12.5 mm", "at most", 1.0).height == 12.5
    assert {unit_of(name) for name in UNITS} == {"mm", "mm³", "1"}


@pytest.mark.exact
def test_a_common_error_of_the_scanner_moves_each_quantity_by_its_sensitivity():
    # By integration over a tube: mean, profile and radii change by the error e itself (the profile by 2 e),
    # the volume by 2 π R L e; ovality, eccentricity and bend do not change.
    surface, error = tube(around=120, along=21), 0.1
    noise = np.random.default_rng(0).normal(0.0, 1e-3, (4000, 3))
    found = deviations(surface.sampled(4000)[0] + noise, SurfaceLocator(surface))
    measures = Measures(radius_field(surface), (20.0,))
    given = (found, surface_deviations(found, surface), measures, surface, np.zeros((6, 6)))
    result = with_uncertainty(*given, scanner=error, replicates=300)
    sensitivity = {
        "mean deviation": 1.0,
        "5 % of deviations below": 1.0,
        "largest deviation outward": 1.0,
        "radius at 20 mm": 1.0,
        "volume difference": 2.0 * np.pi * RADIUS * LENGTH,
        "largest ovality": 0.0,
        "largest eccentricity": 0.0,
        "bend of the axis": 0.0,
    }
    for name, size in sensitivity.items():
        # 300 replicates know a standard deviation to 1 / √600 of itself.
        assert result[name].from_pose == pytest.approx(size * error, rel=0.12, abs=1e-3 * error), name
    assert result["radius at 20 mm"].value == pytest.approx(RADIUS, abs=5e-3)
    assert result["enclosed volume"].value == pytest.approx(np.pi * RADIUS**2 * LENGTH, rel=1e-3)
    assert result["largest radius difference"].low >= 0.0
    assert COVERAGE_FACTOR == 2.0
