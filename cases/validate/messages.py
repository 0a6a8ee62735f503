# SPDX-License-Identifier: MIT
"""Conversion of the errors of the schema into sentences that name the key, the value and what is allowed."""

import types
from collections.abc import Iterable, Sequence
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from annelid.cases.schema.base import descriptions
from annelid.cases.schema.case import Case
from annelid.geometry.checks import nearest, one_of
from annelid.geometry.errors import InvalidValue

__all__ = ["RENAMED_QUANTITIES", "errors_of", "messages_of", "not_one_of", "path_of", "reason"]

RENAMED_QUANTITIES = {"slack share": "compressed wall fraction", "swept volume": "displaced volume"}
_RENAMED_KEYS = {"tissue_beds": "foundations"}
_RENAMED_WORDS = {"floating": "rigid motion"}
_NAMING_KEYS = ("name", "region", "quantity")


def messages_of(error: ValidationError, raw: dict[str, Any]) -> list[str]:
    """Return one sentence for each error.

    Args:
        error: Error that the schema raised for ``Case``.
        raw: The tables as read from the file.
    """
    return [_sentence(item, raw) for item in errors_of(error)]


def errors_of(error: ValidationError) -> list[dict[str, Any]]:
    """Return the errors of the schema without those that only follow from others."""
    items = [dict(item) for item in error.errors(include_url=False)]
    return [item for item in items if not _follows(item, items)]


def not_one_of(word: str, words: Sequence[str], *, what: str = "") -> str:
    """Return the message for a word that is not allowed, with the nearest and all allowed words."""
    try:
        one_of("", word, words, what=what)
    except InvalidValue as error:
        return error.problem
    raise AssertionError(word)


def path_of(raw: Any, *keys: str | int) -> str:
    """Return the readable path of a key; list entries appear by their name, else by their number from 1."""
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


def _follows(item: dict[str, Any], items: Iterable[dict[str, Any]]) -> bool:
    """Whether a list is reported as too short only because its invalid entries are not counted."""
    place = item["loc"]
    inside = (other["loc"][: len(place)] == place and len(other["loc"]) > len(place) for other in items)
    return item["type"] == "too_short" and any(inside)


def _sentence(item: dict[str, Any], raw: dict[str, Any]) -> str:
    keys, table, members = _walk(item["loc"])
    path = path_of(raw, *keys)
    kind, context = item["type"], item.get("ctx", {})
    if kind == "extra_forbidden":
        allowed, key = sorted(_keys(table)), str(keys[-1])
        if key in _RENAMED_KEYS:
            return f"{path}: has been renamed: write {_RENAMED_KEYS[key]}"
        return f"{path}: unknown key{nearest(key, allowed)}; allowed here: {', '.join(allowed)}"
    if kind == "missing":
        expected = _description(table, str(keys[-1])).rstrip(".")
        return f"{path}: missing: expected {expected[:1].lower()}{expected[1:]}"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        key = context["discriminator"].strip("'")
        tags = [tag.strip(" '") for tag in context.get("expected_tags", _tags(members)).split(",")]
        if kind == "union_tag_not_found":
            return f"{path}.{key}: missing; allowed: {', '.join(tags)}"
        return f"{path}.{key}: {not_one_of(context['tag'], tags)}"
    return f"{path}: {reason(item)}"


def reason(item: dict[str, Any]) -> str:
    """Return what is wrong with a value, without its key."""
    kind, value, context = item["type"], item["input"], item.get("ctx", {})
    shown = repr(value)
    if kind in ("unit", "range"):
        return str(item["msg"])
    if kind == "literal_error":
        words = [word.strip(" '") for word in context["expected"].replace(" or ", ",").split(",")]
        if isinstance(value, str) and value in _RENAMED_WORDS:
            return f"{shown} has been renamed: write '{_RENAMED_WORDS[value]}'"
        return not_one_of(value if isinstance(value, str) else shown, words)
    if kind in ("greater_than_equal", "int_type", "int_from_float"):
        least = f" of at least {context['ge']}" if "ge" in context else ""
        return f"must be a whole number{least}, got {shown}"
    if kind == "less_than_equal":
        return f"must be at most {context['le']}, got {shown}"
    if kind == "string_type":
        return f"must be a text, got {shown}"
    if kind == "string_too_short":
        return "must not be empty"
    if kind == "string_too_long":
        return f"must have at most {context['max_length']} characters, got {len(value)}"
    if kind in ("bool_type", "bool_parsing"):
        return f"must be true or false, got {shown}"
    if kind == "string_pattern_mismatch" and context["pattern"].startswith(r"^\S"):
        return f"must not be empty, or start or end with a blank, got {shown}"
    if kind == "string_pattern_mismatch":
        allowed = "letters, digits, _ and -" if r"\-" in context["pattern"] else "letters, digits and _"
        return f"{shown} is not a name: use {allowed}, starting with a letter"
    if kind == "too_short":
        least = context["min_length"]
        return f"needs at least {least} entr{'y' if least == 1 else 'ies'}, got {context['actual_length']}"
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"{shown} is not a table: write [key] or {{ key = value }}"
    if kind == "tuple_type":
        return f"{shown} is not a list: write [[{item['loc'][-1]}]] tables or [a, b]"
    message = str(item["msg"]).replace("Input should be", "must be").replace("Value error, ", "")
    return f"{shown} {message[0].lower()}{message[1:]}"


def _walk(location: tuple[str | int, ...]) -> tuple[list[str | int], Any, list[Any]]:
    """Return the keys as written in the file, the table of the last key, and the types allowed there."""
    here: Any = Case
    holder: Any = Case
    keys: list[str | int] = []
    for item in location:
        members = _union(here)
        tagged = [m for m in members if item in _literals(m)]
        if len(members) > 1 and tagged:  # this item is a tag of the schema, not a key of the file
            here = holder = tagged[0]
            continue
        if item == "[key]":
            continue
        holder, here = here, _below(members[0] if members else here, item)
        keys.append(item)
    return keys, _union(holder)[0], _union(here)


def _union(kind: Any) -> list[Any]:
    """Return the members of an optional type or a union, without None and annotations."""
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
            return descriptions(table).get(name, name)
    return key
