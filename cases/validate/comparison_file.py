# SPDX-License-Identifier: MIT
"""Reading how scans are compared: the table ``[comparison]`` of a case, or a file of its own."""

from pathlib import Path

from pydantic import ValidationError

from annelid.cases.schema.base import Table
from annelid.cases.schema.case import Case
from annelid.cases.schema.comparison import ComparisonTable
from annelid.cases.validate.crosscheck_comparison import check_comparison
from annelid.cases.validate.findings import Findings
from annelid.cases.validate.messages import messages_of
from annelid.cases.validate.toml_files import read_toml
from annelid.cases.validate.valid_tables import ValidTables
from annelid.geometry.errors import InputError

__all__ = ["read_comparison"]

_TABLE = "comparison"


class _File(Table):
    comparison: ComparisonTable


def read_comparison(path: Path) -> ComparisonTable:
    """Read a TOML file with the keys of ``[comparison]``, or that table of a case.

    Raises:
        InputError: The file cannot be read, or it has errors; the message has one line for each.
    """
    tables = read_toml(path)
    raw = {_TABLE: tables.get(_TABLE, tables)}
    try:
        table = _File.model_validate(raw).comparison
        findings = Findings(raw, ValidTables(Case.model_construct(), {}, set()))
        check_comparison(table, findings)
        messages = findings.messages
    except ValidationError as error:
        messages = messages_of(error, raw)
    if messages:
        head = f"{path}: {len(messages)} error{'s' if len(messages) > 1 else ''}"
        raise InputError("\n".join([head, *(f"  {line}" for line in messages)]), problems=messages)
    return table
