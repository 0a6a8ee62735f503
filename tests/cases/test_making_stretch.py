# SPDX-License-Identifier: MIT
"""A skin inflated to a mean hoop stretch, and the path of its inflation in the Run folder."""

import csv

import numpy as np
import pytest
from exact import sphere
from exact import tube as exact
from scipy.optimize import brentq
from test_making import LENGTH, MU, TABLES, WALL, A, tables

from annelid.cases.convert.making import inflated_wall
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run
from annelid.results.folder.state_words import reference_word, state_word
from annelid.results.report.making_text import making


def inflation_of(**changes):
    return inflated_wall(case_from_tables(tables(**changes)))[1]


def mean_stretch(stretch_at, inner, outer):
    """Mean of the hoop stretch r/R over the thickness."""
    R = np.linspace(inner, outer, 2001)
    return np.trapezoid(stretch_at(R), R) / (outer - inner)


def tube_stretch(la, outer=A + WALL):
    return mean_stretch(lambda R: exact.radius(R, A, la, 1.0) / R, A, outer)


@pytest.mark.exact
def test_a_tube_is_inflated_to_the_mean_stretch_of_a_thick_tube():
    """Two layers of unequal thickness, so that no node lies in the middle of the wall."""
    layers = [{"name": "skin", "thickness": "500 um"}, {"name": "backing", "thickness": "200 um"}]
    parts = [*TABLES["parts"], {"region": "backing", "material": "silicone"}]
    states = inflation_of(making={"stretch": 1.3, "pressure": None}, shape={"layers": layers}, parts=parts)
    la = brentq(lambda la: tube_stretch(la, A + 0.7) - 1.3, 1.1, 1.6)
    P, _ = exact.pressure_and_force(exact.mooney_rivlin(MU / 2), A, A + 0.7, la, 1.0)
    assert states[-1].loads["pressure"].value == pytest.approx(P, rel=1e-5)
    volume = np.pi * (A * la) ** 2 * LENGTH
    assert states[-1].quantities["lumen volume"].value == pytest.approx(volume, rel=1e-6)
    assert states[-1].quantities["mean hoop stretch"].value == pytest.approx(1.3, rel=1e-8)


@pytest.mark.exact
def test_a_balloon_is_inflated_past_its_pressure_maximum():
    """The pressure of a neo-Hookean sphere is largest at a stretch of about 1.38 (Treloar 1975)."""
    ball = {"kind": "balloon", "meridian": {"kind": "sphere", "radius": "5 mm"}, "inner_radius": None}
    ball |= {"length": None, "layers": TABLES["shape"]["layers"]}
    states = inflation_of(
        shape=ball,
        making={"stretch": 1.8, "pressure": None},
        supports=[{"region": "outer", "hold": "rigid motion"}],
        mesh={"along": "6 mm", "model": "solid", "sector": None},
    )

    def mean(la):
        return mean_stretch(lambda R: np.cbrt(1 + (la**3 - 1) * (A / R) ** 3), A, A + WALL)

    la = brentq(lambda la: mean(la) - 1.8, 1.5, 2.2)
    pressure = [state.loads["pressure"].value for state in states]
    assert pressure[-1] == pytest.approx(sphere.neo_hookean_pressure(MU, la, A, A + WALL), rel=2e-4)
    assert max(pressure) > 1.05 * pressure[-1]


@pytest.mark.long
def test_the_inflation_is_a_stage_of_its_own_in_the_run_folder(tmp_path):
    case = case_from_tables(tables(making={"stretch": 1.2, "pressure": None, "steps": 6}))
    assert run_case(case, tmp_path / "run").outcome.kind == "reached"
    run = open_run(tmp_path / "run")
    rows = list(csv.DictReader((tmp_path / "run" / "inflation.csv").read_text().splitlines()))
    assert {row["stage"] for row in rows} == {"inflate"}
    table = run.inflation
    assert table["mean hoop stretch"][[0, -1]] == pytest.approx([1.0, 1.2])
    P, V, U = table["pressure"], table["displaced volume"], table["strain energy"]
    assert U[0] == pytest.approx(0.0, abs=1e-12)
    work = float(np.sum((P[1:] + P[:-1]) / 2 * np.diff(V)))  # all of it is stored (energy theorem)
    assert U[-1] == pytest.approx(work, rel=0.01)
    assert run.table["pressure"][0] == pytest.approx(P[-1])
    assert run.table["strain energy"][0] == pytest.approx(U[-1], rel=0.01)
    assert "inflation.csv" in run.summary["files"]
    content = making(run)
    assert content["columns"] == ["as cast", "as printed", "released (release)"]
    assert {name: cells for name, *cells in content["rows"]}["length"][:2] == ["12\N{NO-BREAK SPACE}mm"] * 2
    assert reference_word(run) == "as printed"
    assert [state_word(run, row) for row in range(len(run.table))] == [
        "as printed",
        *["loaded"] * (len(run.table) - 2),
        "released",
    ]
    text = " ".join(content["paragraphs"]).replace("\N{NO-BREAK SPACE}", " ")
    assert "mean hoop stretch at the widest place is 1.2" in text
    with (tmp_path / "run" / "inflation.csv").open("a") as file:
        file.write("changed\n")
    with pytest.raises(InputError, match=r"inflation\.csv"):
        open_run(tmp_path / "run")


def test_stretches_that_cannot_be_reached_are_refused_with_their_range():
    def refused(words, **changes):
        with pytest.raises(InputError, match=words):
            inflation_of(**{"making": {"stretch": 1.3, "pressure": None}} | changes)

    refused(r"making\.stretch: must be above 1", making={"stretch": 1.0, "pressure": None})
    refused(r"making\.stretch: must be above 1", making={"stretch": 0.9, "pressure": None})
    refused("give one of pressure, volume and stretch", making={"stretch": 1.3})
    stiff = {"law": "gent", "shear_modulus": "0.1 MPa", "stretch_limit": 0.5}
    materials = TABLES["materials"] | {"silicone": stiff}
    refused(
        r"making: stretch: must be above 1 and below about 1\.38, .*got 2",
        making={"stretch": 2.0, "pressure": None},
        materials=materials,
    )
    dome = {"kind": "dome", "rim_radius": "8 mm", "rise": "3 mm", "layers": TABLES["shape"]["layers"]}
    refused(
        r"widest at 'end_low', where its radius is fixed",
        shape=dome | {"inner_radius": None, "length": None},
        supports=[{"region": "end_low", "hold": "all"}],
        mesh={"along": "3 mm", "model": "solid", "sector": None},
    )
