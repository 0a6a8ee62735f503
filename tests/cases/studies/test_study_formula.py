# SPDX-License-Identifier: MIT
"""Formulas: values against Python's arithmetic and unit tables, and known ways to misuse evaluators."""

import math

import pytest

from annelid.cases.studies.formula import evaluate
from annelid.cases.studies.values import internal_unit, to_internal
from annelid.geometry.errors import InputError
from annelid.solver.display import KINDS

NAMES = {
    "sheets": 4,
    "sheet": "45 um",
    "stretch": 0.8,
    "radius": "4 mm",
    "law": "gent",
    "share": "25 %",
    "turn": "30 deg",
}


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("sheets * sheet", 0.18),  # mm
        ("radius / sheet", 4000 / 45),
        ("(radius + sheets * sheet) * stretch", 4.18 * 0.8),
        ("-radius + 2 * radius", 4.0),
        ("sqrt(radius * radius)", 4.0),
        ("min(sheet, radius)", 0.045),
        ("max(1, stretch, sheets)", 4.0),
        ("2 ** 0.5", math.sqrt(2)),
        ("pi * radius ** 2 / radius", math.pi * 4),
        ("log(exp(2)) + cos(0)", 3.0),
        ("round(radius / sheet) % 7", 89 % 7),
        ("sheets // 3", 1.0),
        ("share * stretch", 0.2),
        ("abs(-stretch)", 0.8),
    ],
)
def test_arithmetic_with_units(formula, expected):
    assert to_internal(evaluate(formula, NAMES)) == pytest.approx(expected, rel=1e-11)


def test_counts_stay_whole_numbers():
    # A case needs an integer number of sheets: 5.0 would be refused.
    assert evaluate("sheets + 1", NAMES) == 5
    assert isinstance(evaluate("sheets + 1", NAMES), int)
    assert isinstance(evaluate("round(radius / sheet)", NAMES), int)


@pytest.mark.parametrize(
    "formula",
    [
        "__import__('os').system('true')",
        "().__class__.__bases__[0].__subclasses__()",
        "sheets.__class__",
        "[x for x in (1, 2)]",
        "(lambda: 1)()",
        "exec('1')",
        "open('/etc/passwd')",
        "f'{sheets}'",
        "sheets if stretch else 1",
        "sheets := 3",
        "9 ** 9 ** 9",
        "'a' * 3",
        "True + 1",
        "min(*[1])",
        "round(stretch, ndigits=1)",
        "sheets; sheets",
        "sqrt",
        "law * 2",
        "radius + stretch",
        "1 / 0",
        "sqrt(-1)",
        "log(-1)",
        "exp(10 ** 9)",
        "unknown * 2",
        "+".join(["1"] * 200),
        "(" * 250 + "1" + ")" * 250,
        "",
        "1 +",
        "1j",
        "sin(radius)",
    ],
)
def test_everything_else_is_refused_and_the_formula_named(formula):
    with pytest.raises(InputError, match=r"derive\[x\]\.formula"):
        evaluate(formula, NAMES, key="derive[x].formula")


def test_a_similar_name_is_suggested():
    with pytest.raises(InputError, match="did you mean 'sheets'"):
        evaluate("sheet_s * 2", {"sheets": 4})


def test_each_kind_of_number_has_its_unit():
    # By hand. A torque passes as an energy, with the same factor.
    for text, number in {
        "0.07 mL/s": 70.0,
        "2 cm/s": 20.0,
        "1 m/s^2": 1e3,
        "1.1 g/cm3": 1.1e-9,
        "2 nS/m": 2e-3,
    }.items():
        assert to_internal(text) == pytest.approx(number, rel=1e-12), text
    units = {kind.unit for kind in KINDS.values()} - {"N mm"}
    assert {internal_unit(1.0 if unit == "1" else f"2 {unit}") for unit in units} == units
