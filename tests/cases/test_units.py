# SPDX-License-Identifier: MIT
import pytest

from annelid.cases.schema.units import UnitError, parse, show

# Conversion factors: BIPM SI brochure (mmHg = 133.322387415 Pa, conventional cmH2O = 98.0665 Pa).
VALUES = [
    ("45 um", "mm", 0.045),
    ("45 µm", "mm", 0.045),
    ("0.5cm", "mm", 5.0),
    ("-3e-1 mm", "mm", -0.3),
    ("120 mmHg", "MPa", 120 * 133.322387415e-6),
    ("60 cmH2O", "MPa", 60 * 98.0665e-6),
    ("3200 V", "kV", 3.2),
    ("80 V/um", "kV/mm", 80.0),
    ("80 MV/m", "kV/mm", 80.0),
    ("40 mL", "mm3", 40000.0),
    ("2 cm3", "mm3", 2000.0),
    ("2 kPa/mm", "MPa/mm", 0.002),
    ("10 gf", "N", 0.0980665),
    ("12 %", "", 0.12),
    ("0.12", "1", 0.12),
    (0.12, "", 0.12),
    ("35 deg", "deg", 35.0),
]
RELATIVE = 1e-6  # the mmHg and cmH2O of pint differ from the brochure in the seventh digit


@pytest.mark.parametrize(("text", "unit", "value"), VALUES)
def test_quantities_are_converted_to_internal_units(text, unit, value):
    assert parse(text, unit) == pytest.approx(value, rel=RELATIVE)


@pytest.mark.parametrize(("text", "unit", "value"), VALUES)
def test_a_written_quantity_is_read_as_the_same_number(text, unit, value):
    number = parse(text, unit)
    assert parse(show(number, unit), unit) == number


def test_notations_in_other_units_give_the_same_number():
    assert parse("180 um", "mm") == parse("0.18 mm", "mm") == parse("0.018 cm", "mm")


@pytest.mark.parametrize(
    ("value", "unit", "message"),
    [
        (4, "mm", "4 has no unit"),
        ("4", "mm", "'4' has no unit"),
        ("4 N", "mm", "'4 N' is in newton, which cannot be converted to mm"),
        ("4 mmm", "mm", "'4 mmm' has the unknown unit 'mmm'"),
        ("4 mm)", "mm", r"'4 mm\)' has a unit that cannot be read: 'mm\)'"),
        ("4,5 mm", "mm", "cannot be read"),
        ("mm", "mm", "'mm' is not a number with a unit"),
        ("5 %", "mm", "'5 %' is a percentage, which cannot be converted to mm"),
        ("5 mm", "", "'5 mm' is in millimeter, which cannot be converted to a plain number"),
        ("1e999 mm", "mm", "is not a finite number"),
        (True, "", "True is not a number"),
        (float("nan"), "", "is not a finite number"),
        (["4 mm"], "mm", "is not a number with a unit"),
    ],
)
def test_invalid_quantities_are_refused(value, unit, message):
    with pytest.raises(UnitError, match=message):
        parse(value, unit)
