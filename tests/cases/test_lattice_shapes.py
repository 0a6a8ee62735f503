# SPDX-License-Identifier: MIT
"""Cases with lattices on walls that close over a pole, were measured, or have a core."""

import csv
import json
import math

import numpy as np
import pytest
from exact import tube as exact
from scipy.optimize import brentq
from test_making import tables

from annelid.cases.convert.body import body_of
from annelid.cases.convert.making import inflated_wall
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run

CELL = {"kind": "diamond", "strut": "2.5 mm", "braid_angle": "45 deg", "width": "0.6 mm"}
DOME = {
    "kind": "dome",
    "rim_radius": "8 mm",
    "rise": "3 mm",
    "layers": [{"name": "skin", "thickness": "600 um"}],
}
HALF = {
    "kind": "balloon",
    "meridian": {"kind": "sphere", "radius": "6 mm", "half": True},
    "layers": [{"name": "skin", "thickness": "500 um"}],
}


def dome_tables(**changes):
    changed = tables(
        making=None,
        mesh={"sector": "30 deg", "along": "1.5 mm", "on_struts": "1 mm"},
        supports=[{"region": "end_low", "hold": "all"}],
        stages=[{"name": "press", "pressure": "1 kPa", "steps": 2}],
    )
    changed["shape"] = DOME
    changed["lattice"] = {"cell": CELL, "height": "0.5 mm", "around": 12, "ring": "0.3 mm"}
    return changed | changes


@pytest.mark.exact
def test_a_dome_with_a_lattice_can_be_run(tmp_path):
    result = run_case(case_from_tables(dome_tables()), tmp_path / "run")
    assert result.outcome.kind == "reached"
    quantities = json.loads((tmp_path / "run" / "summary.json").read_text())["final_state"]["quantities"]
    assert quantities["volume change [mm3]"] > 10.0
    # Equilibrium: the pressure exerts the axial force P pi a^2, where a is the inner radius of the rim.
    assert quantities["axial reaction end_low [N]"] == pytest.approx(-1e-3 * math.pi * 8.0**2, rel=1e-4)


def test_an_electrode_of_a_dome_is_between_its_radii():
    changed = dome_tables(
        electrodes=[{"name": "top", "region": "skin", "from": "0 mm", "to": "5 mm"}],
        materials={
            "silicone": {"law": "neo-hookean", "shear_modulus": "0.1 MPa", "permittivity": 2.8},
            "print": {"law": "neo-hookean", "shear_modulus": "0.5 MPa"},
        },
    )
    changed["parts"] = [changed["parts"][0] | {"sheets": {"count": 2}}, changed["parts"][1]]
    body = body_of(case_from_tables(changed))
    band = body.points[np.unique(body.cells[body.bands["top"]])]
    lumen = body.points[body.surface_nodes("lumen")]
    inside = np.hypot(*lumen[:, :2].T) < 5.0 + 1e-6
    radius = np.hypot(*band[:, :2].T)
    assert radius.min() < 1e-12
    assert radius[np.isin(band, lumen[inside]).all(axis=1)].max() == pytest.approx(5.0, abs=1e-5)


@pytest.mark.exact
def test_half_sphere_inflates_uniformly_up_to_its_pole():
    changed = tables(
        making={"pressure": "6 kPa"},
        lattice={"around": 8},
        mesh={"sector": "45 deg", "along": "1.5 mm", "on_struts": "0.8 mm"},
        supports=[{"region": "end_low", "hold": "symmetric"}],
    )
    changed["shape"] = HALF
    case = case_from_tables(changed)
    wall, _ = inflated_wall(case)
    v = np.array([0.0, 1.0, 4.0, 9.0, 20.0, np.inf])
    points, depth = np.column_stack([np.zeros(len(v)), v]), np.full(len(v), -0.25)
    radius = np.linalg.norm(wall.place(points, depth).position, axis=1)
    np.testing.assert_allclose(radius, radius[0], rtol=1e-6)
    # In a sphere both stretches are (r/R) in the middle of the wall, whose volume is constant.
    λ = radius[0] / 6.25
    uniform = np.tile(np.diag([λ**2, 1 / λ, 1 / λ]), (len(v), 1, 1))
    np.testing.assert_allclose(wall.stress_free_gradient(points, depth), uniform, rtol=1e-3, atol=1e-5)
    body = body_of(case)
    assert "end_high" not in body.surfaces
    lumen = body.points[body.surface_nodes("lumen")]
    inner = np.linalg.norm(lumen, axis=1)
    np.testing.assert_allclose(inner, inner[0], rtol=1e-6)


