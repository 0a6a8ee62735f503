# SPDX-License-Identifier: MIT
import math
from dataclasses import replace

import pytest

from annelid.cases.convert.body import body_of, meshed_part_of
from annelid.cases.convert.cost import cost_of
from annelid.cases.convert.making import bare_stroke_of
from annelid.cases.convert.model import material_of, model_of
from annelid.cases.convert.path import stages_of
from annelid.cases.run import memory
from annelid.cases.run.check import check_case
from annelid.cases.schema.material import (
    FungTable,
    GentTable,
    MaterialConstants,
    MaterialTable,
    NeoHookeanTable,
)
from annelid.cases.validate.reading import case_from_tables, library_cases, read_case
from annelid.cases.validate.reported import margins_of, reported
from annelid.cases.validate.verdicts import verdicts
from annelid.geometry.errors import InputError
from annelid.solver.records import Margin, Measure


@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=[pytest.mark.long] * (n == "scanned_tube")) for n in library_cases()],
)
def test_quantities_before_a_run_are_those_of_the_solver(name):
    from annelid.solver.model.quantities import names_for

    case = read_case(library_cases()[name])
    model = replace(model_of(case, *meshed_part_of(case)), bare_stroke=bare_stroke_of(case))
    assert reported(case) == names_for(model.scope)


def test_schema_has_every_law_with_its_parameters():
    from typing import get_args

    from annelid.solver.model.material import LAWS

    tables = get_args(get_args(MaterialTable)[0])
    common = set(MaterialConstants.model_fields)
    written = {
        get_args(table.model_fields["law"].annotation)[0]: set(table.model_fields) - common - {"law"}
        for table in tables
    }
    assert written == {law: set(entry.parameters) for law, entry in LAWS.items()}
    assert {NeoHookeanTable, GentTable, FungTable} < set(tables)


def test_a_case_is_converted_into_the_records_of_the_solver(tables):
    tables["materials"]["rubber"] |= {
        "bulk_modulus": "50 MPa",
        "breakdown_thickness_exponent": -0.25,
        "breakdown_reference_thickness": "100 um",
    }
    tables["parts"][0] |= {
        "natural_stretch": {"hoop": 0.9},
        "electrode_film": {"volume_fraction": "5 %", "shear_modulus": "1 MPa"},
        "fibres": {"angle": "30 deg", "stiffness": "20 kPa"},
    }
    tables["stages"][0] |= {"force": {"outer": "10 mN"}, "move": {"end_low": "1 mm"}}
    case = case_from_tables(tables)
    material = material_of(case, "rubber")
    assert (material.law, material.parameters) == ("neo-hookean", {"shear_modulus": 0.1})
    assert (material.bulk_modulus, material.permittivity) == (50.0, 2.8)
    assert material.breakdown is not None
    assert material.breakdown.field == 80.0
    assert material.breakdown.thickness_exponent == -0.25
    assert material.breakdown.reference_thickness == 0.1
    model = model_of(case, *meshed_part_of(case))
    part = model.parts[0]
    assert part.sheets is not None
    assert (part.sheets.count, part.sheets.thickness) == (4, pytest.approx(0.05))
    assert (part.natural_stretch.hoop, part.natural_stretch.axial) == (0.9, 1.0)
    assert part.electrode_film is not None
    assert part.electrode_film.volume_fraction == 0.05
    assert part.fibres is not None
    assert (part.fibres.angle, part.fibres.stiffness, part.fibres.families) == (30.0, 0.02, 2)
    first, second = stages_of(case)
    assert first.pressure == pytest.approx(1.33322e-3, rel=1e-5)
    assert (first.forces, first.displacements) == ({"outer": 0.01}, {"end_low": 1.0})
    assert second.voltages == {"low": 1.0, "high": 1.0}
    assert second.pressure is None


@pytest.mark.parametrize("model", ["axisymmetric", "sector"])
@pytest.mark.parametrize("electrics", ["layered", "solved"])
def test_counted_unknowns_are_those_of_the_solver(tables, model, electrics):
    from annelid.solver.energy.problem import Problem
    from annelid.solver.energy.spaces import describe_unknowns

    tables["mesh"] = {"along": "4 mm", "through": 1, "model": model, "around": 8}
    tables["electrics"] = {"model": electrics}
    tables["parts"][0]["sheets"] = {"count": 1}
    case = case_from_tables(tables)
    body = body_of(case)
    assert cost_of(case, body).unknowns == describe_unknowns(Problem(model_of(case, body)).spaces)


