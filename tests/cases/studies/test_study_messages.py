# SPDX-License-Identifier: MIT
"""Messages for study files that are not valid: each error is reported once."""

import pytest

from annelid.cases.studies.reading import study_from_text
from annelid.geometry.errors import InputError

HEAD = 'title = "x"\ncase = "cuff"\n'
VARY = '[[vary]]\nkey = "stages.energise.voltage"\n'


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("vary = []", "vary: needs at least 1 entry, got 0"),
        (f"{VARY}values = []", "vary[#1].values: needs at least 1 entry, got 0"),
        (
            f'{VARY}from = "1 kV"\nto = "2 kV"\ncount = 200001',
            "vary[#1].count: must be at most 200000, got 200001",
        ),
        (
            f'{VARY}name = "a-b"\nvalues = ["1 kV"]',
            "vary[a-b].name: 'a-b' is not a name: use letters, digits and _, starting with a letter",
        ),
    ],
)
def test_an_invalid_value_is_reported_once(text, problem):
    with pytest.raises(InputError, match="1 error") as caught:
        study_from_text(HEAD + text, source="x.toml")
    assert caught.value.data["problems"] == [problem]


def aim_of(quantity):
    text = f'{HEAD}{VARY}values = ["1 kV"]\n[[objectives]]\nquantity = "{quantity}"'
    return study_from_text(text, source="x.toml").objectives[0].aim


def test_objectives_aim_at_better_values():
    assert aim_of("breakdown margin") == aim_of("tearing margin") == "maximise"
    assert aim_of("peak stress") == "minimise"
    with pytest.raises(InputError) as caught:
        aim_of("lumen volume")
    assert caught.value.data["problems"] == ["objectives[lumen volume].aim: missing"]
