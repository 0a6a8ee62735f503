# SPDX-License-Identifier: MIT
"""The path of a run as a table: one row per equilibrium, with the unit in every column name."""

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text
from annelid.solver.display import ROUNDING, DisplayUnit, DisplayUnits
from annelid.solver.model import quantities as q
from annelid.solver.model.loads import load_kind
from annelid.solver.model.quantity import Quantity

_LARGEST_TABLE = 1_000_000_000  # bytes
CRITICAL = "critical"
REACHED_BY = "reached by"
BEFORE_LOADS, AFTER_LOADS = "parameter [1]", "iterations [1]"


def quantity_header(quantity: Quantity) -> str:
    """Return the column name of a quantity: its name with the unit."""
    return f"{quantity.name} [{quantity.unit}]"


_COMPLETE = ("state", "parameter", q.UNSTABLE_MODES.name, q.UNSTABLE_MODES_CONTROLLED.name)  # in every row
BEFORE_QUANTITIES = quantity_header(q.UNSTABLE_MODES_CONTROLLED)


@dataclass(frozen=True)
class PathRecord:
    """The rows of ``path.csv``.

    Attributes:
        stages: Stage of each row.
        columns: Values of each row by column name without unit (``"largest stretch"``), ``nan`` where empty.
        units: Unit by the same name.
        loads: Names of the loads.
        quantities: Names of the quantities, without the positions of their extremes.
        critical: Kind of critical point of each row, "" for other rows; empty if the path has none.
        reached_by: ``"jump"`` or ``"branch"`` for rows that do not continue the previous row, "" for the
            others; empty if the path has none.
        display: Units in which values are shown.
    """

    stages: tuple[str, ...]
    columns: Mapping[str, FloatArray]
    units: Mapping[str, str]
    loads: tuple[str, ...]
    quantities: tuple[str, ...]
    critical: tuple[str, ...] = ()
    reached_by: tuple[str, ...] = ()
    display: DisplayUnits = field(default_factory=DisplayUnits)

    def __len__(self) -> int:
        return len(self.stages)

    def __getitem__(self, name: str) -> FloatArray:
        if name not in self.columns:
            raise InputError(f"quantity {name!r}: not in path.csv; available: {', '.join(self.columns)}.")
        return self.columns[name]

    def display_unit(self, name: str, magnitude: float) -> DisplayUnit:
        """Unit in which values of a load or quantity are shown if the largest has a given magnitude."""
        return self.display.unit(column_kind(name), magnitude)

    def show(self, name: str, value: float) -> str:
        """Return a value of a load or quantity with its unit as text."""
        return self.display.show(column_kind(name), value)

    def row_of(self, state: int) -> int | None:
        """Return the row of a state; ``None`` if the path does not have it."""
        rows = np.flatnonzero(self["state"] == state)
        return int(rows[0]) if rows.size else None

    @property
    def stage_ends(self) -> dict[str, int]:
        """Last row of each stage, in path order."""
        return {stage: row for row, stage in enumerate(self.stages)}

    @property
    def varying_loads(self) -> list[str]:
        """Loads that change along the path."""
        return [name for name in self.loads if np.ptp(np.nan_to_num(self[name])) > 0]

    def loads_of(self, key: str) -> dict[str, str]:
        """Return the loads of one kind, a key of a stage in a case file, by what each acts on."""
        kinds = {name: load_kind(name) for name in self.loads}
        return {kind.entry(name): name for name, kind in kinds.items() if kind and kind.key == key}

    def loads_text(self, row: int) -> str:
        """Return the loads of a row that are not zero, without obstacles that never move."""
        resting = set(self.loads_of("obstacle").values()).difference(self.varying_loads)
        values = {name: float(self[name][row]) for name in self.loads if name not in resting}
        words = [
            f"{name} {self.show(name, value)}" for name, value in values.items() if abs(value) > ROUNDING
        ]
        return ", ".join(words) or "no load"

    @property
    def unstable(self) -> NDArray[np.bool_]:
        """Rows with at least one unstable mode under given loads."""
        return self[q.UNSTABLE_MODES.name] > 0

    @property
    def unstable_under_control(self) -> NDArray[np.bool_]:
        """Rows with an unstable mode under the control in force as well."""
        return self.columns.get(q.UNSTABLE_MODES_CONTROLLED.name, self[q.UNSTABLE_MODES.name]) > 0

    @property
    def is_critical(self) -> NDArray[np.bool_]:
        """Rows that are critical points."""
        return np.array([kind != "" for kind in self.critical] or [False] * len(self))

    @property
    def after_jump(self) -> NDArray[np.bool_]:
        """Rows that were reached from the previous row by a jump."""
        return np.array([how == "jump" for how in self.reached_by] or [False] * len(self))

    @property
    def past_limit(self) -> NDArray[np.bool_]:
        """Rows in which a limit of the material is exceeded: breakdown or tearing."""
        none = np.full(len(self), np.inf)
        margins = [self.columns.get(limit.margin.name, none) for limit in q.LIMITS]
        return np.fmin.reduce(margins) < 1.0

    @property
    def coordinate(self) -> FloatArray:
        """Position along the whole path: number of the stage, from 0, plus the stage parameter."""
        order = {name: i for i, name in enumerate(dict.fromkeys(self.stages))}
        number = np.array([order[stage] for stage in self.stages])
        fraction = self["parameter"].copy()
        for i in order.values():
            rows = np.flatnonzero(number == i)
            if (np.diff(fraction[rows]) < 0).any():  # on a branch the stage parameter starts again
                fraction[rows] = np.arange(1, len(rows) + 1) / len(rows)
        return number + fraction