def test_a_case_that_does_not_fit_into_memory_is_refused(tables, monkeypatch):
    cost = check_case(case_from_tables(tables)).cost
    assert 200 < cost.memory < 300
    monkeypatch.setattr(memory, "_limit", lambda: 100.0)
    with pytest.raises(InputError, match=r"unknowns need 240 MB of memory, and this machine has 0\.1 GB"):
        check_case(case_from_tables(tables))


def evaluate(tables, requirement, *, last, ends):
    tables["requirements"] = [requirement]
    quantities = {name: {requirement["quantity"]: Measure(value, "1")} for name, value in ends.items()}
    return verdicts(case_from_tables(tables), {requirement["quantity"]: Measure(last, "1")}, quantities)


def test_a_limit_that_is_just_reached_is_met(tables):
    requirement = {"quantity": "breakdown margin", "at_least": 1.5, "at_most": 2}
    floor, ceiling = evaluate(tables, requirement, last=1.5, ends={})
    assert (floor.met, floor.limit, floor.condition, floor.where) == (
        True,
        1.5,
        "at least",
        "at the last state",
    )
    assert ceiling.met
    floor, ceiling = evaluate(tables, requirement, last=2.0001, ends={})
    assert floor.met
    assert not ceiling.met


def test_stage_requirement_is_evaluated_at_the_stage_end(tables):
    requirement = {"quantity": "mean radial expansion", "at_least": "5 %", "stage": "fill"}
    (verdict,) = evaluate(tables, requirement, last=0.0, ends={"fill": 0.06})
    assert (verdict.met, verdict.value, verdict.where) == (True, 0.06, "at the end of stage 'fill'")
    (verdict,) = evaluate(tables, requirement, last=0.06, ends={})
    assert not verdict.met
    assert math.isnan(verdict.value)
    assert verdict.where == "stage 'fill' was not completed"


def test_requested_loads_must_be_reached(tables):
    """A requirement without a stage holds at the requested loads, another one at the end of its stage."""
    tables["requirements"] = [
        {"quantity": "mean radial expansion", "at_least": "5 %"},
        {"quantity": "mean radial expansion", "at_least": "5 %", "stage": "fill"},
    ]
    state = {"mean radial expansion": Measure(0.06, "1")}
    last, fill = verdicts(case_from_tables(tables), state, {"fill": state}, reached=False)
    assert (last.met, last.value) == (False, 0.06)
    assert last.where == "at the last state; the requested loads were not reached"
    assert fill.met


@pytest.mark.parametrize("quantity", ["breakdown margin", "largest true field", "charge", "charge low"])
def test_without_a_voltage_nothing_is_met(tables, quantity):
    limit = {"breakdown margin": {"at_least": 1.5}, "largest true field": {"at_most": "50 V/um"}}
    tables["requirements"] = [{"quantity": quantity, **limit.get(quantity, {"at_most": "1 uC"})}]
    none = {quantity: Measure(math.inf, "1"), "largest true field": Measure(0.0, "kV/mm")}
    (verdict,) = verdicts(case_from_tables(tables), none, {})
    assert (verdict.met, verdict.where) == (False, "no voltage at the last state")
    assert math.isnan(verdict.value)


AHEAD = "limit point ahead of the working point"


def margin_verdicts(tables, margin, **limits):
    tables["path"] = {"seek_limit": 3}
    tables["requirements"] = [{"quantity": margin.quantity, **limits}]
    return verdicts(case_from_tables(tables), {}, {}, [margin])


def test_lower_bound_of_a_margin_meets_no_upper_limit(tables):
    margin = Margin("voltage", 1.4, kind="limit point", text="voltage: limit point at 1.4 times")
    floor, ceiling = margin_verdicts(tables, margin, at_least=1.3, at_most=1.5)
    assert (floor.met, floor.value, floor.is_bound, floor.where) == (True, 1.4, False, AHEAD)
    assert ceiling.met
    (short,) = margin_verdicts(tables, Margin("voltage", 0.9, kind="limit point"), at_least=1.3)
    assert (short.met, short.where) == (False, "limit point short of the requested load")
    floor, ceiling = margin_verdicts(tables, Margin("voltage", 3.0, is_bound=True), at_least=2.5, at_most=4)
    assert (floor.met, floor.is_bound) == (True, True)
    assert not ceiling.met
    floor, ceiling = margin_verdicts(tables, Margin("pressure", math.nan), at_least=0.1, at_most=9)
    assert not floor.met
    assert not ceiling.met


def leak_tables(tables, **limits):
    contact = {"name": "rod", "surface": "lumen", "kind": "cylinder", "radius": "1 mm"}
    return tables | {"contacts": [contact], "requirements": [{"quantity": "leak pressure", **limits}]}


