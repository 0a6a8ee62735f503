# SPDX-License-Identifier: MIT
"""Unusual values are remarked by name, in the check, the run and its description, and change nothing."""

import math
import tomllib

import pytest
import tomli_w

from annelid.cases.cli.main import main
from annelid.cases.convert.description import description_of
from annelid.cases.convert.plausibility import remarks_on
from annelid.cases.convert.shape import shape_of
from annelid.cases.validate.reading import case_from_tables, library_cases
from annelid.geometry.errors import InputError
from annelid.geometry.meshing.quality import Quality, RegionQuality

BENDING = math.sqrt(4 * 0.2)  # of the small case, mm


@pytest.fixture
def usual(tables):
    """A case without remarks: 20 V/um in sheets of 50 um, elements of a quarter of sqrt(R t)."""
    tables["mesh"]["along"] = f"{BENDING / 4} mm"
    return tables


def remarks(tables):
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in remarks_on(case_from_tables(tables))]


def test_nothing_is_remarked_on_a_usual_case(usual):
    assert remarks(usual) == []
    assert "Remarks" not in [s.heading for s in description_of(case_from_tables(usual)).statements]


def test_a_field_above_the_strength_at_the_drawn_thickness(usual):
    usual["stages"][1]["voltage"] = {"low": "3.9 kV", "high": "4.1 kV"}
    usual["stages"].append({"name": "off", "voltage": "0 V"})
    (remark,) = remarks(usual)
    assert remark.startswith("electrodes[high]: 4.1 kV across a drawn sheet of 50 µm is 82 V/µm, above its")
    assert "strength of 80 V/µm" in remark


def test_the_strength_is_that_of_the_stretched_sheet(usual):
    """80 V/um (1.2)^(1/2) at a pre-stretch of 1.2, whose in-plane stretch is its root: 87.6 V/um."""
    usual["stages"][1]["voltage"] = "4.2 kV"
    assert len(remarks(usual)) == 2
    usual["parts"][0]["prestretch"] = {"hoop": 1.2}
    usual["materials"]["rubber"]["breakdown_stretch_exponent"] = 1
    assert remarks(usual) == []
    usual["stages"][1]["voltage"] = "4.4 kV"
    assert len(remarks(usual)) == 2


def test_few_elements_across_a_helix(usual):
    usual["mesh"] |= {"model": "solid", "around": 20}
    usual["electrodes"][0]["helix"] = {"pitch": "6 mm", "width": "1 mm"}
    (remark,) = remarks(usual)
    assert remark.startswith("mesh: 4.5 elements along the axis and 3.3 around lie across helix low,")
    assert "by up to 30 %" in remark
    usual["mesh"]["around"] = 24
    assert remarks(usual) == []


@pytest.mark.parametrize(
    ("key", "value", "remark"),
    [
        ("breakdown_field", "9.9 V/um", "materials.rubber.breakdown_field: 9.9 V/µm is outside the usual 10"),
        ("breakdown_field", "501 V/um", "materials.rubber.breakdown_field: 501 V/µm is outside the usual 10"),
        ("tearing_stretch", 1.05, "materials.rubber.tearing_stretch: 1.05 is outside the usual 1.1 to 15"),
        ("tensile_strength", "101 MPa", "materials.rubber.tensile_strength: 101 MPa is outside the"),
        ("shear_modulus", "0.9 kPa", "materials.rubber: the initial shear modulus of 0.9 kPa is outside"),
        ("shear_modulus", "101 MPa", "materials.rubber: the initial shear modulus of 101 MPa is outside"),
    ],
)
def test_unusual_materials(usual, key, value, remark):
    usual["materials"]["rubber"][key] = value
    if key == "tensile_strength":
        usual["materials"]["rubber"]["tensile_strength_is"] = "nominal"
    usual["stages"][1]["voltage"] = "400 V"
    (found,) = remarks(usual)
    assert found.startswith(remark)


def test_walls_that_cannot_be_made(usual):
    usual["shape"]["layers"][0]["thickness"] = "1 nm"
    del usual["materials"]["rubber"]["breakdown_field"]
    usual["parts"][0]["sheets"] = {"count": 1_000_000}
    thin, many, *_ = remarks(usual)
    assert thin.startswith("parts[wall].sheets.thickness: ")
    assert "is thinner than 1000 nm, which can hardly be made" in thin
    assert many.startswith("parts[wall].sheets.count: 1000000 sheets are more than 1000")


