# SPDX-License-Identifier: MIT
"""Checks of input: one test each, raise or return nothing, take the name to print."""

import math
import re

from annelid.geometry.errors import InputError

RESERVED_REGIONS = ("core", "cap")
_NAME = re.compile(r"\w[\w \-]*")


def within(
    key: str,
    value: float,
    *,
    above: float | None = None,
    least: float | None = None,
    below: float | None = None,
    most: float | None = None,
    unit: str = "",
    why: str = "",
) -> None:
    """Raise InputError unless the finite ``value`` lies in the given range."""
    good = math.isfinite(value)
    good &= above is None or value > above
    good &= least is None or value >= least
    good &= below is None or value < below
    good &= most is None or value <= most
    if good:
        return
    limits = {"above": above, "at least": least, "below": below, "at most": most}
    allowed = " and ".join(f"{word} {bound:g}" for word, bound in limits.items() if bound is not None)
    reason = f" ({why})" if why else ""
    raise InputError(
        f"{key} = {value:g} {unit}".rstrip() + f": must be {allowed or 'finite'} {unit}".rstrip() + reason,
        key=key,
        value=value,
    )


def whole_number(key: str, value: int, *, least: int) -> None:
    """Raise InputError unless ``value`` is a whole number of at least ``least``."""
    if isinstance(value, bool) or int(value) != value or value < least:
        raise InputError(f"{key} = {value}: must be a whole number of at least {least}", key=key, value=value)


def usable_name(key: str, name: str, *, reserved: tuple[str, ...] = ()) -> None:
    """Raise InputError unless ``name`` can name a region or band."""
    if not _NAME.fullmatch(name):
        raise InputError(
            f"{key} = {name!r}: use letters, digits, spaces, hyphens and underscores, starting with a letter "
            "or digit",
            key=key,
            value=name,
        )
    if name in reserved:
        raise InputError(f"{key} = {name!r}: this name is reserved, choose another", key=key, value=name)


def all_different(key: str, names: list[str]) -> None:
    """Raise InputError if a name comes twice."""
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(
            f"{key}: {', '.join(map(repr, twice))} named twice; give each its own name", names=twice
        )
