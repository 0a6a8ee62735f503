# SPDX-License-Identifier: MIT
"""Text on the lumen: where along the path it is narrowest, and whether it shuts."""

import numpy as np

from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.records import Outcome

_AREA, _DIAMETER, _CLOSED = (
    quantity.name for quantity in (q.SMALLEST_OPEN_AREA, q.SMALLEST_LUMEN_DIAMETER, q.CLOSED_LENGTH)
)


def lumen_text(table: PathRecord, outcome: Outcome | None) -> str:
    """Return sentences on the lumen; empty for a part whose lumen is not open at both ends."""
    if _AREA not in table.columns:
        return ""
    where, diameters = _where(table, -1), table[_DIAMETER]
    if outcome is None or outcome.kind != "self-contact" or "of the lumen" not in outcome.text:
        return f"{_closing(table)} {_narrowest(table)}"
    if diameters[-1] > q.CLOSED * diameters.max():
        touching = f"Walls of the lumen touch each other just beyond {where}, where the path ends."
        return f"{_closing(table)} {_narrowest(table)} {touching}"
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


def _narrowest(table: PathRecord) -> str:
    """The smallest opening along the path."""
    least = int(np.argmin(table[_AREA]))
    diameter, area = (table.show(name, float(table[name][least])) for name in (_DIAMETER, _AREA))
    return (
        f"It is narrowest at {_where(table, least)}: its smallest diameter is {diameter} and its smallest "
        f"open area {area}."
    )


def _where(table: PathRecord, row: int) -> str:
    """The loads of a state that are not zero, and its stage."""
    values = {name: float(table[name][row]) for name in table.loads}
    loads = ", ".join(f"{name} {table.show(name, value)}" for name, value in values.items() if value)
    return f"{loads or 'no load'} (stage “{table.stages[row]}”)"
