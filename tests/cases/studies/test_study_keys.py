# SPDX-License-Identifier: MIT
import pytest

from annelid.cases.studies.keys import last_part, set_keys
from annelid.geometry.errors import InputError


def test_keys_are_found_by_names_of_entries(tables):
    changed = set_keys(
        tables,
        {
            "shape.inner_radius": "5 mm",
            "shape.layers.wall.thickness": "250 um",
            "parts.wall.sheets.count": 5,
            "parts.#1.natural_stretch.hoop": 0.9,
            "stages.energise.voltage.low": "2 kV",
            'stages."fill".steps': 7,
            "requirements.radial expansion middle.at_least": "2 %",
        },
    )
    assert changed["shape"]["inner_radius"] == "5 mm"
    assert changed["shape"]["layers"][0]["thickness"] == "250 um"
    assert changed["parts"][0]["sheets"]["count"] == 5
    assert changed["parts"][0]["natural_stretch"] == {"hoop": 0.9}
    assert changed["stages"][1]["voltage"]["low"] == "2 kV"
    assert changed["stages"][0]["steps"] == 7
    assert changed["requirements"][0]["at_least"] == "2 %"
    assert tables["shape"]["inner_radius"] == "4 mm"
    assert "natural_stretch" not in tables["parts"][0]


def test_a_voltage_of_all_electrodes_can_be_set_for_one(tables):
    tables["stages"][1]["voltage"] = "1 kV"
    assert set_keys(tables, {"stages.energise.voltage.low": "2 kV"})["stages"][1]["voltage"] == {
        "all": "1 kV",
        "low": "2 kV",
    }


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("shape.layers.wal.thickness", "did you mean 'wall'"),
        ("shape.layers.#2.thickness", "wall"),
        ("shape.inner_radius.more", "not a table"),
        ("parts.wall", "is a table"),
        ("shape", "is a table"),
        ("", "not a path"),
        ("shape..x", "not a path"),
        (".shape", "not a path"),
        ('shape."x', "not a path"),
    ],
)
def test_a_path_that_does_not_exist_is_named(tables, path, message):
    with pytest.raises(InputError, match=message):
        set_keys(tables, {path: 1})


def test_the_last_part_becomes_a_name():
    assert last_part('stages."first fill"') == "first_fill"
    assert last_part("parts.wall.natural_stretch.hoop") == "hoop"
