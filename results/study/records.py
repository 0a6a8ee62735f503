# SPDX-License-Identifier: MIT
"""What a page on a study is made from: columns, marks of runs, and what was learnt from them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.solver.display import DisplayUnit, DisplayUnits
from annelid.solver.model.quantities import quantity_of

Role = Literal["listed", "drawn", "derived", "quantity"]
Mark = Literal["met", "missed", "short", "unstable", "failed", "open"]
MARKS: tuple[Mark, ...] = ("met", "missed", "short", "unstable", "failed", "open")


@dataclass(frozen=True)
class Column:
    """A column of the table of a study.

    Attributes:
        name: What it is called.
        unit: Internal unit, ``"1"`` for plain numbers, ``None`` for words.
        role: What it is in the study.
        values: One for each run: numbers (NaN where there is none), or words.
        kind: Kind of number, a key of ``display.KINDS``.
        display: Units in which numbers are shown.
    """

    name: str
    unit: str | None
    role: Role
    values: tuple[Any, ...]
    kind: str = "ratio"
    display: DisplayUnits = field(default_factory=DisplayUnits)

    @property
    def numbers(self) -> FloatArray:
        """Values as numbers; words are numbered in the order of their appearance, see :attr:`levels`."""
        if self.unit is not None:
            return np.array(self.values, dtype=float)
        return np.array([self.levels.index(value) for value in self.values], dtype=float)

    @property
    def levels(self) -> list[Any]:
        """Distinct values: numbers ascending, words in the order of their appearance."""
        if self.unit is None:
            return list(dict.fromkeys(self.values))
        numbers = np.array(self.values, dtype=float)
        return [float(x) for x in np.unique(numbers[np.isfinite(numbers)])]

    @property
    def shown(self) -> DisplayUnit:
        """Unit in which its numbers are shown; words have none."""
        if self.unit is None:
            return DisplayUnit("", 1.0)
        numbers = self.numbers
        return self.display.unit(self.kind, float(np.max(np.abs(numbers[np.isfinite(numbers)]), initial=0.0)))

    @property
    def label(self) -> str:
        """Its name with the unit in which it is shown."""
        return self.shown.label(self.name.replace("_", " "))


def short(text: object, length: int = 22) -> str:
    """A text that fits beside an axis: what is too long is cut."""
    words = " ".join(str(text).split())
    return words if len(words) <= length else f"{words[: length - 1]}…"


@dataclass(frozen=True)
class Bound:
    """A requirement on the last state: the safe side of ``value`` (in the internal unit)."""

    value: float
    is_floor: bool


@dataclass(frozen=True)
class Sensitivity:
    """How strongly a quantity depends on each variable that was drawn.

    Attributes:
        quantity: Name of the quantity.
        kind: ``"sobol"`` (shares of the variance) or ``"rank"`` (Spearman's rank correlation).
        names: The variables.
        first: Index of first order, or the correlation, one a variable.
        first_half: Half width of its 95 % confidence interval, below and above, shape (2, variables).
        total: Total index; ``None`` for correlations.
        total_half: Half width of its interval, shape (2, variables).
        used: Number of runs it stands on.
        left_out: Number of runs that could not be used.
    """

    quantity: str
    kind: Literal["sobol", "rank"]
    names: tuple[str, ...]
    first: FloatArray
    first_half: FloatArray
    total: FloatArray | None
    total_half: FloatArray | None
    used: int
    left_out: int


@dataclass(frozen=True)
class Spread:
    """Distribution of a quantity over the parts of a tolerance study.

    Attributes:
        quantity: Name of the quantity.
        group: Values of what was listed, in words; empty if nothing was.
        values: One a part, those without a result left out.
        limits: Requirements on it.
        contributions: Share of the variance by variable, from a linear fit; empty if it cannot be told.
    """

    quantity: str
    group: str
    values: FloatArray
    limits: tuple[Bound, ...]
    contributions: Mapping[str, float]
    display: DisplayUnits = field(default_factory=DisplayUnits)

    @property
    def kind(self) -> str:
        """Kind of number of the quantity."""
        return quantity_of(self.quantity).kind


@dataclass(frozen=True)
class Yield:
    """Share of parts that meet all requirements, with its exact 95 % confidence interval."""

    group: str
    good: int
    parts: int
    low: float
    high: float
    without_result: int


@dataclass(frozen=True)
class StudyData:
    """All that a page on a study shows.

    Attributes:
        title: What the study is.
        notes: What its author says.
        ids: Ids of the runs.
        marks: How each is marked.
        words: Its outcome in words, or why it failed.
        kinds: Kind of its outcome or failure, such as ``"reached"`` or ``"memory"``.
        links: Where its report is, relative to the page; empty if there is none.
        varied: What varied or was derived.
        quantities: What is drawn.
        limits: Requirements on the last state by quantity.
        requirements: Column of each requirement in words, and of each run whether it is met.
        objectives: Quantities to make large or small: ``"maximise"`` or ``"minimise"``.
        front: Rows on the Pareto front.
        sensitivities: How quantities depend on what was drawn.
        spreads: Distributions of a tolerance study.
        yields: Shares of good parts of a tolerance study.
        facts: What else there is to say, by heading.
        advice: Sentences that the reader must see first.
        searched: Whether a search chose the points.
    """

    title: str
    notes: str
    ids: tuple[str, ...]
    marks: tuple[Mark, ...]
    words: tuple[str, ...]
    kinds: tuple[str, ...]
    links: tuple[str, ...]
    varied: tuple[Column, ...]
    quantities: tuple[Column, ...]
    limits: Mapping[str, tuple[Bound, ...]] = field(default_factory=dict)
    requirements: Mapping[str, tuple[bool | None, ...]] = field(default_factory=dict)
    objectives: Mapping[str, str] = field(default_factory=dict)
    front: tuple[int, ...] = ()
    sensitivities: tuple[Sensitivity, ...] = ()
    spreads: tuple[Spread, ...] = ()
    yields: tuple[Yield, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    advice: tuple[str, ...] = ()
    searched: bool = False

    def column(self, name: str) -> Column:
        """A quantity by its name."""
        return next(column for column in self.quantities if column.name == name)

    def rows(self, *marks: Mark) -> NDArray[np.bool_]:
        """Which runs bear one of these marks."""
        return np.array([mark in marks for mark in self.marks], dtype=bool)
