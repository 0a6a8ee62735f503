# SPDX-License-Identifier: MIT
"""The table of checks against independent formulas, and what happens if a check fails."""

import argparse
import math

import pytest
from exact import dielectric, homogeneous, sphere, tube
from exact.torsion import torsion
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from annelid.cases.cli import selfchecking
from annelid.cases.selfcheck import run as selfcheck
from annelid.cases.selfcheck.published import CHECKS
from annelid.results.evidence.selfcheck_record import read_record

PUBLISHED = {check.name: check.published for check in CHECKS}


def test_published_values_follow_from_their_formulas():
    """Formulas of tests/exact, with their sources; modes and joints have tests of their own."""
    pressure = tube.neo_hookean_pressure(1.0, 1.0, 1.5, 1.5, 1.2)
    assert PUBLISHED["inflated_tube"] == pytest.approx(pressure, rel=1e-5)
    largest = minimize_scalar(
        lambda la: -sphere.neo_hookean_pressure(1.0, la, 1.0, 1.5), bounds=(1.2, 2.0), method="bounded"
    )
    assert PUBLISHED["sphere_maximum"] == pytest.approx(-largest.fun, rel=1e-5)
    gent = sphere.gent_pressure(1.0, 30.0, 2.0, 1.0, 1.5)
    assert PUBLISHED["gent_sphere"] == pytest.approx(gent, rel=1e-6)
    assert dielectric.film_field(1 + PUBLISHED["film_stretch"]) == pytest.approx(0.655165547, rel=1e-8)
    assert PUBLISHED["film_pull_in"] == pytest.approx(dielectric.film_field(2 ** (1 / 3)), rel=1e-8)
    field = dielectric.tube_radial_voltage(1.5, 1.0, 1.2)
    assert PUBLISHED["solved_field_tube"] == pytest.approx(field, rel=1e-5)
    φ = 0.4
    assert PUBLISHED["peristaltic_pump"] == pytest.approx(φ**2 * (16 - φ**2) / (2 * (2 + 3 * φ**2)), rel=1e-5)
    step = 5 + 100 * (1 - math.exp(-1 / 1.3))
    assert PUBLISHED["windkessel"] == pytest.approx(step, rel=1e-9)


def test_published_values_of_loads_and_laws_follow_from_their_formulas():
    """Moduli over μ, lengths over A; weight of 1.1 g/cm³ and 200 mm at 392.4 m/s², μ = 0.1 MPa."""
    laws = {
        "yeoh": {"c1": 0.5, "c2": -0.01, "c3": 0.001},
        "ogden": {"moduli": [1.2, -0.2], "exponents": [1.5, -2.0]},
    }
    for law, constants in laws.items():
        stress = homogeneous.nominal_stress(law, constants, "uniaxial", 1.5)
        assert PUBLISHED[f"pulled_tube {law}"] == pytest.approx(stress, rel=1e-7)
    assert PUBLISHED["twisted_tube"] == pytest.approx(torsion(0.3, 0.2, 1.0, 1.5, 1.0).torque, rel=1e-8)
    weight = 1.1e-9 * 392.4e3 * 200 / 0.1
    grown = quad(lambda x: brentq(lambda s: s - s**-2 - weight * x, 1.0, 9.0) - 1, 0.0, 1.0)[0]
    assert PUBLISHED["hanging_tube"] == pytest.approx(grown, rel=1e-7)
    fibres = tube.pressure_and_force(tube.helical_fibres(1.0, 35.0, 2.0, 0.8), 1.0, 1.1, 1.3, 1.05)
    assert PUBLISHED["fibre_tube"] == pytest.approx(fibres[0], rel=1e-6)
    assert PUBLISHED["solid_tube"] == PUBLISHED["inflated_tube"]


@pytest.mark.parametrize("name", ["inflated_tube", "film_stretch", "peristaltic_pump", "windkessel"])
def test_cheap_checks_pass(name):
    result = selfcheck.measured(next(check for check in CHECKS if check.name == name))
    assert result.passed, (result.value, result.problem)


@pytest.mark.long
def test_all_checks_pass():
    results = list(selfcheck.run_checks())
    assert [r.check.name for r in results if not r.passed] == []
    assert len(results) >= 19


def test_a_wrong_value_fails_with_exit_code_1(monkeypatch, tmp_path, capsys):
    monkeypatch.setenv("ANNELID_CACHE", str(tmp_path))
    wrong = tuple(
        check._replace(published=check.published * 1.01) for check in CHECKS if check.name == "windkessel"
    )
    right = tuple(check for check in CHECKS if check.name == "windkessel")
    everything = selfcheck.run_checks
    for checks, code, word in ((right, 0, "pass"), (wrong, 1, "FAIL")):
        monkeypatch.setattr(selfcheck, "run_checks", lambda checks=checks: everything(checks))
        assert selfchecking.selfcheck_command(argparse.Namespace()) == code
        assert word in capsys.readouterr().out
        assert [result.passed for result in read_record().results] == [code == 0]


def test_a_check_that_ends_with_an_error_fails(monkeypatch):
    def broken():
        raise ZeroDivisionError("by zero")

    monkeypatch.setattr("annelid.cases.selfcheck.flows.windkessel_step", broken)
    result = selfcheck.measured(next(check for check in CHECKS if check.name == "windkessel"))
    assert not result.passed
    assert result.problem == "ZeroDivisionError: by zero"
