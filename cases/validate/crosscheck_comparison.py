# SPDX-License-Identifier: MIT
"""Checks of the table ``[comparison]``, by its keys."""

from annelid.cases.convert.comparison import cleaning_of, limits_of
from annelid.cases.schema.comparison import ComparisonTable
from annelid.cases.validate.findings import Findings
from annelid.geometry.errors import InvalidValue

__all__ = ["check_comparison"]


def check_comparison(table: ComparisonTable, findings: Findings) -> None:
    """Check how scans are cleaned and what is required of measured parts."""
    with findings.catching("comparison", "cleaning"):
        cleaning_of(table.cleaning)
    for index, requirement in enumerate(table.requirements):
        with findings.catching("comparison", "requirements", index):
            list(limits_of(requirement))
    if table.scanner_uncertainty is not None and table.scanner_uncertainty < 0.0:
        problem = f"{table.scanner_uncertainty:g} mm must be 0 mm or more"
        findings.add(("comparison",), InvalidValue(problem, key="scanner_uncertainty"))
