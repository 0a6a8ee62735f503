# SPDX-License-Identifier: MIT
"""Making of a part with a printed lattice: inflated wall, printed mesh, and invalid cases."""

import copy
import csv

import numpy as np
import pytest
import tomli_w
from exact import tube as exact

from annelid.cases.convert.body import body_of, meshed_part_of
from annelid.cases.convert.making import inflated_wall
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run

A, WALL, LENGTH, MU = 5.0, 0.6, 12.0, 0.1

TABLES = {
    "title": "printed tube",
    "shape": {
        "kind": "tube",
        "inner_radius": "5 mm",
        "length": "12 mm",
        "layers": [{"name": "skin", "thickness": "600 um"}],
    },
    "making": {"pressure": "4 kPa"},
    "lattice": {
        "cell": {"kind": "re-entrant", "vertical": "4 mm", "inclined": "3.4 mm", "angle": "20 deg"}
        | {"width": "0.6 mm"},
        "height": "0.5 mm",
        "around": 6,
        "ring": "0.5 mm",
    },
    "mesh": {"model": "sector", "sector": "30 deg", "along": "2.4 mm", "through": 1, "on_struts": "1.2 mm"},
    "materials": {
        "silicone": {"law": "neo-hookean", "shear_modulus": "0.1 MPa"},
        "print": {"law": "neo-hookean", "shear_modulus": "0.5 MPa"},
    },
    "parts": [{"region": "skin", "material": "silicone"}, {"region": "lattice", "material": "print"}],
    "supports": [{"region": "end_low", "hold": "axial"}, {"region": "end_high", "hold": "axial"}],
    "stages": [{"name": "release", "pressure": "0 kPa", "steps": 3}],
}  # fmt: skip


def tables(**changes):
    changed = copy.deepcopy(TABLES)
    for key, value in changes.items():
        if value is None:
            del changed[key]
        elif isinstance(value, dict) and key in changed:
            changed[key] |= value
            changed[key] = {k: v for k, v in changed[key].items() if v is not None}
        else:
            changed[key] = value
    return changed


@pytest.mark.exact
def test_inflated_tube_has_stretches_of_a_thick_tube():
    case = case_from_tables(tables())
    wall, inflation = inflated_wall(case)
    assert inflation[-1].loads["pressure"].value == pytest.approx(4e-3)
    inner = wall.place(np.array([[0.3, 0.0]]), np.array([-WALL])).position[0]
    la = np.hypot(*inner[:2]) / A
    assert la > 1.1
    P, _ = exact.pressure_and_force(exact.mooney_rivlin(MU / 2), A, A + WALL, la, 1.0)
    assert pytest.approx(4e-3, rel=1e-5) == P
    depth = np.linspace(-WALL, 0.0, 5)
    points = np.column_stack([np.linspace(0.0, 2.0, 5), np.linspace(-0.3, 0.3, 5)])
    R = A + WALL + depth
    λ = exact.radius(R, A, la, 1.0) / R
    normal, across, along, axial = wall.stress_free_gradient(points, depth)[:, ::2, ::2].reshape(-1, 4).T
    hoop = wall.stress_free_gradient(points, depth)[:, 1, 1]
    np.testing.assert_allclose(hoop, 1 / λ, rtol=1e-5)
    np.testing.assert_allclose(axial, 1.0, rtol=1e-6)
    np.testing.assert_allclose(
        normal, λ, rtol=2e-4
    )  # constant volume; the derivatives are those of quadratic functions
    np.testing.assert_allclose([across, along], 0.0, atol=1e-9)


def test_the_printed_mesh_is_on_the_inflated_wall():
    case = case_from_tables(tables())
    wall, inflation = inflated_wall(case)
    body, before = meshed_part_of(case)
    assert before[-1].loads["pressure"].value == pytest.approx(inflation[-1].loads["pressure"].value)
    r = np.hypot(body.points[:, 0], body.points[:, 1])
    lumen = body.surface_nodes("lumen")
    inner = np.hypot(*wall.place(np.array([[0.0, 0.0]]), np.array([-WALL])).position[0, :2])
    outer = np.hypot(*wall.place(np.array([[0.0, 0.0]]), np.array([0.0])).position[0, :2])
    np.testing.assert_allclose(r[lumen], inner, rtol=1e-6)
    assert r.max() == pytest.approx(outer + 0.5, rel=1e-6)  # the struts have their printed height
    assert outer - inner < 0.95 * WALL  # the skin has thinned
    assert body.stress_free_gradient["skin"][lumen, 1, 1].max() < 0.9
    assert body.deposited == ("lattice",)
    strut_nodes = np.setdiff1d(
        np.unique(body.cells[body.regions["lattice"]]), body.cells[body.regions["skin"]]
    )
    foot = body.points[body.base_node[strut_nodes]]
    np.testing.assert_allclose(np.hypot(*foot[:, :2].T), outer, rtol=1e-6)
    straight = np.cross(body.points[strut_nodes] - foot, body.normal[strut_nodes])
    np.testing.assert_allclose(straight, 0.0, atol=1e-9)