def test_pressure_up_to_which_a_lumen_is_shut_is_a_bound_of_its_leak_pressure(tables):
    case = case_from_tables(leak_tables(tables, at_least="5 kPa", at_most="9 kPa"))

    def judge(leak, gap):
        state = {"leak pressure": leak, "lumen pressure": 6e-3, "leak gap": gap}
        return verdicts(case, {name: Measure(x, "MPa") for name, x in state.items()}, {})

    floor, ceiling = judge(6e-3, 0.0)
    assert (floor.met, ceiling.met, floor.is_bound, floor.value) == (True, True, False, 6e-3)
    floor, ceiling = judge(math.nan, -1e-4)
    assert (floor.met, ceiling.met, floor.is_bound, floor.value) == (True, False, True, 6e-3)
    assert floor.where == "at the last state, where the lumen is still shut"
    floor, ceiling = judge(math.nan, 0.3)
    assert (floor.met, ceiling.met, floor.is_bound) == (False, False, False)
    assert floor.where == "at the last state: the lumen was not shut before"


def test_leak_pressure_needs_a_contact_on_a_lumen_open_at_both_ends(tables):
    with pytest.raises(InputError, match="'leak pressure' is not reported: it needs a lumen that is open"):
        case_from_tables(leak_tables(tables, at_least="5 kPa") | {"contacts": []})


def test_margins_exist_for_the_loads_a_case_changes(tables):
    names = [f"stability margin {load}" for load in ("pressure", "voltage", "all loads")]
    assert list(margins_of(case_from_tables(tables))) == names
    tables["stages"] = [{"name": "fill", "pressure": "10 mmHg"}]
    assert list(margins_of(case_from_tables(tables))) == names[:1]


PATH_QUANTITIES = ["stable states at zero load", "opening pressure", "closing pressure", "opening barrier"]


def snapping(tables, **requirement):
    tables["path"] = {"beyond_instability": "jump"}
    tables["requirements"] = [requirement]
    return case_from_tables(tables)


@pytest.mark.parametrize("name", PATH_QUANTITIES)
def test_quantities_of_the_path_may_be_required(tables, name):
    unit = {"pressure": "kPa", "barrier": "mJ"}.get(name.split()[-1])
    case = snapping(tables, quantity=name, at_least=1 if unit is None else f"1 {unit}")
    internal = {"kPa": 1e-3}.get(unit, 1.0)
    for value, met in ((2.0 * internal, True), (0.5 * internal, False), (math.nan, False)):
        (verdict,) = verdicts(case, {}, {}, whole={name: Measure(value, "")})
        assert verdict.met is met
        assert verdict.where == ("not on this path" if math.isnan(value) else "on the whole path")
    assert not verdicts(case, {}, {})[0].met


@pytest.mark.parametrize(
    ("stroke", "name", "where"),
    [
        (math.nan, "wave speed", "no whole cycle on this path"),
        (1.0, "difference of cycles", "no two whole cycles on this path"),
        (1.0, "wave speed", "not on this path"),
    ],
)
def test_a_missing_cycle_value_is_explained(tables, stroke, name, where):
    wave = {"form": "sine", "load": "pressure", "amplitude": "1 kPa", "period": "1 s", "cycles": 2}
    tables["stages"] = [{"name": "beat", "waves": [wave]}]
    limit = {"wave speed": "1 mm/s"}.get(name, 0.1)
    tables["requirements"] = [{"quantity": name, "at_most": limit}]
    whole = {"stroke volume": Measure(stroke, "mm3"), name: Measure(math.nan, "")}
    (verdict,) = verdicts(case_from_tables(tables), {}, {}, whole=whole)
    assert (verdict.where, verdict.met) == (where, False)


def test_quantities_of_the_path_need_a_path_beyond_the_snap(tables):
    tables["requirements"] = [{"quantity": "opening pressure", "at_least": "1 kPa"}]
    with pytest.raises(InputError, match=r"needs a pressure.*path\.beyond_instability = \"jump\""):
        case_from_tables(tables)


def test_quantities_of_the_path_belong_to_no_stage(tables):
    stage = tables["stages"][0]["name"]
    with pytest.raises(InputError, match="belongs to the whole path: remove stage"):
        snapping(tables, quantity="stable states at zero load", at_least=2, stage=stage)
    tables["stages"][0]["until"] = [{"quantity": "opening pressure", "at_least": "1 kPa"}]
    with pytest.raises(InputError, match="no stage can end at a limit of it"):
        snapping(tables, quantity="stable states at zero load", at_least=2)
