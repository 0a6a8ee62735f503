# SPDX-License-Identifier: MIT
"""Lattices in case files: reading, checking, wrapping and printing."""

import copy
import re
import tomllib

import numpy as np
import pytest
import tomli_w
from plain_tube import TABLES

from annelid.cases.cli.lattice_cells import cell_lines
from annelid.cases.cli.main import main
from annelid.cases.convert.lattice import cell_of, lattice_of
from annelid.cases.validate.reading import case_from_tables, library_cases, read_case
from annelid.cases.validate.resolved import case_hash, to_toml
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.catalogue import EXAMPLES
from annelid.geometry.lattice.measured_chart import MeasuredChart
from annelid.geometry.printing.nozzle_clearance import clearance_of
from annelid.geometry.printing.settings import PrinterSettings
from annelid.geometry.printing.tool_path import tool_path

LATTICE = {
    "cell": {
        "kind": "re-entrant",
        "vertical": "3 mm",
        "inclined": "2 mm",
        "angle": "25 deg",
        "width": "300 um",
    },
    "height": "0.5 mm",
    "ring": "1 mm",
}


def tables_with(**changes):
    return copy.deepcopy(TABLES) | {"lattice": LATTICE | changes}


@pytest.mark.parametrize(
    ("key", "place"),
    [("angles", ["-30 deg", "30 deg"]), ("helix", {"pitch": "10 mm", "width": "2 mm"})],
)
def test_electrodes_of_a_lattice_go_all_around(key, place):
    tables = tables_with()
    tables["mesh"]["model"] = "solid"
    tables["electrodes"][0][key] = place
    with pytest.raises(InputError, match=rf"electrodes\[low\]\.{key}: .* go all around: leave out {key}"):
        case_from_tables(tables)


def test_the_lattice_is_on_the_wall():
    lattice = lattice_of(case_from_tables(tables_with()))
    assert lattice.chart.scale(np.zeros((1, 2))) == pytest.approx(4.2)
    assert lattice.heights == (0.0, 0.5)
    assert lattice.around == round(2 * np.pi * 4.2 / (4.0 * np.cos(np.radians(25.0))))
    inside = lattice_of(case_from_tables(tables_with(side="embedded", depth=0.25)))
    assert inside.chart.scale(np.zeros((1, 2))) == pytest.approx(4.05)


def test_the_lattice_is_between_its_given_ends():
    lattice = lattice_of(case_from_tables(tables_with(**{"from": "4 mm", "to": "16 mm"})))
    ends = np.array([[0.0, lattice.extent.low], [0.0, lattice.extent.high]])
    assert lattice.chart.place(ends).position[:, 2] == pytest.approx([4.0, 16.0], abs=1e-6)


def dome_tables(**changes):
    tables = tables_with(**{"from": "5 mm", "to": "11 mm", "ring": "0.2 mm"} | changes)
    tables["shape"] = {
        "kind": "dome",
        "rim_radius": "12 mm",
        "rise": "5 mm",
        "layers": tables["shape"]["layers"],
    }
    tables["electrodes"] = []
    tables["sections"] = []
    tables["supports"] = [{"region": "end_low", "hold": "all"}]
    tables["stages"] = [{"pressure": "1 kPa"}]
    tables["requirements"] = []
    return tables


def test_ends_on_a_dome_are_radii():
    lattice = lattice_of(case_from_tables(dome_tables()))
    ends = np.array([[0.0, lattice.extent.high], [0.0, lattice.extent.low]])
    inner = lattice.chart.place(ends, -0.2).position
    assert np.hypot(*inner[:, :2].T) == pytest.approx([5.0, 11.0], abs=1e-5)


def test_a_resolved_lattice_is_read_as_the_same_lattice(tmp_path):
    case = case_from_tables(tables_with())
    (tmp_path / "case.toml").write_text(to_toml(case))
    reread = read_case(tmp_path / "case.toml")
    assert reread.lattice == case.lattice
    assert case_hash(reread) == case_hash(case)


def test_the_resolved_case_contains_the_measured_surface(tmp_path):
    rows = [f"{a},{h},{5.0 + 0.1 * np.cos(np.radians(2 * a))}" for a in range(0, 360, 30) for h in range(21)]
    (tmp_path / "scan.csv").write_text("\n".join(["angle_deg,height_mm,radius_mm", *rows]))
    tables = tables_with(measured={"kind": "file", "path": "scan.csv"})
    case = case_from_tables(tables, folder=tmp_path)
    chart = lattice_of(case).chart
    assert isinstance(chart, MeasuredChart)
    assert chart.surface.radii[3] == pytest.approx(np.full(21, 4.9))
    assert read_back(case, tmp_path).lattice == case.lattice


def read_back(case, folder):
    (folder / "resolved.toml").write_text(to_toml(case))
    return read_case(folder / "resolved.toml")


