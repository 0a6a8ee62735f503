# SPDX-License-Identifier: MIT
"""The record of the last self-check on this machine, kept beside the compiled forms."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from annelid.geometry.cache_place import cache_place
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import read_sealed, write_sealed

__all__ = ["CheckResult", "SelfcheckRecord", "read_record", "write_record"]

_FILE, _KIND = "selfcheck.json", "annelid selfcheck"


@dataclass(frozen=True)
class CheckResult:
    """The result of one check.

    Attributes:
        name: Name.
        feature: What it is about.
        covers: Features of cases that it covers.
        source: Where the published value comes from.
        error: Error relative to the published value, absolute if that is 0; ``nan`` if it failed to run.
        tolerance: Allowed error.
    """

    name: str
    feature: str
    covers: tuple[str, ...]
    source: str
    error: float
    tolerance: float

    @property
    def passed(self) -> bool:
        """Whether the error is within the tolerance."""
        return self.error <= self.tolerance


@dataclass(frozen=True)
class SelfcheckRecord:
    """The results of the last self-check with the version of the program and the time of its end."""

    version: str
    when: str
    results: tuple[CheckResult, ...]


def write_record(results: Sequence[CheckResult], version: str, when: str) -> Path:
    """Write the record of this machine."""
    place = cache_place()
    place.mkdir(parents=True, exist_ok=True)
    content = {"kind": _KIND, "version": version, "when": when, "results": [asdict(r) for r in results]}
    return write_sealed(place / _FILE, content)


def read_record() -> SelfcheckRecord | None:
    """Read the record of this machine; ``None`` if there is none that can be read."""
    try:
        data = read_sealed(cache_place() / _FILE)
        results = tuple(
            CheckResult(
                **{
                    **entry,
                    "covers": tuple(entry["covers"]),
                    "error": float(entry["error"]),
                }
            )
            for entry in data["results"]
        )
        return SelfcheckRecord(data["version"], data["when"], results)
    except (InputError, OSError, KeyError, TypeError, ValueError):
        return None
