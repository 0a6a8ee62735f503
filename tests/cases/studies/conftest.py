# SPDX-License-Identifier: MIT
import os
from pathlib import Path

import pytest
import tomli_w
from plain_tube import ROOT

from annelid.cases.studies.driver import run_study
from annelid.cases.studies.opening import create_study, open_study
from annelid.cases.studies.settings import Settings
from annelid.cases.studies.table import StudyTable

HERE = Path(__file__).parent


@pytest.fixture
def study(tables, tmp_path):
    """Write a study of the plain tube and plan it: ``study(vary=[..])`` returns the plan and its folder."""

    def make(**keys):
        path = tmp_path / "some.toml"
        path.write_text(tomli_w.dumps({"title": "Some", "case": tables, **keys}))
        return open_study(str(path), tmp_path / "some")

    return make


@pytest.fixture
def drive(monkeypatch):
    """Do a study with synthetic runs; returns the table."""
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), str(HERE)]))

    def run(plan, store, **settings):
        create_study(plan, store)
        table = StudyTable(plan, store)
        with store.locked():
            run_study(plan, store, table, Settings(**{"workers": 2, "runner": "stand_in_runs"} | settings))
        return StudyTable(table.plan, store)

    return run


@pytest.fixture
def attempts():
    """Ids of the runs that were attempted, in order."""

    def read(store):
        file = store.path / "attempts.txt"
        return file.read_text().split() if file.exists() else []

    return read