COVERED = {
    "shape": {
        "kind": "tube",
        "inner_radius": "5 mm",
        "length": "12 mm",
        "layers": [{"name": "skin", "thickness": "600 um"}, {"name": "cover", "thickness": "700 um"}],
    },
    "making": {"cover": ["cover"]},
    "parts": [*TABLES["parts"], {"region": "cover", "material": "silicone"}],
}


@pytest.mark.long
@pytest.mark.exact
def test_covered_tube_starts_with_the_energy_of_its_skin(tmp_path):
    """Lattice and cover are stress-free; the skin has the neo-Hookean energy of the thick tube."""
    case = case_from_tables(tables(**COVERED))
    wall, _ = inflated_wall(case)
    la = np.hypot(*wall.place(np.array([[0.3, 0.0]]), np.array([-WALL])).position[0, :2]) / A
    R = np.linspace(A, A + WALL, 2001)
    λ = exact.radius(R, A, la, 1.0) / R
    energy = np.trapezoid(MU / 2 * (λ**2 + λ**-2 - 2) * 2 * np.pi * R, R) * LENGTH
    result = run_case(case, tmp_path / "run")
    assert result.outcome.kind == "reached", result.outcome.text
    run = open_run(tmp_path / "run")
    table = run.table
    assert set(run.body.regions) == {"skin", "lattice", "cover"}
    assert table["iterations"][0] == 0
    assert table["strain energy"][0] == pytest.approx(energy, rel=5e-3)
    for part in ("lattice", "cover"):
        assert abs(table[f"strain energy {part}"][0]) < 1e-12 * energy
        assert table[f"strain energy {part}"][-1] > 1e-2 * energy
    inner = np.unique(run.body.cells[run.body.regions["skin"]])
    outer = np.unique(run.body.cells[run.body.regions["cover"]])
    radius = np.hypot(run.body.points[:, 0], run.body.points[:, 1])
    assert radius[outer].max() - radius[inner].max() == pytest.approx(0.7, rel=1e-6)  # as cast
    # The energy lost on release is the work of the pressure (energy theorem).
    P, V = table["pressure"], table["displaced volume"]
    work = float(np.sum((P[1:] + P[:-1]) / 2 * np.diff(V)))
    assert table["strain energy"][-1] - table["strain energy"][0] == pytest.approx(work, rel=0.01)


@pytest.mark.long
@pytest.mark.exact
def test_a_capped_skin_returns_to_its_stress_free_shape(tmp_path):
    """Own reasoning: with a very soft lattice, skin and caps return to their stress-free shape."""
    changed = tables(
        shape={"ends": "capped", "cap_thickness": "1 mm"},
        supports=[{"region": "end_low", "hold": "axial"}],
        mesh={"along": "1.6 mm", "sector": "30 deg"},
    )
    changed["materials"] = changed["materials"] | {
        "print": {"law": "neo-hookean", "shear_modulus": "0.00001 MPa"},
        "plug": {"law": "neo-hookean", "shear_modulus": "0.6 MPa"},
    }
    changed["parts"] = [*changed["parts"], {"region": "cap", "material": "plug"}]
    case = case_from_tables(changed)
    wall, _ = inflated_wall(case)
    bulge = wall.caps[1].inflated_points(np.array([[0.0, 0.0, 13.0], [3.0, 0.0, 12.5], [0.0, 3.0, 12.5]]))
    assert bulge[0, 2] > 13.3  # the fluid pushes the middle of the cap outwards
    assert np.hypot(*bulge[1:, :2].T) == pytest.approx(bulge[1, 0])
    assert bulge[2, 2] == pytest.approx(bulge[1, 2])
    assert run_case(case, tmp_path / "run").outcome.kind == "reached"
    table = open_run(tmp_path / "run").table
    assert table["length"][0] > 14.2
    assert table["length"][-1] == pytest.approx(14.0, rel=2e-3)
    assert table["lumen volume"][-1] == pytest.approx(np.pi * A**2 * LENGTH, rel=3e-3)
    assert table["strain energy"][-1] < 1e-3 * table["strain energy"][0]


