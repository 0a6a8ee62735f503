# SPDX-License-Identifier: MIT
import tomllib

import pytest

from annelid.cases.convert.lattice import region_names
from annelid.cases.convert.shape import mesh_size_of, shape_of
from annelid.cases.validate.reading import case_from_tables, library_cases, read_case
from annelid.cases.validate.resolved import case_hash, coarsened, to_toml
from annelid.geometry.inventory import inventory_of
from annelid.geometry.meshing.layout import lay_out


def test_defaults_are_filled_in(tables):
    tables["electrodes"][0].pop("from")
    tables["electrodes"] = tables["electrodes"][:1]
    tables["stages"][1].pop("name")
    case = case_from_tables(tables)
    assert (case.electrodes[0].start, case.electrodes[0].end) == (0.0, 8.0)
    assert case.parts[0].sheets is not None
    assert case.parts[0].sheets.thickness == pytest.approx(0.05)
    assert case.stages[1].name == "stage 2"
    assert case.stages[1].voltage == {"low": 1.0}
    assert case.requirements[0].at_least == 0.01


def test_a_named_voltage_overrides_all(tables):
    tables["stages"][1]["voltage"] = {"all": "1 kV", "high": "500 V"}
    assert case_from_tables(tables).stages[1].voltage == {"low": 1.0, "high": 0.5}


def test_a_single_voltage_applies_to_all_electrodes(tables):
    tables["stages"][1]["voltage"] = "2 kV"
    assert case_from_tables(tables).stages[1].voltage == {"low": 2.0, "high": 2.0}


def test_a_volume_implies_volume_control(tables):
    tables["stages"][0] = {"volume": "1.2 mL"}
    stage = case_from_tables(tables).stages[0]
    assert (stage.volume, stage.control) == (1200.0, "volume")


@pytest.mark.parametrize("name", library_cases())
def test_the_resolved_text_is_read_as_the_same_case(name):
    case = read_case(library_cases()[name])
    reread = case_from_tables(tomllib.loads(to_toml(case)))
    assert reread == case
    assert case_hash(reread) == case_hash(case)


def test_hash_depends_on_numbers_but_not_on_notation(tables):
    first = case_hash(case_from_tables(tables))
    tables["shape"]["layers"][0]["thickness"] = "0.2 mm"
    tables["mesh"]["model"] = "axisymmetric"
    assert case_hash(case_from_tables(tables)) == first
    tables["shape"]["layers"][0]["thickness"] = "0.201 mm"
    assert case_hash(case_from_tables(tables)) != first


def test_a_contour_file_is_replaced_by_its_points(tables, tmp_path):
    rows = [(3, 0), (4, 2), (4, 6), (3, 8)]
    text = "radius_mm,height_mm\n" + "".join(f"{r},{z}\n" for r, z in rows)
    (tmp_path / "contour.csv").write_text(text)
    meridian = {"kind": "file", "path": "contour.csv", "smoothing": "0.1 mm"}
    tables["shape"] = {"kind": "balloon", "meridian": meridian, "layers": tables["shape"]["layers"]}
    tables["electrodes"], tables["sections"], tables["requirements"] = [], [], []
    tables["stages"] = tables["stages"][:1]
    case = case_from_tables(tables, folder=tmp_path)
    assert case.shape.kind == "balloon"
    assert case.shape.meridian.kind == "points"
    assert case.shape.meridian.radius == (3.0, 4.0, 4.0, 3.0)
    assert case.shape.meridian.smoothing == 0.1
    (tmp_path / "contour.csv").unlink()
    assert case_from_tables(tomllib.loads(to_toml(case))) == case


def test_coarsening_changes_the_case_and_its_hash(tables):
    tables["mesh"] |= {"through": 4, "around": 32}
    case = case_from_tables(tables)
    coarse = coarsened(case, 2)
    assert (coarse.mesh.along, coarse.mesh.through, coarse.mesh.around) == (4.0, 2, 16)
    assert case_hash(coarse) != case_hash(case)


SHAPES = {
    "open tube": {"kind": "tube", "inner_radius": "4 mm", "length": "20 mm"},
    "capped tube": {"kind": "tube", "inner_radius": "4 mm", "length": "20 mm", "ends": "capped"},
    "solid core": {"kind": "sleeve", "core_radius": "4 mm", "length": "20 mm"},
    "hollow core": {"kind": "sleeve", "core_radius": "4 mm", "length": "20 mm", "core_inner_radius": "2 mm"},
    "long core": {"kind": "sleeve", "core_radius": "4 mm", "length": "20 mm", "core_overhang": "5 mm"},
    "sphere": {"kind": "balloon", "meridian": {"kind": "sphere", "radius": "8 mm"}},
    "half ellipsoid": {
        "kind": "balloon",
        "meridian": {"kind": "ellipsoid", "radius": "8 mm", "half_length": "12 mm", "half": True},
    },
    "necked": {
        "kind": "balloon",
        "meridian": {
            "kind": "necked",
            "radius": "8 mm",
            "length": "40 mm",
            "neck_radius": "4 mm",
            "neck_length": "4 mm",
        },
    },
    "dome of points": {
        "kind": "balloon",
        "meridian": {
            "kind": "points",
            "radius": ["8 mm", "7.5 mm", "4 mm", "0 mm"],
            "height": ["0 mm", "4 mm", "7 mm", "8 mm"],
        },
    },
}


@pytest.mark.parametrize("model", ["axisymmetric", "sector"])
@pytest.mark.parametrize("name", SHAPES)
def test_names_known_before_meshing_are_those_of_the_mesh(name, model):
    from annelid.cases.convert.body import body_of

    tables = {
        "title": name,
        "shape": SHAPES[name] | {"layers": [{"name": "wall", "thickness": "0.5 mm"}]},
        "mesh": {"along": "2 mm", "through": 1, "around": 16, "model": model},
        "materials": {"rubber": {"law": "neo-hookean", "shear_modulus": "0.1 MPa"}},
        "parts": [{"region": "wall", "material": "rubber"}],
        "stages": [{"name": "rest"}],
        "supports": [],
    }
    kind = tables["shape"]["kind"]
    tables["parts"] += [{"region": "core", "material": "rubber"}] * (kind == "sleeve")
    tables["parts"] += [{"region": "cap", "material": "rubber"}] * (name == "capped tube")
    if name not in ("sphere", "half ellipsoid", "dome of points"):
        tables["supports"] = [{"region": "end_low", "hold": "axial"}]
    elif name == "sphere":
        tables["supports"] = [{"region": "outer", "hold": "rigid motion"}]
    else:
        tables["supports"] = [{"region": "end_low", "hold": "all"}]
    case = case_from_tables(tables)
    body = body_of(case)
    assert set(body.regions) == set(region_names(case, shape_of(case)))
    known = lay_out(shape_of(case), mesh_size_of(case), (), ()).inventory(model)
    meshed = inventory_of(body)
    assert (set(known.surfaces), known.touching) == (set(meshed.surfaces), meshed.touching)
