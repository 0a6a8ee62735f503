# SPDX-License-Identifier: MIT
"""Input that is too large, too deep or never ends is refused at once."""

import itertools
import os
import signal
import tomllib

import numpy as np
import pytest

from annelid.cases.convert.body import body_of
from annelid.cases.schema.units import UnitError, parse
from annelid.cases.studies.formula import evaluate
from annelid.cases.studies.reading import study_from_text
from annelid.cases.validate.reading import case_from_tables, library_cases, read_case
from annelid.geometry.errors import InputError
from annelid.geometry.meshing.fill import fill_volume

LIMIT = 20  # s


@pytest.fixture(autouse=True)
def time_limit():
    def stop(*_):
        raise TimeoutError(f"not refused within {LIMIT} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(LIMIT)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a = " + "[" * 5000 + "]" * 5000, "is nested deeper than 20 levels"),
        ("[" + "a." * 200 + "a]\nb = 1", "a: is nested deeper than 20 levels"),
        (
            "mesh = { through = " + "9" * 400 + " }",
            r"mesh\.through: is out of range: integers are at most 1e\+15",
        ),
        ("mesh = { through = " + "9" * 5000 + " }", "has an integer of more than 4300 digits"),
        ('title = "' + "x" * 20_000_000 + '"', "is too large: 20 MB; at most 20 MB are read"),
        ('title = "\\ud800"', "is not valid TOML"),
    ],
    ids=["deep list", "deep table", "400 digits", "5000 digits", "large", "surrogate"],
)
def test_limits_of_a_case_file(tmp_path, text, message):
    path = tmp_path / "case.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read_case(path)


def measured(tmp_path, name):
    tables = tomllib.loads(library_cases()["scanned_tube"].read_text())
    tables["lattice"]["measured"]["path"] = str(tmp_path / name)
    return tables


def test_a_companion_must_be_a_regular_file(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "zero").symlink_to("/dev/zero")
    for name in ("pipe", "zero", "."):
        with pytest.raises(InputError, match=r"lattice\.measured\.path: .* is not a regular file"):
            case_from_tables(measured(tmp_path, name))
    with pytest.raises(InputError, match=r"cannot be read \(No such file.*paths are relative to the case"):
        case_from_tables(measured(tmp_path, "nothing.csv"))


def test_a_companion_has_a_largest_size(tmp_path):
    with (tmp_path / "large.csv").open("wb") as file:
        file.truncate(300_000_000)
    with pytest.raises(InputError, match="is too large: 300 MB; at most 50 MB are read"):
        case_from_tables(measured(tmp_path, "large.csv"))


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            "angle_deg,height_mm\n0,1\n",
            "missing: radius_mm; expected the columns angle_deg, height_mm, radius_mm",
        ),
        ("angle_deg,height_mm,radius_mm\n0,1\n", "line 2: radius_mm: '' is not a number"),
        ("angle_deg,height_mm,radius_mm\n0,1,nan\n", "line 2: radius_mm: 'nan' is not a number"),
        ("angle_deg,height_mm,radius_mm\n", "has no rows"),
        ("", "missing: angle_deg, height_mm, radius_mm"),
    ],
)
def test_columns_of_a_companion(tmp_path, content, message):
    (tmp_path / "scan.csv").write_text(content)
    with pytest.raises(InputError, match=message):
        case_from_tables(measured(tmp_path, "scan.csv"))


@pytest.mark.parametrize("unit", ["mm**9**9**9", "mm^99", "mm**(9**9)", "mm^-2^9", "*".join(["mm"] * 500)])
def test_units_with_large_powers(unit):
    with pytest.raises(UnitError, match="has a unit that cannot be read"):
        parse(f"1 {unit}", "mm")
    assert parse("2 kg*m**-1*s**-2", "MPa") == pytest.approx(2e-6)


@pytest.mark.parametrize("key", ["along", "on_struts"])
def test_lengths_whose_square_is_zero(key):
    tables = tomllib.loads(library_cases()["lattice_sleeve"].read_text())
    tables["mesh"][key] = "1e-300 mm"
    with pytest.raises(
        InputError, match=rf"mesh\.{key}: '1e-300 mm' is out of range; its size must be at least"
    ):
        case_from_tables(tables)


@pytest.mark.parametrize(
    "formula", ["((((((9**10)**10)**10)**10)**10)**10)**10", "9" * 250 + "**10", "10**10**10", "10.0**10**10"]
)
def test_formulas_with_large_powers(formula):
    with pytest.raises(InputError, match=r"is out of range|has the exponent"):
        evaluate(formula, {})


@pytest.mark.parametrize(
    ("mesh", "message"),
    [
        ({"along": "1e-6 mm"}, "more than 1000000; make mesh.on_struts or mesh.along larger"),
        ({"on_struts": "1e-6 mm"}, "more than 1000000; make mesh.on_struts or mesh.along larger"),
        ({"through": 100_000}, "more than 1000000; make mesh.through smaller or mesh.along larger"),
    ],
)
def test_cells_of_a_lattice_are_counted_first(mesh, message):
    tables = tomllib.loads(library_cases()["lattice_sleeve"].read_text())
    tables["mesh"] |= mesh
    with pytest.raises(InputError, match=message):
        body_of(case_from_tables(tables))


def test_cells_of_a_core_are_counted_first():
    """A cube of 1 mm in tetrahedra of 5 um."""
    corners = np.array(list(itertools.product((0.0, 1.0), repeat=3)))
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    triangles = np.array([half for a, b, c, d in faces for half in ((a, b, c), (a, c, d))])
    with pytest.raises(InputError, match=r"along = 0\.005 mm would give about 678\d+ cells"):
        fill_volume(corners, triangles, 0.005)


def test_an_error_of_the_mesher_is_an_input_error():
    tables = tomllib.loads(library_cases()["stent_sheath"].read_text())
    tables["lattice"]["cell"]["width"] = "1e-7 mm"
    with pytest.raises(InputError, match="mesh: the part cannot be meshed"):
        body_of(case_from_tables(tables))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('time-limit = "10 min"', "time-limit: unknown key"),
        ('limits = { time-limit = "10 min" }', "limits.time-limit: unknown key; allowed here: memory"),
        (
            'sampling = { method = "random", samples = 2147483648 }',
            "sampling.samples: must be at most 200000",
        ),
    ],
)
def test_limits_of_a_study_file(text, message):
    head = 'title = "x"\ncase = "cuff"\n'
    with pytest.raises(InputError, match=message):
        study_from_text(
            f'{head}{text}\n[[vary]]\nkey = "mesh.along"\nvalues = ["1 mm"]\n', source="study.toml"
        )
