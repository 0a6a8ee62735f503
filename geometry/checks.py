# SPDX-License-Identifier: MIT
"""Checks of input values; each raises an error that names the value, or returns nothing."""

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
    """Raise InputError unless ``value`` is finite and in the given range.

    Args:
        key: Name of the value in the message.
        value: The value.
        above: Exclusive lower bound.
        least: Inclusive lower bound.
        below: Exclusive upper bound.
        most: Inclusive upper bound.
        unit: Unit in the message.
        why: Reason for the range, added to the message.
    """
    valid = math.isfinite(value)
    valid &= above is None or value > above
    valid &= least is None or value >= least
    valid &= below is None or value < below
    valid &= most is None or value <= most
    if valid:
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
    """Raise InputError unless ``name`` is a valid name of a region or band."""
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
    """Raise InputError if a name appears more than once."""
    repeated = sorted({name for name in names if names.count(name) > 1})
    if repeated:
        raise InputError(
            f"{key}: {', '.join(map(repr, repeated))} used more than once; names must be unique",
            names=repeated,
        )
