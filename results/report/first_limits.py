# SPDX-License-Identifier: MIT
"""What limits a part first as each load grows alone from the working point."""

from typing import NamedTuple

from annelid.solver.display import digits
from annelid.solver.records import LimitAhead, Margin, Outcome

_BUCKLING = "buckling, bulging or necking (bifurcation)"
_WORDS = {
    ("limit point", "voltage"): "pull-in (limit point)",
    ("limit point", "pressure"): "snap at the pressure maximum (limit point)",
    ("limit point", ""): "snap (limit point)",
    ("bifurcation", ""): _BUCKLING,
    ("wrinkling", ""): "wrinkling of the wall",
    ("self-contact", ""): "contact of walls with each other",
}


class LimitRow(NamedTuple):
    """A row of the table of limits.

    Attributes:
        load: The load that grows, "" in the rows after the first one of a load.
        limit: What limits it.
        at: All loads there.
        multiple: The load there over that at the working point, as text.
    """

    load: str
    limit: str
    at: str
    multiple: str


def limit_rows(outcome: Outcome | None) -> list[LimitRow]:
    """Return the rows of the table; the load that is limited first comes first."""
    margins = sorted(outcome.margins, key=_first) if outcome is not None else []
    rows = []
    for margin in margins:
        limits = list(dict.fromkeys(margin.limits))
        for number, limit in enumerate(limits):
            load = "" if number else margin.load
            words = (
                f"{number + 1}. {limit_words(margin.load, limit)}"
                if limits[1:]
                else limit_words(margin.load, limit)
            )
            rows.append(LimitRow(load, words, limit.text, _multiple(limit)))
        if not limits:
            rows.append(LimitRow(margin.load, *_nothing(margin)))
    return rows


def first_limit(outcome: Outcome | None) -> str:
    """Return a sentence on the limit that comes first; empty if none was found."""
    found = [(limit, margin) for margin in (outcome.margins if outcome else ()) for limit in margin.limits]
    if not found:
        return ""
    limit, margin = min(found, key=lambda pair: pair[0].value)
    words = limit_words(margin.load, limit)
    if limit.already:
        return f"The working point itself is beyond a limit: {words}."
    grows = "all loads grow together" if margin.load == "all loads" else f"only the {margin.load} grows"
    if limit.value < 1:
        at = "at or below" if limit.is_bound else "at"
        return f"First limit: {words} {at} {limit.text}, before the requested loads are reached."
    above = digits(100 * (limit.value - 1), 3)
    return f"First limit: if {grows}, {words} at {limit.text}, {above} % above the working point."


def limit_words(load: str, limit: LimitAhead) -> str:
    """Return the name of a limit as one load grows."""
    return _WORDS.get((limit.kind, load), _WORDS.get((limit.kind, ""), limit.kind))


def _first(margin: Margin) -> float:
    """The multiple at which the first limit of a load comes; after all that have one if it has none."""
    return min((limit.value for limit in margin.limits), default=float("inf"))


def _multiple(limit: LimitAhead) -> str:
    return "already passed" if limit.already else f"{'≤ ' * limit.is_bound}{digits(limit.value, 4)} ×"


def _nothing(margin: Margin) -> tuple[str, str, str]:
    """Cells of a load without a limit."""
    if margin.value != margin.value:
        return f"not known: {margin.text.removeprefix(f'{margin.load}: ')}", "", ""
    return "none found", "", f"up to {digits(margin.value, 4)} ×"
