# SPDX-License-Identifier: MIT
"""Each kind of number has one unit on the pages of a case. Which unit is common practice, no source."""

import copy

import numpy as np
import plain_tube
import pytest

from annelid.cases.convert.description import description_of
from annelid.cases.convert.display import display_units_of
from annelid.cases.validate.reading import case_from_tables
from annelid.solver.display import DisplayUnits

GAP = "\N{NO-BREAK SPACE}"


def units(**changes):
    """Units of a tube of 4 mm and 1 mm wall whose modulus is in MPa."""
    return display_units_of(case_from_tables(changed(**changes)))


def changed(modulus="0.3 MPa", thickness="1000 um", requirements=()):
    tables = copy.deepcopy(plain_tube.TABLES)
    tables["materials"]["rubber"]["shear_modulus"] = modulus
    (layer,) = tables["shape"]["layers"]
    layer["thickness"] = thickness
    tables["requirements"] = list(requirements)
    return tables


def shown(units, kind, value):
    return units.show(kind, value).replace(GAP, " ")


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [
        # 1 mPa s = 1e-9 MPa s; 1 kPa s/mL = 1e-6 MPa s/mm3; 1 mL/kPa = 1e6 mm3/MPa; 1 MOhm = 1e-3 GOhm
        ("viscosity", 5e-10, "0.5 mPa s"),
        ("flow resistance", 2e-7, "0.2 kPa s/mL"),
        ("compliance", 3e6, "3 mL/kPa"),
        ("electrical resistance", 0.002, "2 M\N{GREEK CAPITAL LETTER OMEGA}"),
        ("density", 8e-10, "0.8 g/cm³"),
    ],
)
def test_small_numbers_of_small_kinds_are_no_rounding(kind, value, text):
    assert shown(DisplayUnits(), kind, value) == text


@pytest.mark.parametrize(
    ("modulus", "limit", "text"),
    [
        ("0.3 MPa", "100 kPa", "50 kPa"),  # a limit decides
        ("300 kPa", "0.1 MPa", "0.05 MPa"),
        ("300 kPa", None, "50 kPa"),
        ("0.3 MPa", None, "0.05 MPa"),
    ],
)
def test_the_unit_of_a_limit_wins_over_that_of_a_material(modulus, limit, text):
    requirements = [{"quantity": "peak stress", "at_most": limit}] if limit else []
    found = units(modulus=modulus, requirements=requirements)
    assert shown(found, "stress", 0.05) == text


def test_the_unit_that_is_used_most_is_taken_and_of_equals_the_first():
    tables = changed("300 kPa")
    rubber = tables["materials"]["rubber"]
    tables["materials"] |= {
        name: rubber | {"shear_modulus": modulus}
        for name, modulus in (("second", "0.2 MPa"), ("third", "0.4 MPa"))
    }
    assert shown(display_units_of(case_from_tables(tables)), "stress", 0.05) == "0.05 MPa"
    del tables["materials"]["third"]
    assert shown(display_units_of(case_from_tables(tables)), "stress", 0.5) == "500 kPa"


def test_thicknesses_have_their_own_unit_beside_lengths():
    found = units()
    assert shown(found, "thickness", 0.0448) == "44.8 µm"
    assert shown(found, "thickness", 1.2) == "1200 µm"
    assert shown(found, "length", 0.0448) == "0.0448 mm"
    sentences = [text for s in description_of(case_from_tables(changed())).statements for text in s.sentences]
    assert any("wall 1000 µm" in text.replace(GAP, " ") for text in sentences)


def test_a_case_that_names_several_units_gets_the_handiest():
    tables = changed()
    tables["output"] = {"units": {"length": ["mm", "um"]}}
    found = display_units_of(case_from_tables(tables))
    assert (shown(found, "length", 0.0448), shown(found, "length", 4.0)) == ("44.8 µm", "4 mm")


def test_kinds_without_a_unit_get_one_for_the_whole_page():
    columns = {"force": np.array([0.0, 0.02, -0.3]), "energy": np.array([1e-3, np.nan])}
    found = DisplayUnits().completed(columns.items())
    assert [shown(found, "force", value) for value in (0.02, 0.0)] == ["0.02 N", "0 N"]
    assert [shown(found, "energy", value) for value in (1e-3, 0.0, 5.0)] == ["1 µJ", "0 µJ", "5000 µJ"]
    assert shown(found, "pressure", 0.05) == "50 kPa"  # not among the columns


@pytest.mark.parametrize(
    ("unit", "key", "kind"),
    [
        ("mm", "shape.layers[wall].thickness", "thickness"),
        ("mm", "shape.length", "length"),
        ("mm", "electrodes[ring].from", "length"),
        ("MPa", "stages[inflate].pressure", "pressure"),
        ("MPa", "materials.rubber.shear_modulus", "stress"),
        ("s", "pause", "time"),
        ("A", "pause", "ratio"),
    ],
)
def test_a_variable_of_a_study_has_the_kind_that_its_key_names(unit, key, kind):
    assert units().kind_of(unit, key) == kind
