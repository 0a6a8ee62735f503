# SPDX-License-Identifier: MIT
"""Whole studies of a part whose response is known in closed form: a thick rubber tube kept at its length.

Incompressible neo-Hookean tube, radii A and B as drawn, a and b = sqrt(B^2 + a^2 - A^2) under the pressure

    P = mu (ln(B/A) - ln(b/a) - (a^2 - A^2)/2 (1/b^2 - 1/a^2)),

from radial equilibrium, own derivation; small strains give Lame's 2 mu = P B^2 A / (u (B^2 - A^2)).
"""

import math

import numpy as np
import pytest
from pyarrow import parquet
from scipy.optimize import brentq

from annelid.cases.cli.study import run_study_command
from annelid.cases.studies.analysis import study_data
from annelid.cases.studies.table import StudyTable

EXPANSION = "mean radial expansion"


def expansion(inner, thickness, modulus, pressure=2e-3):
    """Change of the inner radius over the radius, lengths in mm, stresses in MPa."""
    outer = inner + thickness

    def lacking(a):
        k = a**2 - inner**2
        b = math.sqrt(outer**2 + k)
        terms = math.log(outer / inner) - math.log(b / a) - 0.5 * k * (1 / b**2 - 1 / a**2)
        return modulus * terms - pressure

    return brentq(lacking, inner, 1.5 * inner, xtol=1e-14) / inner - 1


@pytest.fixture
def tube(tables):
    tables |= {
        "mesh": {"along": "10 mm", "through": 2},
        "electrodes": [],
        "supports": [{"region": "end_low", "hold": "axial"}, {"region": "end_high", "hold": "axial"}],
        "sections": [],
        "stages": [{"name": "fill", "pressure": "2 kPa", "steps": 1}],
        "requirements": [{"quantity": EXPANSION, "at_most": "2.5 %"}],
    }
    tables["shape"]["layers"][0]["thickness"] = "1 mm"
    return tables


def done(plan, store, **options):
    """Run a study as the command does, with real runs; gives its table."""
    import argparse

    given = {"study": str(plan.file.path), "out": store.path, "only": None, "workers": 2, "time_limit": None}
    flags = dict.fromkeys(["status", "dry_run", "collect", "retry", "slurm", "cancel"], False)
    given |= {"memory_limit": None, "expect_ranks": None, "site": None, **flags, **options}
    assert run_study_command(argparse.Namespace(**given)) == 0
    return StudyTable(plan, store)


@pytest.mark.long
@pytest.mark.exact
def test_every_run_of_a_grid_agrees_with_the_closed_form(tube, study):
    plan, store = study(
        vary=[
            {"key": "shape.inner_radius", "values": ["4 mm", "6000 um"]},
            {"key": "materials.rubber.shear_modulus", "values": ["100 kPa", "0.2 MPa"]},
            {"name": "share", "values": ["20 %", 0.25]},
        ],
        derive=[{"key": "shape.layers.wall.thickness", "formula": "share * inner_radius"}],
        output={"reports": False},
    )
    done(plan, store)
    rows = parquet.read_table(store.path / "study.parquet").to_pylist()
    assert len(rows) == 8
    for row in rows:
        radius, modulus = row["inner_radius [mm]"], row["shear_modulus [MPa]"]
        truth = expansion(radius, row["share [1]"] * radius, modulus)
        assert row["thickness [mm]"] == pytest.approx(row["share [1]"] * radius, rel=1e-9)
        # Two quadratic elements through a wall this thick: the error is 3e-5.
        assert row[f"{EXPANSION} [1]"] == pytest.approx(truth, rel=1e-4)
        assert row["all requirements met"] == (truth <= 0.025)
    assert {row["all requirements met"] for row in rows} == {True, False}


@pytest.mark.long
@pytest.mark.exact
def test_tolerance_study_agrees_with_error_propagation(tube, study):
    plan, store = study(
        vary=[
            {
                "key": "shape.layers.wall.thickness",
                "distribution": "normal",
                "mean": "1 mm",
                "deviation": "3 %",
            },
            {
                "key": "materials.rubber.shear_modulus",
                "distribution": "lognormal",
                "mean": "0.1 MPa",
                "deviation": "4 %",
            },
        ],
        sampling={"method": "sobol", "samples": 32, "seed": 4},
        tolerance=True,
        fixed={f"requirements.{EXPANSION}.at_most": "2.9 %"},
        output={"reports": False},
    )
    table = done(plan, store)
    data = study_data(plan, table.rows)
    (spread,) = data.spreads
    mean = np.array([1.0, 0.1])
    deviation = mean * [0.03, 0.04]

    def at(t, mu):
        return expansion(4.0, t, mu)

    slopes = [(at(*(mean + step)) - at(*(mean - step))) / (2 * step.sum()) for step in np.diag([1e-4, 1e-5])]
    parts = (slopes * deviation) ** 2  # GUM, JCGM 100:2008, equation 10, without correlation
    assert spread.values.mean() == pytest.approx(at(*mean), rel=0.01)
    # 32 even samples estimate a deviation to some per cent.
    assert spread.values.std() == pytest.approx(math.sqrt(parts.sum()), rel=0.08)
    assert spread.contributions["thickness"] == pytest.approx(parts[0] / parts.sum(), abs=0.06)
    assert spread.contributions["shear_modulus"] == pytest.approx(parts[1] / parts.sum(), abs=0.06)
    (found,) = data.yields
    good = [at(*x) <= 0.029 for x in zip(*(c.numbers for c in data.variables), strict=True)]
    assert found.conforming == sum(good)
    assert 5 < found.conforming < 27
    rank = data.sensitivities[0]
    assert (rank.first_order < 0).all()
    assert abs(rank.first_order[1]) > abs(rank.first_order[0]) * 0.8


@pytest.mark.exact
@pytest.mark.long
@pytest.mark.slow
def test_load_found_at_a_limit_is_a_column_and_an_objective(tube, study):
    """The pressure at an expansion of 3 %, for which ``expansion`` is inverted."""
    until = [{"quantity": EXPANSION, "at_least": "3 %"}]
    tube |= {"stages": [{"name": "fill", "pressure": "20 kPa", "until": until, "until_tolerance": 1e-5}]}
    tube |= {"requirements": []}
    plan, store = study(
        vary=[{"key": "materials.rubber.shear_modulus", "values": ["100 kPa", "0.2 MPa"]}],
        objectives=[{"quantity": "lumen pressure", "aim": "maximise"}],
        fixed={f"stages.fill.until.{EXPANSION}.at_least": "4 %"},
    )
    table = done(plan, store)
    for row, modulus in zip(table.rows, (0.1, 0.2), strict=True):
        pressure = brentq(lambda p, μ=modulus: expansion(4.0, 1.0, μ, p) - 0.04, 1e-4, 8e-3)
        assert row["lumen pressure [MPa]"] == pytest.approx(pressure, rel=1e-3)
        assert row["outcome"] == "reached"
    data = study_data(table.plan, table.rows)
    assert data.objectives == {"lumen pressure": "maximise"}
    assert data.column("lumen pressure").levels
