# SPDX-License-Identifier: MIT
"""The names that ``import annelid`` provides."""

import subprocess
import sys

import pytest

import annelid


def test_every_name_exists_and_is_documented():
    for name in annelid.__all__:
        assert getattr(annelid, name).__doc__, name
    assert set(annelid.__all__) <= set(dir(annelid))
    with pytest.raises(AttributeError, match="no attribute 'meshes'"):
        annelid.meshes  # noqa: B018


def test_the_import_loads_no_library():
    script = "import sys, annelid; print(sorted({'numpy', 'dolfinx', 'gmsh', 'pydantic'} & set(sys.modules)))"
    assert subprocess.check_output([sys.executable, "-c", script], text=True).strip() == "[]"


def test_a_script_reads_checks_runs_and_opens_a_case(tmp_path):
    script = """
import annelid
case = annelid.read_case(annelid.find_case("pull_in_tube"))
checked = annelid.check_case(case)
assert checked.cost.cells == len(checked.body.cells)
result = annelid.run_case(case, "run")
record = annelid.open_run("run")
assert repr(record.outcome) == repr(result.outcome)  # a margin may be nan
assert set(record.table.quantities) <= set(checked.quantities)
print(annelid.write_report("run", with_pictures=False))
try:
    annelid.case_from_tables({"title": "none"})
except annelid.InputError as error:
    print(error.message.splitlines()[0])
"""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines() == ["run/report.html", "case: 4 errors"]
