# SPDX-License-Identifier: MIT
"""The run beside a run that differs little from it and meets the requirements that it misses."""

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text
from annelid.results.folder.folder_files import CASE
from annelid.results.folder.run_record import open_run
from annelid.solver.display import digits

_MOST_CHANGES = 3  # keys in which the runs may differ
_MOST_FOLDERS = 300
_LARGEST_CASE = 10_000_000  # bytes
_NOT_PART = ("title", "notes", "output", "path", "requirements", "fabrication")


class _Neighbour(NamedTuple):
    changes: int
    name: str
    text: str


def neighbour_that_works(path: Path) -> str:
    """Return a sentence on the run beside a run that meets all requirements with the fewest changed keys.

    Folders beside it that cannot be read, are damaged or contain something else are left out.

    Args:
        path: The Run folder.

    Returns:
        The sentence; empty if there is no such run.
    """
    own, place = _case(path), path.resolve()
    if own is None:
        return ""
    found = [n for folder in _folders(place) if (n := _neighbour(own, folder)) is not None]
    if not found:
        return ""
    best = min(found)
    return f"The run “{best.name}” beside this one meets all requirements; it differs in {best.text}."


def _folders(place: Path) -> list[Path]:
    """The folders beside a folder; none if the system does not allow to list them."""
    try:
        return sorted(p for p in place.parent.iterdir() if p != place and p.is_dir())[:_MOST_FOLDERS]
    except OSError:
        return []


def _neighbour(own: Mapping[str, Any], folder: Path) -> _Neighbour | None:
    """What a run changes, if it has the same requirements, meets them all, and changes little."""
    other = _case(folder)
    if other is None or other.get("requirements") != own.get("requirements"):
        return None
    a, b = (dict(_leaves({k: v for k, v in case.items() if k not in _NOT_PART})) for case in (own, other))
    keys = [key for key in {**a, **b} if a.get(key) != b.get(key)]
    if not 0 < len(keys) <= _MOST_CHANGES or not _works(folder):
        return None
    text = ", ".join(f"{key} ({_show(a.get(key))} → {_show(b.get(key))})" for key in keys)
    return _Neighbour(len(keys), folder.name, text)


def _works(folder: Path) -> bool:
    """Whether a run is finished, reached its loads and met its requirements."""
    try:
        run = open_run(folder, with_fields=False)
        return run.outcome is not None and run.outcome.kind == "reached" and all(v.met for v in run.verdicts)
    except InputError:
        return False


def _case(folder: Path) -> dict[str, Any] | None:
    """The resolved case of a Run folder; ``None`` if it cannot be read."""
    try:
        return tomllib.loads(read_text(folder / CASE, most=_LARGEST_CASE))
    except (InputError, tomllib.TOMLDecodeError):
        return None


def _leaves(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Values of nested tables by path; entries of lists of tables by their name or region."""
    if isinstance(value, Mapping):
        for name, member in value.items():
            yield from _leaves(member, f"{key}.{name}" if key else name)
    elif isinstance(value, list) and value and all(isinstance(member, Mapping) for member in value):
        for number, member in enumerate(value):
            yield from _leaves(member, f"{key}.{member.get('name') or member.get('region') or number}")
    else:
        yield key, value


def _show(value: Any) -> str:
    return "none" if value is None else digits(value, 4) if isinstance(value, float) else str(value)
