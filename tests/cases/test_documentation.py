# SPDX-License-Identifier: MIT
"""The documentation of case files and studies has the same keys as the schemas."""

import re

from plain_tube import ROOT

from annelid.cases.schema.case import json_schema
from annelid.cases.studies.plan import make_plan
from annelid.cases.studies.reading import read_study
from annelid.cases.studies.schema import Study

PAGE = (ROOT / "cases" / "README.md").read_text()
STUDIES = (ROOT / "cases" / "studies" / "README.md").read_text()


def schema_keys():
    schema = json_schema()
    return {key for table in [schema, *schema["$defs"].values()] for key in table.get("properties", {})}


def test_every_key_is_explained():
    code = " ".join(re.findall(r"`([^`]+)`", PAGE))
    words = set(re.findall(r"[a-z]\w*", code))
    assert schema_keys() - words == set()


def test_every_key_in_a_table_exists():
    tables = PAGE.split("### Top level")[1].split("## Runs")[0]
    first = [row.split("|")[1] for row in tables.splitlines() if row.startswith("| `")]
    named = {key.split(".")[-1] for cell in first for key in re.findall(r"`([a-z_.]+[0-9]?)`", cell)}
    assert len(named) > 40
    assert named <= schema_keys()


def test_every_key_of_a_study_is_explained():
    schema = Study.model_json_schema(by_alias=True)
    keys = {key for table in [schema, *schema["$defs"].values()] for key in table.get("properties", {})}
    code = " ".join(re.findall(r"`([^`]+)`", STUDIES.replace("```", "")))
    assert len(keys) > 30
    assert keys - set(re.findall(r"[a-z]\w*", code)) == set()


def test_the_example_of_a_study_can_be_planned(tmp_path):
    (tmp_path / "cuff_sheets.toml").write_text(re.search(r"```toml\n(.*?)```", STUDIES, re.DOTALL)[1])
    assert len(make_plan(read_study(tmp_path / "cuff_sheets.toml")).runs) == 15
