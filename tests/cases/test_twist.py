# SPDX-License-Identifier: MIT
"""Torques, rotations and wound fibres in case files."""

import copy
import re

import pytest
from plain_tube import BARE

from annelid.cases.convert.body import meshed_part_of
from annelid.cases.convert.cost import cost_of
from annelid.cases.convert.description import description_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import loads_with_margin, stages_of
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.reported import reported
from annelid.geometry.errors import InputError
from annelid.solver.model.quantities import names_for

WOUND = {"angle": "35 deg", "stiffness": "20 kPa", "families": 1}


@pytest.fixture
def bare():
    return copy.deepcopy(BARE)


def test_torques_and_rotations_are_read_in_their_units(bare):
    bare["stages"] = [{"torque": {"end_high": "0.2 N cm"}}, {"twist": {"end_low": "0.5 turn"}}]
    case = case_from_tables(bare)
    first, second = stages_of(case)
    assert (first.torques, second.twists) == ({"end_high": 2.0}, {"end_low": 180.0})
    body, pressure = meshed_part_of(case)
    model = model_of(case, body, pressure)
    assert model.solved_twist
    assert {"twist end_high", "reaction torque end_low"} <= set(reported(case))
    assert reported(case) == names_for(model.scope)
    assert loads_with_margin(case) == ["torque", "twist"]
    assert cost_of(case, body).unknowns["displacement"] == 3 * len(body.points)


def test_a_support_against_rotation_is_described(bare):
    bare["supports"][1]["hold"] = "axial twist"
    supports = next(s for s in description_of(case_from_tables(bare)).statements if s.heading == "Supports")
    assert any("against rotation" in sentence for sentence in supports.sentences)


@pytest.mark.parametrize(
    ("hold", "words"),
    [
        ("axial", "fixed along the axis, free to change its radius and to turn."),
        ("radial", "keeps its radius, free along the axis, fixed against rotation."),
        ("plate", "on a stiff plate that can move along the axis and turn."),
    ],
)
def test_supports_of_a_part_that_twists_say_whether_they_turn(bare, hold, words):
    def sentence(**load):
        bare["stages"] = [load]
        statements = description_of(case_from_tables(bare)).statements
        return next(s for s in statements if s.heading == "Supports").sentences[1]

    bare["supports"][1]["hold"] = hold
    assert sentence(twist={"end_low": "5 deg"}) == f"end_high: {words}"
    assert not re.search("turn|rotation", sentence(surface_pressure={"outer": "1 kPa"}))


@pytest.mark.parametrize("families", [1, 2])
def test_wound_fibres_need_the_rotation(bare, families):
    bare["parts"][0]["fibres"] = WOUND | {"families": families}
    case = case_from_tables(bare)
    body, _ = meshed_part_of(case)
    assert cost_of(case, body).unknowns["displacement"] == (4 - families) * len(body.points)


@pytest.mark.parametrize(
    ("stage", "text"),
    [
        ({"torque": {"end_low": "1 N mm"}}, "takes the torque, so nothing would turn"),
        ({"torque": {"end_high": "1 N"}}, "write a torque"),
        ({"torque": {"end_high": "nan N mm"}}, "is not a number with a unit"),
        ({"torque": {"outer": "1 N mm"}}, "is not an end surface"),
        ({"twist": {"end_high": "10 deg"}}, "holds the rotation about the axis"),
        ({"twist": {"end_low": "1 mm"}}, "write an angle"),
    ],
)
def test_wrong_torques_and_rotations_are_refused(bare, stage, text):
    bare["stages"] = [stage]
    with pytest.raises(InputError, match=text):
        case_from_tables(bare)


def test_a_sector_with_torque_and_wound_fibres_is_refused_for_both(bare):
    bare["mesh"] |= {"model": "sector", "sector": "90 deg"}
    bare["parts"][0]["fibres"] = WOUND
    bare["stages"] = [{"torque": {"end_high": "1 N mm"}}]
    with pytest.raises(InputError, match=r"planes of symmetry(.|\n)*one family twists the part"):
        case_from_tables(bare)
