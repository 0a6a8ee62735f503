# SPDX-License-Identifier: MIT
import tomllib

import numpy as np
import pytest
from synthetic_runs import CASE

from annelid.results.display_units import digits, show, show_text
from annelid.results.folder.tables import PathTable
from annelid.results.report.case_summary import case_in_words
from annelid.results.report.safety import LIMITS, SECOND_HAND, stored_charge

GAP = "\N{NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("name", "value", "unit", "expected"),
    [
        # 1 mmHg = 133.322387415 Pa (from memory: the conventional millimetre of mercury).
        ("pressure", 0.133322387415, "MPa", "1000 mmHg"),
        ("pressure", 0.25, "MPa", "0.25 MPa"),
        ("peak stress", 0.05, "MPa", "50 kPa"),
        ("peak stress", 0.82345, "MPa", "0.8235 MPa"),
        ("mean radial expansion", 0.1234, "1", "12.34 %"),
        ("breakdown margin", 1.5, "1", "1.5"),
        ("breakdown margin", np.inf, "1", "unlimited"),
        ("minimum wall thickness", 0.045, "mm", "45 µm"),
        ("lumen volume", 40_000.0, "mm3", "40 mL"),
        ("largest true field", 75.0, "kV/mm", "75 V/µm"),
        ("charge", 0.0321, "uC", "32.1 nC"),
        ("axial reaction end_low", -0.5, "N", "\N{MINUS SIGN}0.5 N"),
        ("lumen volume", 0.0, "mm3", "0 mm³"),
        ("axial reaction end_low", 2e-14, "N", "0 N"),
        ("strain energy", 1.2345e-7, "J", "1.235·10⁻⁷ J"),
    ],
)
def test_values_are_shown_in_the_units_of_the_trade(name, value, unit, expected):
    assert show(name, value, unit).replace(GAP, " ") == expected


@pytest.mark.parametrize(
    ("value", "expected"), [(1000.0, "1000"), (123456.0, "123456"), (0.1, "0.1"), (np.nan, "–"), (-0.0, "0")]
)
def test_digits(value, expected):
    assert digits(value) == expected


def test_texts_that_are_no_quantity_stay():
    assert show_text("hold", "all") == "all"
    assert show_text("count", 4) == "4"
    assert show_text("thickness", "0.045 mm") == f"45{GAP}µm"
    assert show_text("stiffness", "0.002 MPa/mm") == f"0.002{GAP}MPa/mm"


def words(case):
    return {s.heading: [text.replace(GAP, " ") for text in s.sentences] for s in case_in_words(case)}


def test_a_case_in_words():
    told = words(tomllib.loads(CASE))
    assert told["Shape"] == [
        "Tube: inner radius 4 mm, length 12 mm.",
        "Layers from the inside: liner 45 µm, skin 1 mm.",
    ]
    assert told["Parts"] == [
        "skin: silicone (Gent, shear modulus 0.3 MPa, stretch limit 60); 4 sheets of 45 µm; "
        "natural stretch: hoop 0.8."
    ]
    assert told["Supports"] == ["end_low: clamped."]
    assert told["Stages"] == ["settle: the part finds its balance.", "inflate: pressure 120 mmHg."]
    assert told["Requirements"] == ["mean radial expansion: at least 12 %."]
    assert told["Model"] == ["A cut through the wall (axisymmetric); elements: along 1 mm, through 1."]


def test_more_kinds_of_cases():
    told = words(
        {
            "shape": {"kind": "balloon", "meridian": {"kind": "sphere", "radius": "12 mm"}},
            "electrodes": [{"name": "ring", "region": "skin", "from": "3 mm", "to": "9 mm"}],
            "tissue_beds": [{"region": "outer", "stiffness": "0.002 MPa/mm", "direction": "normal"}],
            "stages": [{"name": "on", "voltage": {"ring": "3.2 kV"}, "volume": "40000 mm3", "steps": 4}],
        }
    )
    assert told["Shape"] == ["Balloon, sphere: radius 12 mm."]
    assert told["Electrodes"] == ["ring: skin, 3 mm to 9 mm along the axis."]
    assert told["Surroundings"] == ["outer: stiffness 0.002 MPa/mm, direction normal."]
    assert told["Stages"] == ["on: voltage ring 3.2 kV, volume 40 mL."]


