# SPDX-License-Identifier: MIT
"""The fabrication sheet of cases and runs."""

import copy
import csv
import errno
import re
from html import unescape

import numpy as np
import pytest
import tomli_w
from shapely import Polygon

from annelid.cases.cli.fabrication import write_sheet_of
from annelid.cases.convert.body import body_of
from annelid.cases.convert.display import display_units_of
from annelid.cases.convert.fabrication import fabrication_plan
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables, find_case, read_case
from annelid.cases.validate.resolved import case_hash
from annelid.geometry.errors import InputError
from annelid.geometry.fabrication.mask import electrode_outlines
from annelid.geometry.fabrication.settings import FabricationSettings
from annelid.results.atomic import write_atomically
from annelid.results.fabrication.electrics import stored_electricity
from annelid.results.folder.run_record import open_run

# A stiff cylindrical capacitor, which hardly deforms.
TABLES = {
    "title": "capacitor",
    "shape": {
        "kind": "tube",
        "inner_radius": "10 mm",
        "length": "20 mm",
        "layers": [{"name": "wall", "thickness": "100 um"}],
    },
    "mesh": {"model": "axisymmetric", "along": "5 mm", "through": 1},
    "materials": {"film": {"law": "neo-hookean", "shear_modulus": "50 MPa", "permittivity": 3.0}},
    "parts": [{"region": "wall", "material": "film", "sheets": {"count": 1}}],
    "electrodes": [{"name": "ring", "region": "wall", "from": "5 mm", "to": "15 mm"}],
    "supports": [{"region": "end_low", "hold": "axial"}, {"region": "end_high", "hold": "axial"}],
    "stages": [{"name": "energise", "voltage": "1 kV", "steps": 1}],
}
WORKSHOP = {"pass_thickness": "40 um", "shrinkage": "2 %", "tab_width": "3 mm", "tab_length": "9 mm"}


def tables(**changes):
    changed = copy.deepcopy(TABLES) | changes
    return {key: value for key, value in changed.items() if value is not None}


def written(folder, **changes):
    path = folder / "part.toml"
    path.write_text(tomli_w.dumps(tables(**changes)))
    return path


def test_a_wall_too_steep_to_be_cast_has_sheets_but_no_masks_and_no_mould():
    shape = {
        "kind": "tapered tube",
        "low_radius": "20 mm",
        "high_radius": "5 mm",
        "length": "10 mm",
        "layers": [{"name": "wall", "thickness": "100 um"}],
    }
    part = TABLES["parts"][0] | {"sheets": {"count": 2}, "prestretch": {"hoop": 1.1, "axial": 2.0}}
    electrodes = [TABLES["electrodes"][0] | {"from": "2 mm", "to": "8 mm"}]
    plan = fabrication_plan(case_from_tables(tables(shape=shape, parts=[part], electrodes=electrodes)))
    assert (len(plan.sheets), plan.masks, plan.moulds) == (2, (), ())
    assert plan.sheets[0].around is None
    # dz^2 = (a ds)^2 - (h dr)^2 < 0, with ds^2 = dr^2 + dZ^2, dr = 15 and dZ = 10
    assert (15**2 + 10**2) / 2.0**2 < 15**2 / 1.1**2
    start = "wall has no masks and no mould: no surface of revolution as cast becomes this wall"
    assert plan.remarks[0].startswith(start)


def test_no_masks_are_drawn_of_an_electrode_between_two_angles():
    electrodes = [TABLES["electrodes"][0] | {"angles": ["0 deg", "90 deg"]}]
    mesh = TABLES["mesh"] | {"model": "solid"}
    plan = fabrication_plan(case_from_tables(tables(electrodes=electrodes, mesh=mesh)))
    assert plan.masks == ()
    assert len(plan.moulds) == 1
    assert "wall has no masks: ring does not go all around, so draw it by hand" in plan.remarks


