# SPDX-License-Identifier: MIT
"""Case files with layers of measured thickness: what they resolve to, what they refuse, what they say."""

import tomllib

import numpy as np
import pytest

from annelid.cases.convert.body import body_of
from annelid.cases.convert.description import description_of
from annelid.cases.convert.fabrication import fabrication_plan
from annelid.cases.convert.plausibility import remarks_on
from annelid.cases.validate.reading import case_from_tables, companion_files
from annelid.cases.validate.resolved import case_hash, to_toml
from annelid.geometry.errors import InputError

ANGLES = np.arange(0, 360, 30)


def wall(path, *, side=0.0, top=20.0, name="wall.csv"):
    """Write a wall of 240 to 160 um from bottom to top, thicker on one side."""
    rows = ["height_mm,angle_deg,thickness_um"]
    for a in ANGLES:
        for z in np.linspace(0.0, top, 9):
            rows.append(f"{z},{a},{(240 - 80 * z / top) * (1 + side * np.cos(np.radians(a)))}")
    if not side:
        rows = [
            rows[0].replace("angle_deg,", ""),
            *(f"{z},{h}" for z, a, h in (r.split(",") for r in rows[1:10])),
        ]
    (path / name).write_text("\n".join(rows) + "\n")


@pytest.fixture
def uneven(tables):
    tables["shape"]["layers"] = [{"name": "wall", "thickness_map": {"kind": "file", "path": "wall.csv"}}]
    tables["mesh"]["along"] = "0.2 mm"
    return tables


def read(tables, folder):
    return case_from_tables(tables, folder=folder)


def volume_of(body, region):
    """By the corners of tetrahedra with straight edges, mm³."""
    corners = body.points[body.cells[body.regions[region]][:, :4]]
    return float(np.abs(np.linalg.det(corners[:, 1:] - corners[:, :1])).sum() / 6)


def errors(tables, folder):
    with pytest.raises(InputError) as error:
        read(tables, folder)
    return str(error.value)


def test_resolved_case_contains_the_values_of_the_file(uneven, tmp_path):
    wall(tmp_path)
    case = read(uneven, tmp_path)
    grid = case.shape.layers[0].thickness_map
    assert grid.kind == "grid"
    assert grid.thicknesses[0][0] == pytest.approx(0.24)
    assert case.parts[0].sheets.thickness == pytest.approx(0.05)  # a quarter of the mean
    again = case_from_tables(tomllib.loads(to_toml(case)))
    assert case_hash(again) == case_hash(case)
    layer = 'thickness_map = { kind = "file", path = "wall.csv" }'
    (tmp_path / "part.toml").write_text(f"[[shape.layers]]\n{layer}\n")
    assert tmp_path / "wall.csv" in companion_files(tmp_path / "part.toml")


def test_mean_around_makes_an_axisymmetric_model(uneven, tmp_path):
    wall(tmp_path, side=0.2)
    message = errors(uneven, tmp_path)
    assert "shape.layers[wall].thickness_map: differs around" in message
    assert "average = true" in message
    uneven["shape"]["layers"][0]["thickness_map"]["average"] = True
    averaged = body_of(read(uneven, tmp_path))
    wall(tmp_path)
    np.testing.assert_allclose(averaged.points, body_of(read(uneven, tmp_path)).points, atol=1e-9)


def test_errors_name_the_key(uneven, tmp_path):
    assert "shape.layers[wall].thickness_map.path" in errors(uneven, tmp_path)  # no such file
    wall(tmp_path, top=19.0)
    message = errors(uneven, tmp_path)
    assert (
        "shape.layers[wall].thickness_map: covers heights from 0 to 19 mm, but the wall extends from 0"
        in message
    )
    uneven["shape"]["layers"][0]["thickness"] = "200 um"
    assert "thickness_map: contradicts thickness" in errors(uneven, tmp_path)
    del uneven["shape"]["layers"][0]["thickness"]
    wall(tmp_path)
    uneven["parts"][0]["sheets"]["thickness"] = "60 um"
    assert "4 sheets of 0.06 mm add up to 0.24 mm, but the layer is 0.2 mm thick" in errors(uneven, tmp_path)
    grid = {"kind": "grid", "places": ["0 mm", "20 mm"], "thicknesses": [["0.2 mm", "-0.2 mm"]]}
    uneven["shape"]["layers"][0]["thickness_map"] = grid
    assert "shape.layers[wall].thickness_map.thicknesses: the thickness at 20 mm is -200" in errors(
        uneven, tmp_path
    )
    grid["thicknesses"] = [["0.2 mm"]]
    assert "thicknesses: lists of 1 entries for 2 places" in errors(uneven, tmp_path)
    grid["thicknesses"] = [["0.2 mm", "0.2"]]
    assert "thicknesses" in errors(uneven, tmp_path)


