# SPDX-License-Identifier: MIT
"""Checks of values: each raises ``InvalidValue`` with the key, or returns nothing."""

import difflib
import math
import re
from collections.abc import Iterable, Sequence

from annelid.geometry.errors import InvalidValue

RESERVED_REGIONS = ("core", "cap", "lattice", "end ring")
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
    """Raise InvalidValue unless the finite ``value`` is in the given range."""
    good = math.isfinite(value)
    good &= above is None or value > above
    good &= least is None or value >= least
    good &= below is None or value < below
    good &= most is None or value <= most
    if good:
        return
    limits = {"above": above, "at least": least, "below": below, "at most": most}
    allowed = " and ".join(f"{word} {bound:g}" for word, bound in limits.items() if bound is not None)
    must = f"must be {allowed or 'finite'} {unit}".rstrip()
    reason = f" ({why})" if why else ""
    raise InvalidValue(f"{must}{reason}, got {value:g} {unit}".rstrip(), key=key, value=value)


def whole_number(key: str, value: int, *, least: int) -> None:
    """Raise InvalidValue unless ``value`` is a whole number of at least ``least``."""
    if isinstance(value, bool) or int(value) != value or value < least:
        raise InvalidValue(f"must be a whole number of at least {least}, got {value}", key=key, value=value)


def one_of(key: str, value: str, allowed: Sequence[str], *, what: str = "") -> None:
    """Raise InvalidValue unless ``value`` is among the allowed words.

    Args:
        key: Key of the value.
        value: The word.
        allowed: Words that are allowed.
        what: What they are, for instance ``"a layer of this shape"``.
    """
    if value not in allowed:
        listed = ", ".join(allowed) or "there are none"
        what = f"'{value}' is not {what or 'allowed'}"
        raise InvalidValue(f"{what}{nearest(value, allowed)}; allowed: {listed}", key=key, value=value)


def nearest(word: str, words: Iterable[str]) -> str:
    """`` (did you mean 'x'?)`` if one of the words is similar, else nothing."""
    found = difflib.get_close_matches(word, list(words), n=1, cutoff=0.6)
    return f" (did you mean '{found[0]}'?)" if found else ""


def usable_name(key: str, name: str, *, reserved: tuple[str, ...] = ()) -> None:
    """Raise InvalidValue unless ``name`` can name a region or band."""
    if not _NAME.fullmatch(name):
        raise InvalidValue(
            f"'{name}' is not a name: use letters, digits, spaces, hyphens and underscores, starting with a "
            "letter or digit",
            key=key,
            value=name,
        )
    if name in reserved:
        raise InvalidValue(f"'{name}' is a reserved name: choose another", key=key, value=name)


def unique(key: str, names: Sequence[str]) -> None:
    """Raise InvalidValue if a name appears more than once."""
    for name in dict.fromkeys(names):
        if (count := list(names).count(name)) > 1:
            raise InvalidValue(f"'{name}' appears {count} times; names must be unique", key=key, value=name)