def text_of(folder):
    page = (folder / "fabrication.html").read_text()
    page = re.sub(r"<(style|svg).*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", page)).replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.mark.exact
@pytest.mark.parametrize(
    "name", ["cuff", "oesophagus", "tapered_tube", "two_material_sleeve", "lattice_balloon"]
)
def test_masks_have_the_area_of_the_electrodes_of_the_body(name):
    """The inner and the outer face of a band, integrated over the mesh; as cast the area is times h a."""
    case = read_case(find_case(name))
    mesh = case.mesh.model_copy(update={"model": "axisymmetric"})
    plain = case.model_copy(update={"lattice": None, "making": None, "mesh": mesh})
    body, plan = body_of(plain), fabrication_plan(case)
    electrode = case.electrodes[0]
    films = [mask for mask in plan.masks if mask.layer == electrode.region]
    for film, side in ((films[0], "inner"), (films[-1], "outer")):
        a, b, middle = np.moveaxis(body.points[body.facets[body.surfaces[f"{electrode.name}.{side}"]]], 1, 0)
        t, weights = np.polynomial.legendre.leggauss(4)
        mounted = 0.0
        for x, w in zip((t + 1) / 2, weights / 2, strict=True):
            place = (1 - x) * (1 - 2 * x) * a + x * (2 * x - 1) * b + 4 * x * (1 - x) * middle
            slope = (4 * x - 3) * a + (4 * x - 1) * b + 4 * (1 - 2 * x) * middle
            mounted += w * float(np.sum(2 * np.pi * place[:, 0] * np.linalg.norm(slope, axis=1)))
        lines = [line for n, line in electrode_outlines(film, FabricationSettings()) if n == electrode.name]
        drawn = sum(Polygon(line).area for line in lines)
        assert drawn == pytest.approx(mounted * film.hoop * film.axial, rel=1e-4)


@pytest.mark.exact
def test_charge_and_energy_are_those_of_a_cylindrical_capacitor(tmp_path):
    """C = 2π ε L / ln(b/a), W = C V²/2, t = R C ln(V/60 V): any physics handbook, from memory."""
    assert run_case(read_case(written(tmp_path)), tmp_path / "run").outcome.kind == "reached"
    (entry,) = stored_electricity(open_run(tmp_path / "run"))
    capacitance = 2 * np.pi * 3.0 * 8.8541878e-12 * 0.01 / np.log(10.1 / 10.0)  # F
    assert entry.electrode == "ring"
    assert entry.voltage == pytest.approx(1.0)
    assert entry.capacitance == pytest.approx(1e9 * capacitance, rel=1e-3)
    assert entry.charge == pytest.approx(1e6 * capacitance * 1e3, rel=1e-3)
    assert entry.energy == pytest.approx(1e3 * capacitance * 1e3**2 / 2, rel=1e-3)
    assert entry.discharge == pytest.approx(1e7 * capacitance * np.log(1e3 / 60), rel=1e-3)
    files = write_sheet_of(str(tmp_path / "run"), None, None)
    assert {file.parent for file in files} == {tmp_path / "run" / "fabrication"}
    text = text_of(tmp_path / "run" / "fabrication")
    units = display_units_of(read_case(tmp_path / "part.toml"))
    shown = [units.show(k, getattr(entry, k)) for k in ("voltage", "charge", "capacitance", "energy")]
    assert " ".join(["ring", *shown]).replace("\N{NO-BREAK SPACE}", " ") in text
    open_run(tmp_path / "run")  # the sheet does not count as a change of the run


