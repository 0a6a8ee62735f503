# SPDX-License-Identifier: MIT
"""Keys of a case by path: ``shape.layers.wall.thickness``; list entries are addressed by name."""

import copy
import re
from collections.abc import Mapping
from typing import Any

from annelid.cases.studies.values import Value
from annelid.cases.validate.messages import not_one_of
from annelid.geometry.errors import InputError

__all__ = ["last_part", "set_keys"]

_PART = re.compile(r'"([^"]*)"|([^."]+)')
_NAMING_KEYS = ("name", "region", "quantity")


def set_keys(tables: Mapping[str, Any], values: Mapping[str, Value]) -> dict[str, Any]:
    """A copy of nested tables with some keys set.

    Args:
        tables: A case as a TOML reader returns it.
        values: New values by path. A part of a path that is not a single word is put in double quotes, as
            in ``stages."first fill".pressure``. A list entry is addressed by its ``name``, ``region`` or
            ``quantity``, or by its number from ``#1``.

    Raises:
        InputError: A path does not exist.
    """
    changed = copy.deepcopy(dict(tables))
    for path, value in values.items():
        _set(changed, path, value)
    return changed


def last_part(path: str) -> str:
    """The last part of a path as a name: ``hoop`` of ``parts.wall.natural_stretch.hoop``."""
    return re.sub(r"\W", "_", _parts(path)[-1])


def _parts(path: str) -> list[str]:
    parts = [quoted or plain for quoted, plain in _PART.findall(path)]
    if not parts or any(not part.strip() for part in parts) or not _well_formed(path):
        raise InputError(f'"{path}" is not a path; write for example shape.layers.wall.thickness', key=path)
    return parts


def _well_formed(path: str) -> bool:
    return re.fullmatch(rf"(?:{_PART.pattern})(?:\.(?:{_PART.pattern}))*", path) is not None


def _set(tables: dict[str, Any], path: str, value: Value) -> None:
    parts = _parts(path)
    here: Any = tables
    for depth, part in enumerate(parts[:-1]):
        if isinstance(here, list):
            here = here[_index(here, part, path)]
            continue
        if isinstance(here.get(part), str) and part == "voltage":
            here[part] = {"all": here[part]}  # a single voltage applies to all electrodes
        here = here.setdefault(part, {})
        if not isinstance(here, dict | list):
            parent = ".".join(parts[: depth + 1])
            raise InputError(f"{path}: {parent} is {here!r} and not a table; it has no keys", key=path)
    if isinstance(here, list):
        at = _index(here, parts[-1], path)
        if isinstance(here[at], dict):
            raise InputError(f"{path}: is a table; give one of its keys: {', '.join(here[at])}", key=path)
        here[at] = value
    elif isinstance(here.get(parts[-1]), dict | list) and parts[-1] != "voltage":
        raise InputError(f"{path}: is a table; give one of its keys", key=path)
    else:
        here[parts[-1]] = value


def _index(entries: list[Any], part: str, path: str) -> int:
    names = [_name(entry, number) for number, entry in enumerate(entries, start=1)]
    if part in names:
        return names.index(part)
    match = re.fullmatch(r"#(\d+)", part)
    if match and 1 <= int(match[1]) <= len(entries):
        return int(match[1]) - 1
    raise InputError(f"{path}: {not_one_of(part, names, what='an entry of this list')}", key=path)


def _name(entry: Any, number: int) -> str:
    if isinstance(entry, dict):
        for key in _NAMING_KEYS:
            if isinstance(entry.get(key), str):
                return str(entry[key])
    return f"#{number}"
