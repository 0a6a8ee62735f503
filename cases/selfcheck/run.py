# SPDX-License-Identifier: MIT
"""Running the checks, and the record of the last time on this machine."""

import importlib
import math
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple

from annelid.cases.run.environment import version
from annelid.cases.selfcheck.published import CHECKS, Check
from annelid.geometry.errors import AnnelidError
from annelid.results.evidence.selfcheck_record import CheckResult, write_record
from annelid.results.folder.folder_files import utc_now

__all__ = ["measured", "record", "run_checks"]

_MODULES = {
    "peristaltic_pump": "flows.peristaltic_pump",
    "windkessel": "flows.windkessel_step",
    "honeycomb": "shapes.honeycomb",
    "aligned_scan": "shapes.aligned_scan",
    "pulled_tube": "loads.pulled_tube",
    "twisted_tube": "loads.twisted_tube",
    "hanging_tube": "loads.hanging_tube",
    "fibre_tube": "loads.fibre_tube",
    "solid_tube": "loads.solid_tube",
}


class Measured(NamedTuple):
    """A check with its computed value and time, s; ``problem``: why there is none."""

    check: Check
    value: float
    seconds: float
    problem: str = ""

    @property
    def error(self) -> float:
        """Error relative to the published value, absolute if that is 0."""
        return abs(self.value - self.check.published) / (abs(self.check.published) or 1.0)

    @property
    def passed(self) -> bool:
        """Whether the error is within the tolerance; not if there is no value."""
        return self.error <= self.check.tolerance


def run_checks(checks: tuple[Check, ...] = CHECKS) -> Iterator[Measured]:
    """Run checks one after another; an error is a check that does not pass."""
    for check in checks:
        yield measured(check)


def measured(check: Check) -> Measured:
    """Run one check."""
    begin = time.monotonic()
    value, problem = math.nan, ""
    try:
        value = _function(check)()
    except AnnelidError as error:
        problem = error.message
    except Exception as error:
        problem = f"{type(error).__name__}: {error}"
    return Measured(check, value, time.monotonic() - begin, problem)


def _function(check: Check) -> Callable[[], float]:
    function, *words = check.name.split()
    module, _, name = _MODULES.get(function, f"parts.{function}").partition(".")
    found = getattr(importlib.import_module(f"annelid.cases.selfcheck.{module}"), name)
    return partial(found, *words)


def record(results: list[Measured]) -> Path:
    """Keep the results beside the compiled forms of this machine, for the evidence in reports."""
    rows = [
        CheckResult(r.check.name, r.check.feature, r.check.covers, r.check.source, r.error, r.check.tolerance)
        for r in results
    ]
    return write_record(rows, version(), utc_now())