def test_workshop_settings_are_written_and_change_no_run(tmp_path):
    plain, given = case_from_tables(tables()), case_from_tables(tables(fabrication=WORKSHOP))
    assert case_hash(plain) == case_hash(given)
    path = written(tmp_path, fabrication=WORKSHOP)
    write_sheet_of(str(path), None, tmp_path / "sheet")
    (row,) = csv.DictReader((tmp_path / "sheet" / "layers.csv").read_text().splitlines())
    assert row["passes [1]"] == "3"
    assert float(row["last pass [mm]"]) == pytest.approx(0.02)
    assert float(row["rubber [mm3]"]) == pytest.approx(np.pi * (10.1**2 - 10.0**2) * 20.0, rel=1e-5)
    profile = list(csv.DictReader((tmp_path / "sheet" / "mould_profile.csv").read_text().splitlines()))
    assert float(profile[-1]["diameter [mm]"]) == pytest.approx(20.0 / 0.98, abs=1e-4)
    assert float(profile[-1]["height [mm]"]) == pytest.approx(20.0 / 0.98, abs=1e-4)
    text = text_of(tmp_path / "sheet")
    assert "film 1 100 µm 100 µm 3, the last 20 µm" in text
    assert "enlarged for a shrinkage of 2 %" in text
    assert "The overlap of seams" in text
    assert "fabrication.shrinkage" not in text
    assert "No voltage was computed" in text
    assert "odd number of sheets" in text


def test_passes_of_equal_thickness_name_no_last_one(tmp_path):
    path = written(tmp_path, fabrication={"pass_thickness": "50 um"})
    write_sheet_of(str(path), None, tmp_path / "sheet")
    assert "film 1 100 µm 100 µm 2 20 mm" in text_of(tmp_path / "sheet")


def test_the_sizes_to_check_contain_the_narrowest_place(tmp_path):
    """The ends are held, so the largest diameter of a tube that contracts is that of its ends."""
    assert run_case(read_case(written(tmp_path)), tmp_path / "run").outcome.kind == "reached"
    write_sheet_of(str(tmp_path / "run"), None, tmp_path / "sheet")
    assert "Lumen volume Smallest lumen diameter Largest diameter Length" in text_of(tmp_path / "sheet")


def test_invalid_workshop_settings_are_refused():
    for settings, words in (
        ({"shrinkage": 0.6}, r"fabrication\.shrinkage: must be at least 0 and below 0\.5, got 0\.6"),
        ({"pass_thickness": "0 um"}, r"fabrication\.pass_thickness: must be above 0 mm"),
        ({"tab_width": "3 mm"}, r"fabrication\.tab_width: needs tab_length as well"),
        ({"marks": "1 um"}, r"fabrication\.marks: must be at least 0.1 mm, got 0.001 mm"),
        ({"pass_thickness": "20"}, r"fabrication\.pass_thickness: .*has no unit"),
        ({"coat": "20 um"}, r"fabrication\.coat"),
    ):
        with pytest.raises(InputError, match=words):
            case_from_tables(tables(fabrication=settings))


def test_clearances_are_checked_as_cast():
    near = fabrication_plan(case_from_tables(tables(fabrication={"clearance": "6 mm"}))).remarks
    far = fabrication_plan(case_from_tables(tables(fabrication={"clearance": "5 mm"}))).remarks
    assert any("as near as 5 mm" in remark for remark in near)
    assert not any("as near as" in remark for remark in far)


@pytest.mark.parametrize(
    ("workshop", "says"),
    [
        ({"seam_overlap": "70 mm"}, "overlap by fabrication.seam_overlap = 70 mm"),
        ({"marks": "80 mm"}, "no marks: it is smaller than fabrication.marks = 80 mm"),
        ({"pass_thickness": "0.2 mm"}, "more than a sheet of 0.12 mm as cast"),
        (
            {"tab_width": "12 mm", "tab_length": "9 mm"},
            "they are drawn only as wide as the electrode: 10 mm for ring",
        ),
    ],
)
def test_settings_that_do_not_fit_the_part_are_said(workshop, says):
    parts = [TABLES["parts"][0] | {"prestretch": {"hoop": 1.2}}]
    small = {"seam_overlap": "5 mm", "marks": "5 mm", "pass_thickness": "0.12 mm"}
    fits = fabrication_plan(case_from_tables(tables(parts=parts, fabrication=small)))
    plan = fabrication_plan(case_from_tables(tables(parts=parts, fabrication=workshop)))
    assert sum(says in remark for remark in plan.remarks) == 1
    assert len(plan.remarks) == len(fits.remarks) + 1


