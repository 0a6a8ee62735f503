# SPDX-License-Identifier: MIT
"""Pressures and forces on surfaces, thick walls and the mesh of cores, as a case file gives them."""

import numpy as np
import pytest
from plain_tube import BARE

from annelid.cases.convert.body import body_of
from annelid.cases.convert.path import stages_of
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run

SLEEVE = {
    "kind": "sleeve",
    "core_radius": "4 mm",
    "length": "20 mm",
    "layers": [{"name": "wall", "thickness": "200 um"}],
}
ON_CORE = [*BARE["parts"], {"region": "core", "material": "rubber"}]


def case_of(**changes):
    return case_from_tables(BARE | changes)


def test_loads_of_surfaces_are_read_in_their_units():
    stage = {
        "name": "press",
        "surface_pressure": {"outer": "50 mbar"},
        "radial_force": {"lumen": "-20 mN"},
        "force": {"outer": "3 mN"},
    }
    (read,) = stages_of(case_of(stages=[stage]))
    assert read.surface_pressures == {"outer": pytest.approx(5e-3)}
    assert read.radial_forces == {"lumen": pytest.approx(-0.02)}
    assert read.forces == {"outer": pytest.approx(3e-3)}


WRONG = {
    "unit": ({"surface_pressure": {"outer": "5 mN"}}, r"surface_pressure\.outer.*a pressure"),
    "no unit": ({"surface_pressure": {"outer": 5}}, r"surface_pressure\.outer.*unit"),
    "nan": ({"surface_pressure": {"outer": "nan kPa"}}, r"surface_pressure\.outer"),
    "infinite": ({"radial_force": {"outer": "inf N"}}, r"radial_force\.outer"),
    "no table": ({"surface_pressure": "5 kPa"}, "surface_pressure"),
    "pressure as force": ({"radial_force": {"outer": "5 kPa"}}, r"radial_force\.outer.*a force"),
    "no surface": ({"surface_pressure": {"skin": "5 kPa"}}, "'skin' is not a surface of this shape.*outer"),
    "empty": ({"surface_pressure": {"": "5 kPa"}}, "is not a surface of this shape"),
    "interface": ({"radial_force": {"core|wall": "5 N"}}, "is not a surface of this shape"),
    "lumen": (
        {"pressure": "1 kPa", "surface_pressure": {"lumen": "1 kPa"}},
        "surface_pressure.lumen: the pressure in the lumen has a key of its own",
    ),
    "clamped": ({"radial_force": {"end_low": "1 N"}}, "takes the whole radial force"),
}


@pytest.mark.parametrize("case", WRONG)
def test_loads_that_are_refused(case):
    loads, message = WRONG[case]
    with pytest.raises(InputError, match=message):
        case_of(stages=[{"name": "press"} | loads])


def test_thick_walls_are_allowed_where_the_case_says_so():
    thick = BARE["shape"] | {"layers": [{"name": "wall", "thickness": "6 mm"}]}
    with pytest.raises(InputError, match=r"the wall of 6 mm is thicker .* or set thick_wall = true"):
        case_of(shape=thick)
    body = body_of(case_of(shape=thick | {"thick_wall": True}))
    assert np.ptp(body.points[:, 0]) == pytest.approx(6.0)
    sleeve = SLEEVE | {"layers": [{"name": "wall", "thickness": "6 mm"}]}
    with pytest.raises(InputError, match="thicker than core_radius"):
        case_of(shape=sleeve, parts=ON_CORE, stages=[{"name": "rest"}])
    case_of(shape=sleeve | {"thick_wall": True}, parts=ON_CORE, stages=[{"name": "rest"}])


def test_elements_across_a_core_have_their_own_size():
    def radii(**mesh):
        case = case_of(
            shape=SLEEVE, parts=ON_CORE, mesh=BARE["mesh"] | mesh, stages=[{"name": "rest", "steps": 1}]
        )
        body = body_of(case)
        return np.unique(np.round(body.points[body.cells[body.regions["core"]], 0], 9))

    assert len(radii()) == 2 * 2 + 1
    assert len(radii(across_core="0.5 mm")) == 2 * 8 + 1
    with pytest.raises(InputError, match=r"across_core: .*above 0"):
        radii(across_core="0 mm")
    with pytest.raises(InputError, match=r"across_core = 1e-07 mm.* or mesh.across_core"):
        radii(across_core="1e-7 mm")
    with pytest.raises(InputError, match=r"mesh.across_core: this shape has no core: leave it out"):
        case_of(mesh=BARE["mesh"] | {"across_core": "1 mm"})


def test_a_run_reports_the_pressure_outside_and_its_volume(tmp_path):
    stage = {"name": "press", "surface_pressure": {"outer": "1 mmHg"}, "steps": 2}
    requirement = {"quantity": "displaced volume at outer", "at_least": "1 mm3"}
    round_only = {"harmonics": "none"}  # it would leave its round shape before
    case = case_of(stages=[stage], requirements=[requirement], output={"fields": "none"}, path=round_only)
    run_case(case, tmp_path / "run")
    run = open_run(tmp_path / "run")
    assert run.table["pressure on outer"][-1] == pytest.approx(1.33322e-4, rel=1e-5)
    volume = run.table["displaced volume at outer"]
    assert volume[-1] == pytest.approx(-run.table["displaced volume"][-1], rel=1e-3)
    assert run.summary["energies"]["unloaded_states"][0]["state"] == 0
