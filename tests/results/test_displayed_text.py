# SPDX-License-Identifier: MIT
import copy
import json

import numpy as np
import plain_tube
import pytest

from annelid.cases.convert.description import description_of
from annelid.cases.validate.reading import case_from_tables, find_case, read_case
from annelid.results.folder.run_records import CaseDescription
from annelid.results.folder.tables import PathRecord, column_kind
from annelid.results.report.safety import LIMITS, SECOND_HAND, stored_charge
from annelid.solver.display import DisplayUnit, DisplayUnits, digits
from annelid.solver.model.contact import Contact

GAP = "\N{NO-BREAK SPACE}"


MMHG = DisplayUnits({"pressure": (DisplayUnit("mmHg", 7500.61683),)})
BOTH = DisplayUnits({"length": (DisplayUnit("mm", 1.0), DisplayUnit("µm", 1e3))})


@pytest.mark.parametrize(
    ("name", "value", "units", "expected"),
    [
        # 1 mmHg = 133.322387415 Pa (from memory: the conventional millimetre of mercury).
        ("pressure", 0.133322387415, MMHG, "1000 mmHg"),
        ("contact pressure rod", 0.0133322387415, MMHG, "100 mmHg"),
        ("pressure", 0.016, DisplayUnits(), "16 kPa"),
        ("pressure", 0.25, DisplayUnits(), "0.25 MPa"),
        ("peak stress", 0.05, DisplayUnits(), "50 kPa"),
        ("peak stress", 0.82345, DisplayUnits(), "0.8235 MPa"),
        ("mean radial expansion", 0.1234, DisplayUnits(), "12.34 %"),
        ("breakdown margin", 1.5, DisplayUnits(), "1.5"),
        ("breakdown margin", np.inf, DisplayUnits(), "unlimited"),
        ("minimum wall thickness", 0.045, DisplayUnits(), "45 µm"),
        ("minimum wall thickness", 0.045, BOTH, "45 µm"),
        ("minimum wall thickness", 4.5, BOTH, "4.5 mm"),
        ("lumen volume", 40_000.0, DisplayUnits(), "40 mL"),
        ("largest true field", 75.0, DisplayUnits(), "75 V/µm"),
        ("charge", 0.0321, DisplayUnits(), "32.1 nC"),
        ("axial reaction end_low", -0.5, DisplayUnits(), "\N{MINUS SIGN}0.5 N"),
        ("lumen volume", 0.0, DisplayUnits(), "0 mL"),
        ("axial reaction end_low", 2e-14, DisplayUnits(), "0 N"),
        ("strain energy", 1.2345e-7, DisplayUnits(), "0.0001235 µJ"),
    ],
)
def test_values_are_shown_in_case_or_default_units(name, value, units, expected):
    assert units.show(column_kind(name), value).replace(GAP, " ") == expected


@pytest.mark.parametrize(
    ("value", "expected"), [(1000.0, "1000"), (123456.0, "123456"), (0.1, "0.1"), (np.nan, "–"), (-0.0, "0")]
)
def test_digits(value, expected):
    assert digits(value) == expected


def description(tables):
    statements = description_of(case_from_tables(tables)).statements
    return {s.heading: [text.replace(GAP, " ") for text in s.sentences] for s in statements}


TABLES = {
    "title": "Tube",
    "shape": {
        "kind": "tube",
        "inner_radius": "4 mm",
        "length": "12 mm",
        "layers": [{"name": "liner", "thickness": "45 um"}, {"name": "skin", "thickness": "1 mm"}],
    },
    "mesh": {"along": "1 mm", "through": 1},
    "materials": {"silicone": {"law": "gent", "shear_modulus": "0.3 MPa", "stretch_limit": 60}},
    "parts": [
        {"region": "liner", "material": "silicone"},
        {
            "region": "skin",
            "material": "silicone",
            "sheets": {"count": 4},
            "natural_stretch": {"hoop": 0.8},
        },
    ],
    "supports": [{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "axial"}],
    "stages": [{"name": "settle"}, {"name": "inflate", "pressure": "120 mmHg"}],
    "requirements": [{"quantity": "mean radial expansion", "at_least": "12 %"}],
}