@pytest.mark.exact
@pytest.mark.long
@pytest.mark.slow
def test_a_clamped_skin_returns_to_its_stress_free_shape(tmp_path):
    """As above; the stretch is singular at the clamps, but the stress-free positions are compatible."""
    clamped = [{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "all"}]
    changed = tables(supports=clamped, mesh={"along": "1.6 mm"})
    changed["materials"] = changed["materials"] | {
        "print": {"law": "neo-hookean", "shear_modulus": "0.00001 MPa"}
    }
    assert run_case(case_from_tables(changed), tmp_path / "run").outcome.kind == "reached"
    table = open_run(tmp_path / "run").table
    assert table["strain energy"][-1] < 5e-4 * table["strain energy"][0]
    assert table["lumen volume"][-1] == pytest.approx(np.pi * A**2 * LENGTH, rel=2e-3)


def test_inflated_heights_may_exceed_the_drawn_length():
    changed = tables(lattice={"to": "13 mm"}, sections=[{"name": "top", "at": "12.5 mm"}])
    case = case_from_tables(changed)
    assert case.lattice.end == 13.0
    assert case.sections[0].at == 12.5
    with pytest.raises(
        InputError,
        match=r"sections\[top\]\.at: must be at least 0 and at most 12 mm \(where the inner surface is\),",
    ):
        case_from_tables(tables(sections=[{"name": "top", "at": "12.5 mm"}], making=None))


def test_invalid_makings_are_refused():
    for change, words in (
        ({"making": {"volume": "4 mL"}}, "give one of pressure, volume and stretch"),
        (
            {"lattice": None, "parts": TABLES["parts"][:1]},
            r"making: needs a lattice that is printed on the skin: add \[lattice\], or remove \[making\]",
        ),
        ({"mesh": {"model": "axisymmetric"}}, r"must be 'solid' or 'sector' with \[making\]"),
        ({"making": {"cover": ["skin"]}}, "outermost layers, from inside to outside, but not all layers"),
        (COVERED | {"lattice": {"side": "inside"}}, "cannot be printed on an inflated skin"),
    ):
        with pytest.raises(InputError, match=words):
            case_from_tables(tables(**change))
    with pytest.raises(InputError, match="cannot be inflated to the given pressure, volume or stretch"):
        body_of(case_from_tables(tables(making={"pressure": "1 MPa"})))
    with pytest.raises(InputError, match="extend beyond the wall"):
        body_of(case_from_tables(tables(**(COVERED | {"lattice": {"height": "0.8 mm"}}))))
    with pytest.raises(InputError, match=r"name the layers that are cast over the struts in making\.cover"):
        body_of(case_from_tables(tables(lattice={"side": "embedded"})))


@pytest.mark.long
def test_cell_command_writes_moduli_curves_and_a_figure(annelid, tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(tomli_w.dumps(TABLES))
    done = annelid("cell", path, "--out", "cell", "--to", "0.95", "--steps", "2")
    assert done.returncode == 0, done.stderr
    assert "Poisson ratio, pulled around: -" in done.stdout
    rows = list(csv.DictReader((tmp_path / "cell" / "moduli.csv").read_text().splitlines()))
    values = {row["property"]: float(row["value"]) for row in rows}
    assert values["modulus around"] > values["modulus along"] > 0  # a re-entrant cell is stiffer around
    # Reciprocity of the compliance, Maxwell and Betti.
    ratio = values["Poisson ratio, pulled around"] / values["Poisson ratio, pulled along"]
    assert ratio == pytest.approx(values["modulus around"] / values["modulus along"], rel=2e-3)
    curve = list(csv.DictReader((tmp_path / "cell" / "collapse.csv").read_text().splitlines()))
    assert {row["axis"] for row in curve} == {"around", "along"}
    assert min(float(row["stretch [1]"]) for row in curve) == pytest.approx(0.95)
    assert (tmp_path / "cell" / "cell.png").read_bytes().startswith(b"\x89PNG")


def test_cell_command_refuses_cases_without_a_lattice(annelid, tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(
        tomli_w.dumps(tables(parts=TABLES["parts"][:1], mesh={"model": "axisymmetric"}, making=None))
    )
    done = annelid("cell", path)
    assert done.returncode == 2
    assert "missing: the part of region 'lattice'" in done.stderr
    assert annelid("cell", "cuff").returncode == 2
    assert annelid("cell", path, "--to", "-1").returncode == 2
