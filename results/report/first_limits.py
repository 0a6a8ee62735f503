# SPDX-License-Identifier: MIT
"""What limits a part first as each load grows alone from the working point."""

import math
from typing import NamedTuple

from annelid.solver.display import digits
from annelid.solver.model.limits_of_use import limit_words
from annelid.solver.model.loads import TOGETHER
from annelid.solver.records import LimitAhead, Margin, Outcome


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
        for number, limit in enumerate(margin.limits, start=1):
            load = _heading(margin) if number == 1 else ""
            place = f"{number}. " if len(margin.limits) > 1 else ""
            words = place + limit_words(limit.kind, margin.load)
            rows.append(LimitRow(load, words, limit.text, _multiple(limit)))
        if not margin.limits:
            rows.append(LimitRow(_heading(margin), *_nothing(margin)))
    return rows


def first_limit(outcome: Outcome | None) -> str:
    """Return a sentence on the limit that comes first; empty if none was found."""
    found = [(limit, margin) for margin in (outcome.margins if outcome else ()) for limit in margin.limits]
    if not found:
        return ""
    limit, margin = min(found, key=lambda pair: pair[0].value)
    words = limit_words(limit.kind, margin.load)
    if limit.already:
        return f"The working point itself is beyond a limit: {words}."
    grows = "all loads grow together" if margin.load == TOGETHER else f"only the {margin.load} grows"
    if limit.value < 1:
        at = "at or below" if limit.is_bound else "at"
        return f"First limit: {words} {at} {limit.text}, before the requested loads are reached."
    above = digits(100 * (limit.value - 1), 3)
    return f"First limit: if {grows}, {words} at {limit.text}, {above} % above the working point."


def _heading(margin: Margin) -> str:
    return "all loads together" if margin.load == TOGETHER else margin.load


def _first(margin: Margin) -> float:
    """The multiple at which the first limit of a load comes; after all that have one if it has none."""
    return min((limit.value for limit in margin.limits), default=math.inf)


def _multiple(limit: LimitAhead) -> str:
    return "already passed" if limit.already else f"{'≤ ' * limit.is_bound}{digits(limit.value, 4)} ×"


def _nothing(margin: Margin) -> tuple[str, str, str]:
    """Cells of a load without a limit."""
    if math.isnan(margin.value):
        return f"not known: {margin.text.removeprefix(f'{margin.load}: ')}", "", ""
    return "none found", "", f"up to {digits(margin.value, 4)} ×"
