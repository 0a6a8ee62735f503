# SPDX-License-Identifier: MIT
"""Factors between units are kept on disk; without a sound file they come from the library."""

import json
import os
import subprocess
import sys

import pytest
from plain_tube import ROOT

from annelid.cases.schema import unit_factors

READ = """
import sys
from annelid.cases.schema.units import parse
from annelid.cases.studies.values import internal_unit
assert internal_unit("45 mC") == "uC"  # after lengths, pressures and others were tried
print(parse("45 um", "mm"), parse("10 mmHg", "MPa"), "pint" in sys.modules)
"""


def read_in_another_process(cache):
    environment = os.environ | {"ANNELID_CACHE": str(cache), "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", READ], env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    length, pressure, imported = done.stdout.split()
    assert float(length) == 0.045
    # 1 mmHg = 133.322387415 Pa (conventional; NIST SP 811, appendix B, rounds to 133.3224 Pa).
    assert float(pressure) == pytest.approx(1.33322387415e-3, rel=1e-7)
    return imported == "True"


def test_the_library_is_needed_once(tmp_path):
    assert read_in_another_process(tmp_path)
    assert not read_in_another_process(tmp_path)


NOT_FACTORS = ['{"um in mm": "x"}', '{"um in mm": true}', '{"um in mm": NaN}']


@pytest.mark.parametrize("content", ["", '{"um in mm": 0.0', "[1, 2]", *NOT_FACTORS])
def test_a_damaged_file_is_like_none(tmp_path, monkeypatch, content):
    monkeypatch.setenv("ANNELID_CACHE", str(tmp_path))
    file = unit_factors._file()
    file.write_text(content)
    unit_factors._known.cache_clear()
    try:
        assert unit_factors.unit_factor("um", "mm") == 1e-3
        assert json.loads(file.read_text()) == {"um in mm": 1e-3}
    finally:
        unit_factors._known.cache_clear()


def test_a_cache_that_cannot_be_written_is_no_error(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("ANNELID_CACHE", str(tmp_path / "file"))
    unit_factors._known.cache_clear()
    try:
        assert unit_factors.unit_factor("kPa", "MPa") == 1e-3
    finally:
        unit_factors._known.cache_clear()
