# SPDX-License-Identifier: MIT
"""From what the validator found to sentences a user can act on: key, value, what is allowed."""

import difflib
import types
from collections.abc import Iterable, Sequence
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from annelid.cases.schema.case import Case

__all__ = ["complaints", "findings", "nearest", "one_of", "path_of", "reason"]

_NAMING_KEYS = ("name", "region", "quantity")


def complaints(error: ValidationError, raw: dict[str, Any]) -> list[str]:
    """One sentence for each thing wrong.

    Args:
        error: What the validator raised for ``Case``.
        raw: The tables as read from the file.
    """
    return [_sentence(item, raw) for item in findings(error)]


def findings(error: ValidationError) -> list[dict[str, Any]]:
    """What the validator found, without what only follows from the rest."""
    found = [dict(item) for item in error.errors(include_url=False)]
    return [item for item in found if not _follows(item, found)]


def nearest(word: str, words: Iterable[str]) -> str:
    """`` (did you mean "x"?)`` if one of the words is near, else nothing."""
    found = difflib.get_close_matches(word, list(words), n=1, cutoff=0.6)
    return f' (did you mean "{found[0]}"?)' if found else ""


def one_of(word: str, words: Sequence[str], *, what: str = "") -> str:
    """Say that a word is not among the allowed ones, which it is near to, and list them."""
    listed = ", ".join(words) or "there are none in this case"
    return f'"{word}" is not {what or "allowed"}{nearest(word, words)}; allowed: {listed}'


def path_of(raw: Any, *keys: str | int) -> str:
    """Readable path of a key: list entries are called by their name, else by their number from 1."""
    path = ""
    for key in keys:
        if isinstance(key, int):
            path += f"[{_label(raw, key)}]"
        else:
            path += f".{key}" if path else key
        raw = _inside(raw, key)
    return path


def _label(raw: Any, index: int) -> str:
    entry = _inside(raw, index)
    if isinstance(entry, dict):
        for key in _NAMING_KEYS:
            if isinstance(entry.get(key), str):
                return str(entry[key])
    return f"#{index + 1}"


def _inside(raw: Any, key: str | int) -> Any:
    try:
        return raw[key]
    except (KeyError, IndexError, TypeError):
        return None


def _follows(item: dict[str, Any], found: Iterable[dict[str, Any]]) -> bool:
    """Whether a list is called too short only since its entries that are wrong are not counted."""
    place = item["loc"]
    inside = (other["loc"][: len(place)] == place and len(other["loc"]) > len(place) for other in found)
    return item["type"] == "too_short" and any(inside)


def _sentence(item: dict[str, Any], raw: dict[str, Any]) -> str:
    keys, table, members = _walk(item["loc"])
    path = path_of(raw, *keys)
    kind, context = item["type"], item.get("ctx", {})
    if kind == "extra_forbidden":
        allowed = sorted(_keys(table))
        return f"{path}: unknown key{nearest(str(keys[-1]), allowed)}; allowed here: {', '.join(allowed)}"
    if kind == "missing":
        return f"{path}: is missing; it says: {_description(table, str(keys[-1]))}"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        key = context["discriminator"].strip("'")
        tags = [tag.strip(" '") for tag in context.get("expected_tags", _tags(members)).split(",")]
        if kind == "union_tag_not_found":
            return f"{path}.{key}: is missing; one of: {', '.join(tags)}"
        return f"{path}.{key}: {one_of(context['tag'], tags)}"
    return f"{path}: {reason(item)}"


def reason(item: dict[str, Any]) -> str:
    """What is wrong with one value, in words, without its key."""
    kind, value, context = item["type"], item["input"], item.get("ctx", {})
    shown = f'"{value}"' if isinstance(value, str) else repr(value)
    if kind in ("unit", "range"):
        return str(item["msg"])
    if kind == "literal_error":
        words = [word.strip(" '") for word in context["expected"].replace(" or ", ",").split(",")]
        return (
            one_of(str(value), words)
            if isinstance(value, str)
            else f"{shown} is not one of {', '.join(words)}"
        )
    if kind in ("greater_than_equal", "int_type", "int_from_float"):
        return f"{shown} is not allowed; it must be a whole number, {context.get('ge', 1)} or more"
    if kind == "less_than_equal":
        return f"{shown} is not allowed; it must be {context['le']} or less"
    if kind == "string_pattern_mismatch":
        allowed = "letters, digits, _ and -" if r"\-" in context["pattern"] else "letters, digits and _"
        return f"{shown} is not a name; use {allowed}, beginning with a letter"
    if kind == "too_short":
        least = context["min_length"]
        return f"needs at least {least} entr{'y' if least == 1 else 'ies'}, got {context['actual_length']}"
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"{shown} is not a table; write [key] or {{ key = value }}"
    if kind == "tuple_type":
        return f"{shown} is not a list; write [[{item['loc'][-1]}]] tables or [a, b]"
    message = str(item["msg"]).replace("Input should be", "must be").replace("Value error, ", "")
    return f"{shown} {message[0].lower()}{message[1:]}"


def _walk(location: tuple[str | int, ...]) -> tuple[list[str | int], Any, list[Any]]:
    """Keys as written in the file, the table that holds the last one, and what may stand at it."""
    here: Any = Case
    holder: Any = Case
    keys: list[str | int] = []
    for item in location:
        members = _union(here)
        tagged = [m for m in members if item in _literals(m)]
        if len(members) > 1 and tagged:  # a tag of the validator, not a key of the file
            here = holder = tagged[0]
            continue
        if item == "[key]":
            continue
        holder, here = here, _below(members[0] if members else here, item)
        keys.append(item)
    return keys, _union(holder)[0], _union(here)


def _union(kind: Any) -> list[Any]:
    """Members of an optional or united type, without None and without annotations."""
    if get_origin(kind) is Annotated:
        return _union(get_args(kind)[0])
    if get_origin(kind) in (Union, types.UnionType):
        return [m for part in get_args(kind) if part is not type(None) for m in _union(part)]
    return [kind]


def _below(kind: Any, item: str | int) -> Any:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        for name, field in kind.model_fields.items():
            if item in (name, field.alias):
                return field.annotation
        return Any
    arguments = get_args(kind)
    if get_origin(kind) is tuple:
        return arguments[0]
    return arguments[1] if get_origin(kind) is dict else Any


def _literals(kind: Any) -> list[str]:
    if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
        return []
    fields = [kind.model_fields[key] for key in ("kind", "law") if key in kind.model_fields]
    return [
        value
        for field in fields
        if get_origin(field.annotation) is Literal
        for value in get_args(field.annotation)
    ]


def _tags(members: list[Any]) -> str:
    return ", ".join(tag for member in members for tag in _literals(member))


def _keys(table: Any) -> list[str]:
    fields = getattr(table, "model_fields", {})
    return [field.alias or name for name, field in fields.items()]


def _description(table: Any, key: str) -> str:
    for name, field in getattr(table, "model_fields", {}).items():
        if key in (name, field.alias):
            return field.description or name
    return key