@pytest.mark.long
@pytest.mark.slow
def test_a_dome_can_be_inflated_and_printed_on(tmp_path):
    changed = tables(
        making={"pressure": "3 kPa"},
        lattice={"cell": CELL, "around": 8, "height": "0.4 mm"},
        supports=[{"region": "end_low", "hold": "all"}],
        mesh={"sector": "45 deg", "along": "1.5 mm", "on_struts": "0.8 mm"},
        electrodes=[{"name": "ring", "region": "skin", "from": "2 mm", "to": "6 mm"}],
    )
    changed["shape"] = DOME | {"rise": "5 mm"}
    changed["materials"]["silicone"]["permittivity"] = 2.8
    changed["parts"] = [changed["parts"][0] | {"sheets": {"count": 2}}, changed["parts"][1]]
    case = case_from_tables(changed)
    wall, _ = inflated_wall(case)
    edges = np.array([wall.v_at_radius(6.0), wall.v_at_radius(2.0)])
    rest = wall.stress_free_points(np.column_stack([0.0 * edges, edges]), np.full(2, -0.6))
    assert np.hypot(rest[:, 0], rest[:, 1]) == pytest.approx([6.0, 2.0], abs=1e-3)
    result = run_case(case, tmp_path / "run")
    assert result.outcome.kind == "reached"
    assert "in equilibrium with its pressure" in result.outcome.remarks[0]


@pytest.mark.long
@pytest.mark.slow
def test_closed_balloon_can_be_printed_on(tmp_path):
    # Own reasoning: the lattice keeps it wider than its stress-free shape, and the support exerts no force.
    changed = tables(
        making={"pressure": "6 kPa"},
        lattice={"around": 8},
        mesh={"sector": "45 deg", "along": "1.8 mm", "on_struts": "1 mm"},
        supports=[{"region": "outer", "hold": "rigid motion"}],
    )
    changed["shape"] = HALF | {"meridian": {"kind": "sphere", "radius": "6 mm"}}
    case = case_from_tables(changed)
    assert run_case(case, tmp_path / "run").outcome.kind == "reached"
    table = open_run(tmp_path / "run").table
    assert table["iterations"][0] == 0
    assert np.abs(table["axial reaction outer"]).max() < 1e-7
    assert 12.0 < table["largest diameter"][-1] < table["largest diameter"][0]
    assert table["unstable modes"][-1] == 0
    del changed["supports"]
    with pytest.raises(
        InputError,
        match="supports: nothing prevents a rigid motion of the part along its axis: add a support",
    ):
        case_from_tables(changed)


def measured_tables(**changes):
    """Return a measured oval tube between heights of 1 and 11 mm."""
    radii = [[f"{5.0 + 0.3 * math.cos(2 * math.radians(a)):.6f} mm"] * 5 for a in range(0, 360, 15)]
    heights = ["1 mm", "3.5 mm", "6 mm", "8.5 mm", "11 mm"]
    changed = tables(
        making=None,
        mesh={"model": "solid", "along": "2.5 mm", "on_struts": "1.5 mm"},
        lattice={"measured": {"kind": "grid", "heights": heights, "radii": radii}},
        sections=[{"name": "middle", "at": "6 mm"}],
        supports=[{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "axial"}],
        stages=[{"name": "settle", "steps": 1}, {"name": "fill", "pressure": "1 kPa", "steps": 1}],
    )
    changed["parts"] = [changed["parts"][0] | {"natural_stretch": {"hoop": 0.95}}, changed["parts"][1]]
    return changed | changes


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.exact
def test_a_measured_part_can_be_run(tmp_path):
    case = case_from_tables(measured_tables())
    result = run_case(case, tmp_path / "run")
    assert result.outcome.kind == "reached"
    body = body_of(case)
    assert (body.points[:, 2].min(), body.points[:, 2].max()) == pytest.approx((1.0, 11.0), abs=1e-9)
    rows = list(csv.DictReader((tmp_path / "run" / "path.csv").read_text().splitlines()))
    settled, filled = (float(rows[i]["radial expansion middle [1]"]) for i in (-2, -1))
    assert -0.05 < settled < -0.002  # the skin is mounted with a stretch, and the lattice supports it
    assert filled > settled + 0.002
    volume = float(rows[-1]["lumen volume [mm3]"]) - float(rows[-1]["volume change [mm3]"])
    # Area of the oval r = 5 + e cos 2 angle: pi (25 + e^2 / 2), minus a strip as wide as the wall (Steiner).
    angle = np.linspace(0.0, 2 * math.pi, 20001)
    radius, slope = 5.0 + 0.3 * np.cos(2 * angle), -0.6 * np.sin(2 * angle)
    around = np.trapezoid(np.hypot(radius, slope), angle)
    area = math.pi * (25.0 + 0.3**2 / 2) - 0.6 * around + math.pi * 0.6**2
    assert volume == pytest.approx(10.0 * area, rel=1e-4)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"sections": [{"name": "low", "at": "0.5 mm"}]},
            r"sections\[low\]\.at: must be at least 1 and at most 11 mm \(where the inner surface is\),",
        ),
        (
            {"electrodes": [{"name": "ring", "region": "skin", "from": "0 mm", "to": "8 mm"}]},
            r"electrodes\[ring\]\.from: must be at least 1 and at most 11 mm \(where the layers are\), got",
        ),
    ],
)
def test_heights_of_a_measured_part_refer_to_its_surface(changes, message):
    with pytest.raises(InputError, match=message):
        case_from_tables(measured_tables(**changes))


