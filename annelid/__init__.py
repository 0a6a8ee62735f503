# SPDX-License-Identifier: MIT
"""Design and check soft tubular dielectric-elastomer actuators.

A script reads, checks, runs and opens a case by these names, which are imported on first use::

    import annelid

    case = annelid.read_case(annelid.find_case("cuff"))
    result = annelid.run_case(case, "runs/cuff")
    print(result.outcome.text, annelid.open_run("runs/cuff").table["breakdown margin"])

The packages in here are links to the folders of the same name beside this one.
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from annelid.cases.run.check import check_case
    from annelid.cases.run.environment import version
    from annelid.cases.run.run import run_case
    from annelid.cases.schema.case import Case
    from annelid.cases.validate.reading import case_from_tables, find_case, library_cases, read_case
    from annelid.geometry.errors import AnnelidError, InputError
    from annelid.results.folder.run_record import open_run
    from annelid.results.report.report import write_report
    from annelid.results.show.show_files import write_show
    from annelid.solver.errors import NoEquilibrium

_HOMES = {
    "AnnelidError": "geometry.errors",
    "Case": "cases.schema.case",
    "InputError": "geometry.errors",
    "NoEquilibrium": "solver.errors",
    "case_from_tables": "cases.validate.reading",
    "check_case": "cases.run.check",
    "find_case": "cases.validate.reading",
    "library_cases": "cases.validate.reading",
    "open_run": "results.folder.run_record",
    "read_case": "cases.validate.reading",
    "run_case": "cases.run.run",
    "version": "cases.run.environment",
    "write_report": "results.report.report",
    "write_show": "results.show.show_files",
}

__all__ = [
    "AnnelidError",
    "Case",
    "InputError",
    "NoEquilibrium",
    "case_from_tables",
    "check_case",
    "find_case",
    "library_cases",
    "open_run",
    "read_case",
    "run_case",
    "version",
    "write_report",
    "write_show",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'annelid' has no attribute '{name}'")
    if name in ("check_case", "run_case"):
        from annelid.cases.run.environment import prepare

        prepare()  # the numerical libraries read their settings when they are imported
    return getattr(importlib.import_module(f"annelid.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
