# SPDX-License-Identifier: MIT
"""The page on case files and the schema name the same keys."""

import re

from plain_tube import ROOT

from cases.schema import json_schema

PAGE = (ROOT / "cases" / "README.md").read_text()


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