def test_a_folder_with_moulds_of_another_sheet_is_refused(tmp_path):
    folder = tmp_path / "sheet"
    path = written(tmp_path)
    write_sheet_of(str(path), None, folder)
    write_sheet_of(str(path), None, folder)
    (folder / "mould_sleeve.stl").write_text("of another sheet")
    (folder / "mould_notes.txt").write_text("of the user")
    before = {file.name: file.read_bytes() for file in folder.iterdir()}
    with pytest.raises(InputError, match=r"sheet: contains files of another sheet \(mould_sleeve\.stl\)"):
        write_sheet_of(str(path), None, folder)
    assert {file.name: file.read_bytes() for file in folder.iterdir()} == before


def test_a_changed_case_replaces_its_own_moulds_and_masks(tmp_path):
    folder, title = tmp_path / "sheet", "cuff <1> & co"
    layers = [{"name": "wall", "thickness": "100 um"}, {"name": "backing", "thickness": "300 um"}]
    stretched = TABLES["parts"][0] | {"prestretch": {"hoop": 1.25, "axial": 1.25}}
    parts = [stretched, {"region": "backing", "material": "film"}]
    two = {"title": title, "shape": TABLES["shape"] | {"layers": layers}, "parts": parts}
    write_sheet_of(str(written(tmp_path, **two)), None, folder)
    (folder / "notes.txt").write_text("of the user")
    old = {file.name for file in folder.iterdir()}
    assert {"mould_wall.stl", "mould_backing.stl", "masks.dxf"} <= old
    bare = {"title": title, "electrodes": None, "stages": [{"name": "fill", "pressure": "1 kPa"}]}
    other = written(tmp_path, **bare | {"title": "cuff"})
    with pytest.raises(InputError, match="contains files of another sheet"):
        write_sheet_of(str(other), None, folder)
    assert {file.name for file in folder.iterdir()} == old
    new = {file.name for file in write_sheet_of(str(written(tmp_path, **bare)), None, folder)}
    assert "mould.stl" in new
    assert {file.name for file in folder.iterdir()} == new | {"notes.txt"}


def test_layers_with_different_prestretch_have_moulds_of_their_own(tmp_path):
    layers = [{"name": "wall", "thickness": "100 um"}, {"name": "backing", "thickness": "300 um"}]
    parts = [
        TABLES["parts"][0] | {"prestretch": {"hoop": 1.25, "axial": 1.25}},
        {"region": "backing", "material": "film"},
    ]
    path = written(tmp_path, shape=TABLES["shape"] | {"layers": layers}, parts=parts)
    names = {file.name for file in write_sheet_of(str(path), None, tmp_path / "sheet")}
    assert {"mould_wall.step", "mould_backing.stl", "mould_backing_profile.csv"} < names
    text = text_of(tmp_path / "sheet")
    assert "Wall: stretch by 1.25 around and 1.25 along. Draw lines 8 mm apart around" in text
    assert "Backing is mounted as it is cast" in text
    inner, outer = (
        list(csv.DictReader((tmp_path / "sheet" / f"mould_{name}_profile.csv").read_text().splitlines()))
        for name in ("wall", "backing")
    )
    # As cast the middle is 0.8 times as wide and the wall 1.25² times as thick.
    assert float(inner[0]["diameter [mm]"]) == pytest.approx(2 * (0.8 * 10.05 - 0.1 * 1.25**2 / 2))
    assert float(outer[0]["diameter [mm]"]) == pytest.approx(20.2)