def column_kind(name: str) -> str:
    """Return the kind of number of a load or quantity, a key of ``display.KINDS``."""
    load = load_kind(name)
    if load is not None:
        return load.number
    try:
        return q.quantity_of(name).kind
    except KeyError:
        return "ratio"  # numerical facts such as the residual


def read_path(path: Path, display: DisplayUnits) -> PathRecord:
    """Read ``path.csv``; an incomplete last line is ignored.

    Args:
        path: The file.
        display: Units in which values are shown; kinds without a unit get one.

    Raises:
        InputError: There is no such file, or it contains no equilibrium.
        ValueError: A row is damaged.
        LookupError: A row or a column is not complete.
    """
    rows = complete_rows(path)
    if len(rows) < 2:
        raise InputError(f"{path}: contains no equilibrium; run the case first.", path=str(path))
    header, body = rows[0], rows[1:]
    texts = {name: [row[i] for row in body] for i, name in enumerate(header)}
    parts = {name: _split_unit(name) for name in header if name not in ("stage", CRITICAL, REACHED_BY)}
    numbers = {
        bare: np.array([float(text) if text else np.nan for text in texts[name]])
        for name, (bare, _) in parts.items()
    }
    for name in _COMPLETE:
        if not np.isfinite(numbers[name]).all():
            raise ValueError(f"the column {name!r} has a value that is not a number")
    shown = ((column_kind(name), values) for name, values in numbers.items())
    bare_names = [parts[name][0] if name in parts else name for name in header]
    loads_end, facts_end = header.index(AFTER_LOADS), header.index(BEFORE_QUANTITIES)
    return PathRecord(
        stages=tuple(texts["stage"]),
        columns=numbers,
        units=dict(parts.values()),
        loads=tuple(bare_names[header.index(BEFORE_LOADS) + 1 : loads_end]),
        quantities=tuple(n for n in bare_names[facts_end + 1 :] if not re.search(r" at [RXYZ]$", n)),
        critical=tuple(texts.get(CRITICAL, [""] * len(body))),
        reached_by=tuple(texts.get(REACHED_BY, [""] * len(body))),
        display=display.completed(shown),
    )


def complete_rows(path: Path) -> list[list[str]]:
    """Return the rows of a CSV file without an incomplete last line."""
    text = read_text(path, most=_LARGEST_TABLE)
    return list(csv.reader(io.StringIO(text[: text.rfind("\n") + 1])))


def _split_unit(column: str) -> tuple[str, str]:
    match = re.fullmatch(r"(.*) \[(.*)\]", column)
    return (match[1], match[2]) if match else (column, "")