def test_columns_of_a_dome_are_radii(uneven, tmp_path):
    wall(tmp_path)
    uneven["shape"] = {
        "kind": "dome",
        "rim_radius": "6 mm",
        "rise": "2 mm",
        "layers": uneven["shape"]["layers"],
    }
    assert "has the column height_mm, but the thickness of this shape is given over radius_mm" in errors(
        uneven, tmp_path
    )
    (tmp_path / "wall.csv").write_text("radius_mm,thickness_um\n0,200\n6,300\n")
    del uneven["electrodes"], uneven["sections"], uneven["requirements"]
    uneven["stages"] = uneven["stages"][:1]
    uneven["supports"] = uneven["supports"][:1]
    body = body_of(read(uneven, tmp_path))
    thickness = body.layer_thickness["wall"]
    assert (thickness.min(), thickness.max()) == pytest.approx((0.2, 0.3))


def test_texts_state_the_range_and_what_uses_the_mean(uneven, tmp_path):
    wall(tmp_path)
    case = read(uneven, tmp_path)
    text = " ".join(s for statement in description_of(case).statements for s in statement.sentences)
    text = text.replace("\N{NO-BREAK SPACE}", " ")
    assert "wall as measured along the wall, 160 µm to 240 µm, 200 µm on average" in text
    assert "4 sheets of 50 µm on average" in text
    assert any("drawn for its mean thickness" in remark for remark in fabrication_plan(case).remarks)
    uneven["stages"][1]["voltage"] = {"all": "3.5 kV"}  # 70 V/um at the mean, 87.5 V/um where it is thinnest
    remarks = " ".join(remarks_on(read(uneven, tmp_path)))
    assert "across a drawn sheet of 40" in remarks.replace("\N{NO-BREAK SPACE}", " ")


LATTICE = {
    "cell": {"kind": "helices", "spacing": "6 mm", "helix_angle": "0 deg", "width": "1 mm"},
    "height": "0.5 mm",
    "ring": "1 mm",
}


def test_lattice_outside_an_uneven_tube_is_on_its_outer_face(uneven, tmp_path):
    wall(tmp_path, side=0.2)
    uneven |= {"lattice": LATTICE, "mesh": {"model": "solid", "along": "5 mm", "through": 1}}
    uneven["parts"].append({"region": "lattice", "material": "rubber"})
    case = read(uneven, tmp_path)
    face, (angle, z) = (
        case.lattice.measured,
        np.meshgrid(np.arange(72) / 72 * 2 * np.pi, np.linspace(0, 20, 81)),
    )
    thickness = (0.24 - 0.004 * z) * (1 + 0.2 * np.cos(angle))
    np.testing.assert_allclose(np.array(face.radii).T, 4.0 + thickness, atol=2e-3)  # the map has 12 angles
    assert case_hash(read(tomllib.loads(to_toml(case)), tmp_path)) == case_hash(case)
    body = body_of(case)
    lumen = body.points[body.surface_nodes("lumen")]
    np.testing.assert_allclose(np.hypot(*lumen.T[:2]), 4.0, atol=2e-3)  # the mesh is a polygon in between
    exact = np.pi * ((4.0 + thickness) ** 2 - 16.0).mean(axis=1)
    assert volume_of(body, "wall") == pytest.approx(np.trapezoid(exact, z[:, 0]), rel=1e-2)


def test_lattice_on_an_uneven_wall_needs_its_outer_face(uneven, tmp_path):
    """The layers go inwards from the measured face: the volume of an annulus of the local thickness."""
    wall(tmp_path, side=0.2)
    radii = [[f"{4.3 + 0.1 * np.cos(2 * t)} mm"] * 5 for t in np.radians(np.arange(0, 360, 15))]
    uneven |= {"lattice": LATTICE, "mesh": {"model": "solid", "along": "2.5 mm", "through": 1}}
    uneven["parts"].append({"region": "lattice", "material": "rubber"})
    uneven["lattice"] = LATTICE | {"side": "embedded", "depth": 0.5}
    assert "an uneven wall with a lattice needs its outer face" in errors(uneven, tmp_path)
    heights = [f"{z} mm" for z in np.linspace(0, 20, 5)]
    uneven["lattice"] = LATTICE | {"measured": {"kind": "grid", "heights": heights, "radii": radii}}
    body = body_of(read(uneven, tmp_path))
    angle, z = np.meshgrid(np.linspace(0, 2 * np.pi, 2001)[:-1], np.linspace(0, 20, 201), indexing="ij")
    outer = 4.3 + 0.1 * np.cos(2 * angle)
    thickness = (0.24 - 0.004 * z) * (1 + 0.2 * np.cos(angle))
    slope = np.hypot(1.0, 0.2 * np.sin(2 * angle) / outer)  # length of the face over that of a circle
    exact = np.trapezoid((outer * slope * thickness - thickness**2 / 2).mean(axis=0), z[0]) * 2 * np.pi
    assert volume_of(body, "wall") == pytest.approx(exact, rel=1e-2)
    uneven["making"] = {"pressure": "1 kPa"}
    assert "an uneven wall with a lattice needs its outer face" in errors(uneven, tmp_path)