@pytest.mark.parametrize("kind", EXAMPLES)
def test_the_listed_cells_are_valid_in_a_case(kind):
    line = next(line for line in cell_lines() if line.startswith(f"{kind} "))
    text = tomli_w.dumps(tables_with(cell="CELL")).replace('cell = "CELL"', line.split("  ")[-1].strip())
    assert cell_of(case_from_tables(tomllib.loads(text)).lattice.cell) == EXAMPLES[kind]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"height": 0.5}, r"lattice.height: 0.5 has no unit"),
        ({"around": 0}, r"lattice.around: must be a whole number of at least 1, got 0"),
        ({"side": "above"}, r"lattice.side: 'above' is not allowed; allowed: outside, inside, embedded"),
        ({"cell": {"kind": "hexagon"}}, r"lattice.cell.kind: 'hexagon' is not allowed.*honeycomb"),
        (
            {"cell": LATTICE["cell"] | {"angle": "60 deg"}},
            r"lattice.cell.angle: must be above 0 and below 48.59.* got 60 deg",
        ),
        ({"cell": LATTICE["cell"] | {"length": "1 mm"}}, r"lattice.cell.length: unknown key"),
        ({"from": "25 mm"}, r"lattice.from: must be at least 0 and at most 20 mm .* got 25 mm"),
        ({"from": "9 mm", "to": "8 mm"}, r"lattice.to: must be above 9 mm \(from\), got 8 mm"),
        ({"printing": {"feed": "8 mm"}}, r"lattice.printing.feed: '8 mm' is in millimeter"),
        ({"printing": {"machine": "lathe"}}, r"lattice.printing.machine: 'lathe' is not allowed"),
        (
            {"measured": {"kind": "grid", "heights": ["0 mm"] * 4, "radii": [["5 mm"] * 3] * 8}},
            r"lattice.measured.radii\[#1\]: has 3 radii, but heights has 4",
        ),
    ],
)
def test_invalid_lattices_are_refused(changes, message):
    with pytest.raises(InputError) as caught:
        case_from_tables(tables_with(**changes))
    assert re.search(message, caught.value.message)


def test_print_writes_the_files_and_describes_them(tmp_path, capsys):
    (tmp_path / "case.toml").write_text(tomli_w.dumps(tables_with()))
    assert main(["print", str(tmp_path / "case.toml"), "--out", str(tmp_path / "out")]) == 0
    printed = capsys.readouterr().out
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {
        "centre_lines.vtp",
        "centre_lines.csv",
        "program.nc",
        "lattice.stl",
        "lattice.png",
        "tool_path.png",
    }
    assert all(name in printed for name in names)
    assert re.search(r"7 by \d re-entrant cells", printed)
    layers, metres, lifts, least = re.search(
        r"(\d) layers, ([\d.]+) m .* (\d+) lifts \(at least (\d+)", printed
    ).groups()
    assert (layers, lifts) == ("2", least)
    assert float(metres) > 0.1
    assert re.search(r"the smallest gap between nozzle and part is 0\.2 mm", printed)
    assert "dry-run the program" in printed


@pytest.mark.long
@pytest.mark.slow
def test_lattices_of_the_library_can_be_printed():
    cases = [read_case(path) for path in library_cases().values()]
    with_lattice = [case for case in cases if case.lattice is not None]
    assert with_lattice
    for case in with_lattice:
        path = tool_path(lattice_of(case), PrinterSettings(**dict(case.lattice.printing)))
        assert path.lifts == path.layers * path.min_trails - 1
        assert path.printed_length > 100.0
        assert len(clearance_of(path).collisions) == 0


def test_collision_of_nozzle_and_part_is_refused(tmp_path, capsys):
    (tmp_path / "case.toml").write_text(tomli_w.dumps(dome_tables(printing={"machine": "rotary"})))
    assert main(["print", str(tmp_path / "case.toml"), "--out", str(tmp_path / "out")]) == 2
    words = capsys.readouterr().err
    assert "the nozzle would collide with the part" in words
    assert 'machine = "five-axis"' in words
    assert not (tmp_path / "out").exists()


def test_a_case_without_a_lattice_prints_nothing(tmp_path, capsys):
    (tmp_path / "case.toml").write_text(tomli_w.dumps(TABLES))
    assert main(["print", str(tmp_path / "case.toml"), "--out", str(tmp_path / "out")]) == 2
    assert "needs a case with the table [lattice]" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_cells_are_listed_and_drawn(tmp_path, capsys):
    assert main(["cells", "--image", str(tmp_path / "cells.png")]) == 0
    printed = capsys.readouterr().out
    assert all(f'kind = "{kind}"' in printed for kind in EXAMPLES)
    assert (tmp_path / "cells.png").read_bytes().startswith(b"\x89PNG")