def test_a_measured_surface_of_a_closed_shape_is_refused():
    equator = [{"region": "end_low", "hold": "symmetric"}]
    with pytest.raises(InputError, match="open tube without a core, so it cannot replace this shape"):
        case_from_tables(measured_tables(shape=HALF, supports=equator))
    changed = measured_tables()
    changed["mesh"] = changed["mesh"] | {"model": "sector", "sector": "60 deg"}
    with pytest.raises(InputError, match="not one of revolution: mesh the whole part"):
        body_of(case_from_tables(changed))


SLEEVE = {
    "kind": "sleeve",
    "core_radius": "5 mm",
    "length": "12 mm",
    "core_overhang": "2 mm",
    "layers": [{"name": "skin", "thickness": "600 um"}],
}


def sleeve_tables(**changes):
    """Return a sleeve that squeezes a solid core."""
    changed = tables(
        making=None,
        supports=[{"region": "core_end_low", "hold": "axial"}],
        stages=[{"name": "squeeze", "steps": 2}],
        mesh={"along": "2 mm"},
    )
    changed["shape"] = SLEEVE
    skin = changed["parts"][0] | {"natural_stretch": {"hoop": 0.9}}
    changed["parts"] = [skin, changed["parts"][1], {"region": "core", "material": "silicone"}]
    return changed | changes


@pytest.mark.long
def test_a_sleeve_with_a_core_and_a_lattice_can_be_run(tmp_path):
    case = case_from_tables(sleeve_tables())
    result = run_case(case, tmp_path / "run")
    assert result.outcome.kind == "reached"
    body = body_of(case)
    assert {"core", "skin", "lattice"} == set(body.regions)
    assert body.points[:, 2].max() == pytest.approx(16.0)
    assert np.hypot(*body.points[:, :2].T).min() < 1e-9
    quantities = json.loads((tmp_path / "run" / "summary.json").read_text())["final_state"]["quantities"]
    assert -0.05 < quantities["mean radial expansion [1]"] < -0.001


def test_struts_in_the_core_are_refused():
    changed = sleeve_tables()
    changed["lattice"] = changed["lattice"] | {"side": "inside"}
    with pytest.raises(InputError, match="would put the struts into the core"):
        body_of(case_from_tables(changed))


def capped_tables(**changes):
    """Return a capped tube with a very soft lattice; its caps are stiff, and its lower cap is supported."""
    changed = tables(
        making=None,
        shape={"ends": "capped", "length": "24 mm", "cap_thickness": "1 mm"},
        lattice={"height": "0.3 mm"},
        supports=[{"region": "end_low", "hold": "axial"}],
        sections=[{"name": "middle", "at": "12 mm"}],
        stages=[{"name": "fill", "pressure": "5 kPa", "steps": 2}],
    )
    changed["materials"] = changed["materials"] | {
        "print": {"law": "neo-hookean", "shear_modulus": "0.00002 MPa"},
        "plug": {"law": "neo-hookean", "shear_modulus": "5 MPa"},
    }
    changed["parts"] = [*changed["parts"], {"region": "cap", "material": "plug"}]
    return changed | changes


@pytest.mark.exact
def test_capped_tube_with_soft_lattice_is_a_closed_tube(tmp_path):
    # Far from the caps this is a closed thick tube with the axial force of the fluid on them (exact.tube).
    result = run_case(case_from_tables(capped_tables()), tmp_path / "run")
    assert result.outcome.kind == "reached"
    quantities = json.loads((tmp_path / "run" / "summary.json").read_text())["final_state"]["quantities"]
    W, A, B = exact.mooney_rivlin(0.1 / 2), 5.0, 5.6
    la = brentq(
        lambda la: exact.pressure_and_force(W, A, B, la, exact.capped_stretch(W, A, B, la))[0] - 5e-3,
        1.01,
        1.5,
    )
    assert quantities["radial expansion middle [1]"] == pytest.approx(la - 1, rel=0.01)
    thrust = 5e-3 * np.pi * A**2
    assert abs(quantities["axial reaction end_low [N]"]) < 1e-5 * thrust
    assert quantities["lumen volume [mm3]"] > 1.3 * np.pi * A**2 * 24.0


def test_a_capped_tube_can_be_filled_to_a_volume(tmp_path):
    fill = {"name": "fill", "volume": "2 mL", "control": "volume", "steps": 2}
    result = run_case(case_from_tables(capped_tables(stages=[fill])), tmp_path / "run")
    assert result.outcome.kind == "reached"
    quantities = json.loads((tmp_path / "run" / "summary.json").read_text())["final_state"]["quantities"]
    assert quantities["lumen volume [mm3]"] == pytest.approx(2000.0)


def test_a_measured_surface_of_a_capped_tube_is_refused():
    changed = measured_tables()
    changed["shape"] = changed["shape"] | {"ends": "capped"}
    changed["parts"] = [*changed["parts"], {"region": "cap", "material": "silicone"}]
    with pytest.raises(
        InputError,
        match=r"lattice\.measured: a measured surface is an open tube without a core, so it cannot",
    ):
        body_of(case_from_tables(changed))