def test_the_description_of_a_case():
    statements = description(TABLES)
    assert statements["Shape"] == [
        "Tube: inner radius 4 mm, length 12 mm, ends open.",
        "Layers from the inside: liner 45 µm, skin 1000 µm.",
    ]
    assert statements["Parts"] == [
        "liner: silicone (Gent, shear modulus 0.3 MPa, stretch limit 60); 1 sheet of 45 µm.",
        "skin: silicone (Gent, shear modulus 0.3 MPa, stretch limit 60); 4 sheets of 250 µm; "
        "natural stretch: hoop 0.8; pre-stretch: hoop 1.25, axial 1; "
        "each sheet as cast 312.5 µm, mounted 250 µm; "
        "inner radius as cast 3.011 mm, mounted 4.045 mm; length as cast 12 mm, mounted 12 mm.",
    ]
    assert statements["Not judged"] == [
        "Tearing is not judged: material 'silicone' gives neither tearing_stretch nor tensile_strength.",
        ROUND,
    ]
    assert statements["Supports"][0] == "end_low: clamped."
    assert statements["Stages"] == ["settle: no change of loads.", "inflate: pressure 120 mmHg."]
    assert statements["Requirements"] == ["mean radial expansion: at least 12 %."]
    assert statements["Model"] == ["A cut through the wall (axisymmetric); elements: along 1 mm, through 1."]


ROUND = (
    "An axisymmetric model finds where a part bends sideways, goes oval or folds, but not its shape after "
    "that."
)


def test_limits_that_are_not_judged_are_named():
    tables = copy.deepcopy(plain_tube.TABLES)
    rubber = tables["materials"]["rubber"]
    del rubber["breakdown_field"]
    tables["requirements"] = []
    assert description(tables)["Not judged"] == [
        "Breakdown is not judged: material 'rubber' gives no breakdown_field.",
        "Tearing is not judged: material 'rubber' gives neither tearing_stretch nor tensile_strength.",
        ROUND,
    ]
    rubber |= {"breakdown_field": "80 V/um", "tensile_strength": "8 MPa", "tensile_strength_is": "nominal"}
    assert description(tables)["Not judged"] == [ROUND]
    tables["path"] = {"seek_limit": 1, "harmonics": "none"}
    assert description(tables)["Not judged"] == [
        "An axisymmetric model stays round and straight, so that bending as a column, lobes and folds around "
        "the axis are not judged: set path.harmonics.",
        "Limits above the requested loads are not searched: set path.seek_limit.",
    ]
    (part,) = description(tables)["Parts"]
    assert "tensile strength 8 MPa, tensile strength is nominal" in part
    tables["path"] = {"seek_limit": 2}
    tables["fluid"] = {"viscosity": "10 Pa s", "gap": "0.1 mm"}
    tables["stages"] = [{"name": "flow", "control": "flow", "duration": "1 s"}]
    assert description(tables)["Not judged"] == [
        "An axisymmetric model stays round and straight, so that bending as a column, lobes and folds around "
        "the axis are not judged."
    ]