def test_elements_longer_than_an_electrode_or_than_the_bending_length(usual):
    usual["mesh"]["along"] = f"{BENDING / 2} mm"
    (coarse,) = remarks(usual)
    assert coarse.startswith(
        "mesh.along: elements of 0.4472 mm are longer than 0.2981 mm, a third of sqrt(R t)"
    )
    usual["electrodes"][0]["to"] = "2.4 mm"
    narrow, _ = remarks(usual)
    assert narrow.endswith("are longer than 0.4 mm, the width of electrode low")


def test_the_bending_length_of_curved_walls(usual):
    """A sphere has one radius everywhere, also at its poles, where the distance from the axis vanishes."""
    usual["shape"] |= {"kind": "balloon", "meridian": {"kind": "sphere", "radius": "9 mm"}}
    usual["shape"] = {k: usual["shape"][k] for k in ("kind", "meridian", "layers")}
    for key in ("electrodes", "sections", "requirements"):
        usual[key] = []
    usual["stages"] = usual["stages"][:1]
    usual["supports"] = [{"region": "outer", "hold": "rigid motion"}]
    assert shape_of(case_from_tables(usual)).bending_length == pytest.approx(math.sqrt(9 * 0.2), rel=1e-9)


def test_films_that_go_slack_on_a_softer_part():
    """A strain of (3 μ_s/μ_f)^(2/3)/4, 8 kPa below 100 kPa: Allen, Sandwich Panels, 1969 (from memory)."""
    film = tomllib.loads(library_cases()["cuff"].read_text())
    film["mesh"]["along"] = "0.2 mm"
    assert remarks(film) == []
    film["parts"][0]["compression"] = "none"
    (remark,) = remarks(film)
    assert remark.startswith("parts[wall].compression: a film that is bonded to another part")
    assert "the material of core up to a strain of about 9.7 %" in remark


def test_distorted_cells(usual):
    poor, good = RegionQuality(1, 0.19, 1.0), RegionQuality(1, 0.2, 1.0)
    case = case_from_tables(usual)
    (remark,) = remarks_on(case, Quality(poor, 9, {}, "wall", (4.0, 1.0), 0))
    assert remark.startswith("mesh: the least scaled Jacobian is 0.19 in region wall, below 0.2")
    assert remarks_on(case, Quality(good, 9, {}, "wall", (4.0, 1.0), 0)) == []


def test_the_check_and_the_run_say_it(usual, tmp_path, capsys, monkeypatch):
    usual["materials"]["rubber"]["shear_modulus"] = "1 GPa"
    usual["mesh"]["along"] = "0.25 mm"
    usual["stages"] = [{"name": "fill", "pressure": "10 mmHg", "steps": 1}]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "case.toml").write_text(tomli_w.dumps(usual))
    assert main(["check", "case.toml"]) == 0
    assert "# remark: materials.rubber: the initial shear modulus of" in capsys.readouterr().out
    assert main(["run", "case.toml", "run", "--no-report"]) == 0
    assert "remark: materials.rubber: the initial shear modulus of" in capsys.readouterr().err
    assert "materials.rubber: the initial shear modulus of" in (tmp_path / "run/description.json").read_text()


@pytest.mark.parametrize("kind", ["cylinder", "cone", "sphere"])
def test_negative_radii_of_obstacles_are_refused(usual, kind):
    extra = {"cone": {"angle": "10 deg"}, "sphere": {"height": "1 mm"}}.get(kind, {})
    usual["contacts"] = [{"name": "bar", "surface": "lumen", "kind": kind, "radius": "1 mm"} | extra]
    usual["stages"].append({"name": "press", "obstacle": {"bar": "-1 mm"}})
    message = r"stages\[press\]\.obstacle\.bar: must be at least 0 mm \(a radius\), got -1 mm"
    with pytest.raises(InputError, match=message):
        case_from_tables(usual)
    usual["contacts"][0]["radius"], usual["stages"] = "-1 mm", usual["stages"][:2]
    with pytest.raises(InputError, match=r"contacts\[bar\]\.radius: must be at least 0 mm, got -1 mm"):
        case_from_tables(usual)


def test_planes_may_have_negative_positions(usual):
    usual["contacts"] = [{"name": "floor", "surface": "outer", "kind": "plane", "height": "-3 mm"}]
    usual["stages"].append({"name": "press", "obstacle": {"floor": "-1 mm"}})
    assert case_from_tables(usual).stages[-1].obstacle == {"floor": -1.0}
