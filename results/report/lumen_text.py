# SPDX-License-Identifier: MIT
"""Text on the lumen: where along the path it is narrowest, and whether it shuts."""

import numpy as np

from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.records import Outcome

_AREA, _DIAMETER, _CLOSED, _GAP, _LEAK = (
    quantity.name
    for quantity in (
        q.SMALLEST_OPEN_AREA,
        q.SMALLEST_LUMEN_DIAMETER,
        q.CLOSED_LENGTH,
        q.LEAK_GAP,
        q.LEAK_PRESSURE,
    )
)

_MOST_CHANGES = 4  # between shut and open that are listed one by one; a wave has many


def lumen_text(table: PathRecord, outcome: Outcome | None) -> str:
    """Return sentences on the lumen; empty for a part whose lumen is not open at both ends."""
    if _AREA not in table.columns:
        return ""
    closing = _leaks(table) if _GAP in table.columns else _closing(table)
    where, diameters = _where(table, -1), table[_DIAMETER]
    if outcome is None or outcome.kind != "self-contact" or "of the lumen" not in outcome.text:
        return f"{closing} {_narrowest(table)}"
    if diameters[-1] > q.CLOSED * diameters.max():
        touching = f"Walls of the lumen touch each other just beyond {where}, where the path ends."
        return f"{closing} {_narrowest(table)} {touching}"
    area = table.show(_AREA, float(table[_AREA][-1]))
    return (
        f"The lumen begins to close just beyond {where}: its opposite walls touch each other there, and the "
        f"path ends. Beside the contact {area} is still open."
    )


def _closing(table: PathRecord) -> str:
    """Whether the lumen shuts, and at which load."""
    closed = np.flatnonzero(table[_CLOSED] > 0)
    if not closed.size:
        return "The lumen does not shut in any computed state."
    length = table.show(_CLOSED, float(table[_CLOSED].max()))
    again = "" if closed[-1] == len(table) - 1 else " It is open again in the last state."
    return (
        f"The lumen shuts: from {_where(table, int(closed[0]))} on, its mean radius is below "
        f"{100 * q.CLOSED:g} % of the drawn one, over a length of at most {length}.{again}"
    )


def _leaks(table: PathRecord) -> str:
    """From where on the lumen is shut on its obstacles, and the pressures at which it leaks."""
    shut = table[_GAP] < 0
    if not shut.any():
        return "No obstacle shuts the lumen in any computed state, so it has no leak pressure."
    changes = np.flatnonzero(np.diff(shut, prepend=False))
    listed = changes if len(changes) <= _MOST_CHANGES else changes[:2]
    sentences = [
        f"The lumen is shut by its obstacles from {_where(table, row)} on."
        if shut[row]
        else _leak(table, row)
        for row in map(int, listed)
    ]
    if rows := [row for row in changes[len(listed) :] if not shut[row]]:
        pressures = table[q.LUMEN_PRESSURE.name][rows]
        low, high = (table.show(_LEAK, float(value)) for value in (pressures.min(), pressures.max()))
        often = "once more" if len(rows) == 1 else f"{len(rows)} more times"
        sentences.append(f"It shuts and leaks {often}, at leak pressures from {low} to {high}.")
    if shut[-1]:
        sentences.append(f"It is still shut at {_where(table, -1)}.")
    return " ".join(sentences)


def _leak(table: PathRecord, row: int) -> str:
    """The leak pressure of the first state with a leak path."""
    pressure, before = (float(table[q.LUMEN_PRESSURE.name][r]) for r in (row, row - 1))
    leak = f"It leaks at {_where(table, row)}: its leak pressure is {table.show(_LEAK, pressure)}"
    if table[_GAP][row] <= -table[_GAP].min():  # located: open by less than obstacles are penetrated
        return f"{leak}."
    return (
        f"{leak} or less, as it is still shut at {table.show(_LEAK, before)}; a stage that ends until the "
        f"{_GAP} is at least 0 mm finds the value between them."
    )


def _narrowest(table: PathRecord) -> str:
    """The smallest opening along the path."""
    least = int(np.argmin(table[_AREA]))
    diameter, area = (table.show(name, float(table[name][least])) for name in (_DIAMETER, _AREA))
    return (
        f"It is narrowest at {_where(table, least)}: its smallest diameter is {diameter} and its smallest "
        f"open area {area}."
    )


def _where(table: PathRecord, row: int) -> str:
    """The loads of a state, and its stage."""
    return f"{table.loads_text(row)} (stage “{table.stages[row]}”)"