def test_descriptions_of_more_kinds_of_cases():
    statements = description(
        TABLES
        | {
            "shape": {
                "kind": "balloon",
                "meridian": {"kind": "sphere", "radius": "12 mm"},
                "layers": [{"name": "skin", "thickness": "1 mm"}],
            },
            "parts": [{"region": "skin", "material": "silicone"}],
            "materials": {"silicone": TABLES["materials"]["silicone"] | {"permittivity": 2.8}},
            "electrodes": [{"name": "ring", "region": "skin", "from": "3 mm", "to": "9 mm"}],
            "supports": [{"region": "outer", "hold": "rigid motion"}],
            "foundations": [{"region": "outer", "stiffness": "2 kPa/mm"}],
            "surroundings": {"fluid_density": "1.06 g/cm3"},
            "contacts": [
                {
                    "name": "crimper",
                    "surface": "outer",
                    "kind": "cylinder",
                    "radius": "20 mm",
                    "part_is": "inside",
                }
            ],
            "stages": [
                {"name": "on", "voltage": {"ring": "3.2 kV"}, "volume": "40 mL", "steps": 4},
                {"name": "back", "arc": "5 mm", "backward": True, "pressure": "1 kPa"},
            ],
        }
    )
    assert statements["Shape"][0] == "Balloon, sphere: radius 12 mm."
    assert statements["Electrodes"] == ["ring: skin, 3 mm to 9 mm along the axis."]
    assert statements["Foundations"] == ["outer: stiffness 2 kPa/mm, direction normal."]
    assert statements["Surroundings"] == ["Fluid density 1.06 g/cm³."]
    assert statements["Obstacles"] == [
        "crimper: cylinder against outer, tolerance 0.002 mm, radius 20 mm, part is inside."
    ]
    assert statements["Stages"] == [
        "on: voltage ring 3.2 kV, volume 40 mL.",
        "back: pressure 1 kPa, arc 5 mm, backward.",
    ]


def test_the_description_has_the_obstacles_and_the_plane_of_symmetry():
    mandrel = description_of(read_case(find_case("mandrel")))
    assert mandrel.obstacles == (Contact("mandrel", "lumen", kind="cylinder", position=4.0),)
    assert mandrel.symmetry_plane == ""
    half = description_of(read_case(find_case("balloon_past_maximum")))
    assert half.symmetry_plane == "end_low"
    for description in (mandrel, half):
        assert CaseDescription.from_mapping(json.loads(json.dumps(description.to_mapping()))) == description


def test_the_description_of_lattice_and_making():
    lattice = {
        "cell": {"kind": "re-entrant", "vertical": "2.4 mm", "inclined": "1.4 mm", "width": "0.22 mm"},
        "height": "0.3 mm",
        "printing": {"nozzle": "0.2 mm"},
    }
    tables = TABLES | {
        "lattice": lattice,
        "making": {"volume": "2 mL"},
        "mesh": {"along": "1 mm", "model": "sector", "sector": "45 deg", "on_struts": "0.3 mm"},
        "parts": [*TABLES["parts"], {"region": "lattice", "material": "silicone"}],
    }
    statements = description(tables)
    assert statements["Lattice"] == [
        "Cells: re-entrant, vertical 2.4 mm, inclined 1.4 mm, angle 30°, width 0.22 mm.",
        "Placed: height 0.3 mm, side outside, ring 0 mm, smallest 0.3.",
    ]
    assert "is inflated (volume 2 mL)" in statements["Making"][0]
    assert "sector 45°, on struts 0.3 mm" in statements["Model"][0]
    plain = description(TABLES | {"mesh": {"along": "1 mm", "model": "solid", "around": 32}})
    assert plain["Model"] == ["The whole part in 3-D; elements: along 1 mm, through 2, around 32."]
    assert "Lattice" not in plain


def path(voltage, charge, energy):
    columns = {
        "voltage ring": np.array([0.0, voltage]),
        "charge": np.array([0.0, charge]),
        "stored electrical energy": np.array([0.0, energy]),
    }
    return PathRecord(("a", "a"), columns, {}, ("voltage ring",), ("charge", "stored electrical energy"))


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
def test_stored_charge_is_compared_with_its_limit(voltage, charge, energy, within, text):
    comparison = stored_charge(path(voltage, charge, energy))
    assert comparison.within is within
    assert text in comparison.text
    assert DisplayUnits().show("charge", charge) in comparison.text


def test_without_voltage_there_is_no_stored_charge():
    assert stored_charge(path(0.0, 0.0, 0.0)) is None


def test_every_limit_states_whether_the_source_was_read():
    assert [limit.status for limit in LIMITS].count(SECOND_HAND) == 4
    assert all(limit.status for limit in LIMITS)
