# SPDX-License-Identifier: MIT
"""The runs of a verification, and their plan."""

import pytest

from annelid.cases.convert.body import body_of
from annelid.cases.studies.store import Store
from annelid.cases.validate.reading import case_from_tables, find_case, read_case
from annelid.cases.verify.plan import create_folder, verification_plan
from annelid.cases.verify.refinement import refined_runs
from annelid.geometry.errors import InputError


def keys_of(case, **options):
    return {run.name: run.keys for run in refined_runs(case, **options)}


def test_all_sizes_and_numbers_of_elements_change_together():
    keys = keys_of(read_case(find_case("cuff")))
    names = ["case", "mesh 2", "mesh 1/2", "mesh 1/4", "steps 1/2", "steps 1/4", "tolerance 1/10"]
    assert list(keys) == [*names, "quadrature degree 8"]
    sizes = ("mesh.along", "mesh.through", "mesh.across_core")
    assert [keys["case"][key] for key in sizes] == ["0.5 mm", 2, "0.5 mm"]
    assert [keys["mesh 2"][key] for key in sizes] == ["1 mm", 1, "1 mm"]
    assert [keys["mesh 1/4"][key] for key in sizes] == ["0.125 mm", 8, "0.125 mm"]
    steps = ("stages.#1.steps", "stages.#2.steps", "path.smallest_step")
    assert [keys["mesh 1/4"][key] for key in steps] == [3, 6, 1e-4]
    assert [keys["steps 1/4"][key] for key in steps] == [12, 24, 2.5e-5]
    assert keys["tolerance 1/10"]["path.tolerance"] == pytest.approx(1e-9)


def test_a_mesh_with_one_element_through_the_wall_is_only_refined(tables):
    names = list(keys_of(case_from_tables(tables), finer=3))
    assert [name for name in names if name.startswith("mesh")] == ["mesh 1/2", "mesh 1/4", "mesh 1/8"]


def test_fewer_meshes_in_3d_and_elements_around(tables):
    tables["mesh"] |= {"model": "sector", "through": 2, "around": 32}
    keys = keys_of(case_from_tables(tables))
    assert [name for name in keys if name.startswith("mesh")] == ["mesh 2", "mesh 1/2"]
    assert [keys[name]["mesh.around"] for name in ("mesh 2", "case", "mesh 1/2")] == [16, 32, 64]


def test_the_default_size_on_struts_is_refined():
    case = read_case(find_case("lattice_sleeve"))
    keys = keys_of(case)
    size = float(str(keys["case"]["mesh.on_struts"]).split()[0])
    assert float(str(keys["mesh 1/2"]["mesh.on_struts"]).split()[0]) == pytest.approx(size / 2)
    assert keys["mesh 1/2"]["mesh.through_struts"] == 2 * keys["case"]["mesh.through_struts"]


def test_sections_of_a_flow_are_refined_with_the_mesh():
    keys = keys_of(read_case(find_case("oesophagus_pump")))
    assert keys["mesh 1/2"]["fluid.sections"] == 2 * keys["case"]["fluid.sections"]


@pytest.mark.parametrize("finer", [0, 6])
def test_numbers_of_meshes_out_of_range_are_refused(tables, finer):
    with pytest.raises(InputError, match="--finer: must be between 1 and 5"):
        refined_runs(case_from_tables(tables), finer=finer)


def test_every_run_is_a_valid_case_with_its_own_mesh(tables):
    case = case_from_tables(tables)
    runs = refined_runs(case, finer=1)
    plan = verification_plan(case, runs)
    assert [bool(run.toml) for run in plan.runs] == [True] * len(runs)
    assert plan.run_of_point == tuple(range(len(runs)))
    cells = {run.name: len(body_of(plan.runs[i].case()).cells) for i, run in enumerate(runs)}
    assert cells["mesh 1/2"] == 4 * cells["case"] == 4 * cells["steps 1/2"]
    assert plan.runs[-1].case().mesh.quadrature_degree == 8


def test_the_folder_of_another_case_is_refused(tables, tmp_path):
    case = case_from_tables(tables)
    store = Store(tmp_path / "bars")
    create_folder(verification_plan(case, refined_runs(case)), store)
    create_folder(verification_plan(case, refined_runs(case, finer=3)), store)  # more meshes: the same folder
    other = case_from_tables(tables | {"title": "Another"})
    before = (store.path / "study.toml").read_text()
    with pytest.raises(InputError, match="is the folder of another case or study; nothing was written"):
        create_folder(verification_plan(other, refined_runs(other)), store)
    assert (store.path / "study.toml").read_text() == before
