# SPDX-License-Identifier: MIT
"""The scatter of a case from a tolerance study, as evidence beside its runs."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from annelid.geometry.errors import InputError
from annelid.results.folder.digests import read_sealed, write_sealed

__all__ = ["SCATTER", "read_scatter", "write_scatter"]

SCATTER, _KIND = "scatter.json", "annelid scatter"


def write_scatter(
    folder: Path, case_hash: str, *, parts: int, met: int, quantities: Sequence[Mapping[str, Any]]
) -> Path:
    """Write the scatter into a study folder.

    Args:
        folder: The study folder.
        case_hash: Hash of the resolved base case.
        parts: Number of parts that were computed.
        met: Number of these that meet all requirements.
        quantities: Name, 5th, 50th and 95th percentile of each quantity, in internal units.
    """
    content = {"kind": _KIND, "case_hash": case_hash, "parts": parts, "met": met, "quantities": quantities}
    return write_sealed(folder / SCATTER, content)


def read_scatter(folder: Path) -> dict[str, Any] | None:
    """Read the scatter of a study folder; ``None`` if there is none that can be read."""
    try:
        data = read_sealed(folder / SCATTER)
    except (InputError, OSError):
        return None
    return data if data.get("kind") == _KIND else None