@pytest.mark.parametrize(
    "case", [{}, {"shape": 3, "parts": "x", "stages": [1]}, {"stages": [{}]}, {"mesh": {}}]
)
def test_a_case_of_another_shape_is_told_as_far_as_it_goes(case):
    assert all(text for s in case_in_words(case) for text in s.sentences)


def path(voltage, charge, energy):
    columns = {
        "voltage ring": np.array([0.0, voltage]),
        "charge": np.array([0.0, charge]),
        "stored electrical energy": np.array([0.0, energy]),
    }
    return PathTable(("a", "a"), columns, {}, ("voltage ring",), ("charge", "stored electrical energy"))


@pytest.mark.parametrize(
    ("voltage", "charge", "energy", "within", "text"),
    [
        # A tube of 0.12847 nF stores 1.03 uC and 4.1 mJ at 8 kV (own calculation, Q = C V, W = Q V / 2).
        (8.0, 1.028, 4.11, True, "below the 45 µC"),
        (3.0, 45.1, 67.65, False, "ABOVE the 45 µC"),
        (15.0, 44.9, 336.75, True, "below the 45 µC"),
        (16.0, 50.0, 349.0, True, "below the 350 mJ"),
        (16.0, 1.0, 351.0, False, "ABOVE the 350 mJ"),
        (0.4, 90.0, 18.0, None, "does not apply"),
    ],
)
def test_stored_charge_against_the_limit_that_counts(voltage, charge, energy, within, text):
    found = stored_charge(path(voltage, charge, energy))
    assert found.within is within
    assert text in found.text
    assert show("charge", charge, "uC") in found.text


def test_no_voltage_no_charge_to_speak_of():
    assert stored_charge(path(0.0, 0.0, 0.0)) is None


def test_every_limit_says_how_it_is_known():
    assert [limit.status for limit in LIMITS].count(SECOND_HAND) == 4
    assert all(limit.status for limit in LIMITS)


def test_lattice_making_and_obstacles_are_told():
    case = {
        "shape": {"kind": "tube"},
        "lattice": {
            "cell": {"kind": "re-entrant", "vertical": "2.4 mm", "width": "0.22 mm"},
            "height": "0.3 mm",
            "side": "outside",
            "depth": 0.5,
            "printing": {"nozzle": "0.2 mm"},
        },
        "making": {"volume": "13000 mm3", "steps": 10, "compare": True},
        "mesh": {"model": "sector", "around": 32, "sector": "45 deg", "on_struts": "0.3 mm"},
        "contacts": [{"name": "crimper", "surface": "outer", "kind": "cylinder", "part_is": "inside"}],
    }
    told = words(case)
    assert told["Lattice"] == [
        "Cells: re-entrant, vertical 2.4 mm, width 220 µm.",
        "Laid: height 300 µm, side outside.",
    ]
    assert "is inflated (volume 13 mL)" in told["Making"][0]
    assert "elements: sector 45 deg, on struts 300 µm." in told["Model"][0]
    assert told["Obstacles"] == ["crimper: cylinder against outer, part is inside."]
    plain = words({**case, "lattice": None, "mesh": {"model": "solid", "around": 32, "through_struts": 1}})
    assert plain["Model"] == ["The whole part in 3-D; elements: around 32."]
    assert "Lattice" not in plain


def test_a_switch_of_a_stage_is_told_only_where_it_is_on():
    stages = [
        {"name": "up", "arc": "5 mm", "backward": False},
        {"name": "back", "arc": "5 mm", "backward": True},
    ]
    assert words({"stages": stages})["Stages"] == ["up: arc 5 mm.", "back: arc 5 mm, backward."]