def test_a_sheet_of_a_failed_run_says_so(tmp_path):
    soft = {"film": TABLES["materials"]["film"] | {"shear_modulus": "0.01 MPa"}}
    stages = [{"name": "energise", "voltage": "20 kV", "steps": 2}]
    case = case_from_tables(tables(materials=soft, stages=stages, path={"beyond_instability": "stop"}))
    assert run_case(case, tmp_path / "run").outcome.kind != "reached"
    write_sheet_of(str(tmp_path / "run"), None, tmp_path / "sheet")
    assert "The requested loads were not reached." in text_of(tmp_path / "sheet")


def test_no_page_lies_beside_files_of_another_sheet(tmp_path, monkeypatch):
    """The disk becomes full while a sheet is written over an older one."""
    path, folder = written(tmp_path), tmp_path / "sheet"
    write_sheet_of(str(path), None, folder)

    def full(place, content):
        if place.suffix == ".dxf":
            raise OSError(errno.ENOSPC, "no space")
        return write_atomically(place, content)

    monkeypatch.setattr("annelid.results.fabrication.sheet.write_atomically", full)
    assert (folder / "fabrication.html").exists()
    with pytest.raises(OSError, match="no space"):
        write_sheet_of(str(path), None, folder)
    assert not (folder / "fabrication.html").exists()


def test_a_run_of_another_case_is_refused(tmp_path):
    run_case(case_from_tables(tables()), tmp_path / "run")
    path = written(tmp_path, stages=[{"name": "energise", "voltage": "2 kV", "steps": 1}])
    with pytest.raises(InputError, match="is a run of another case"):
        write_sheet_of(str(path), tmp_path / "run", tmp_path / "sheet")
    assert not (tmp_path / "sheet").exists()
    path = written(tmp_path, fabrication=WORKSHOP)
    write_sheet_of(str(path), tmp_path / "run", tmp_path / "sheet")
    assert "3, the last" in text_of(tmp_path / "sheet")


@pytest.mark.long
def test_measured_walls_have_no_masks_and_no_moulds(tmp_path):
    heights = [0.0, 5.0, 10.0, 15.0, 20.0]
    grid = {
        "kind": "grid",
        "heights": [f"{height} mm" for height in heights],
        "radii": [["10.1 mm"] * len(heights)] * 12,
    }
    cell = {"kind": "re-entrant", "vertical": "4 mm", "inclined": "3.4 mm", "angle": "20 deg"}
    lattice = {
        "cell": cell | {"width": "0.6 mm"},
        "height": "0.5 mm",
        "around": 6,
        "measured": grid,
    }
    path = written(
        tmp_path,
        lattice=lattice,
        electrodes=None,
        stages=[{"name": "fill", "pressure": "1 kPa"}],
        parts=[{"region": "wall", "material": "film"}, {"region": "lattice", "material": "film"}],
        mesh={"model": "solid", "along": "4 mm", "on_struts": "2 mm"},
    )
    names = {file.name for file in write_sheet_of(str(path), None, tmp_path / "sheet")}
    assert names == {"layers.csv", "fabrication.html"}
    assert "The wall is a measured surface" in text_of(tmp_path / "sheet")


def test_command_writes_a_sheet_and_reports_a_folder_that_cannot_be_written(annelid, tmp_path):
    written(tmp_path)
    done = annelid("sheet", "part.toml")
    assert done.returncode == 0, done.stderr
    assert "written: sheets/part/fabrication.html" in done.stdout
    assert done.stderr == ""
    names = {file.name for file in (tmp_path / "sheets" / "part").iterdir()}
    assert {"layers.csv", "masks.svg", "masks.dxf", "mould.step", "mould.stl", "mould_profile.csv"} < names
    (tmp_path / "file").write_text("")
    done = annelid("sheet", "part.toml", "--out", "file/sheet")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert annelid("sheet", "nothing").returncode == 2
    (tmp_path / "empty").mkdir()
    for arguments in (("empty",), ("part.toml", "--run", "empty")):
        done = annelid("sheet", *arguments)
        assert (done.returncode, "contains no run" in done.stderr) == (2, True)
