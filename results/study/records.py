# SPDX-License-Identifier: MIT
"""What a page on a study is made from: columns, marks of runs, and what was learnt from them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from annelid.results.display_units import Display, display

FloatArray = NDArray[np.float64]
Role = Literal["listed", "drawn", "derived", "quantity"]
Mark = Literal["met", "missed", "short", "unstable", "failed", "open"]
MARKS: tuple[Mark, ...] = ("met", "missed", "short", "unstable", "failed", "open")


@dataclass(frozen=True)
class Column:
    """A column of the table of a study.

    Attributes:
        name: What it is called.
        unit: Unit inside, ``"1"`` for plain numbers, ``None`` for words.
        role: What it is in the study.
        values: One a run: numbers (NaN where there is none), or words.
    """

    name: str
    unit: str | None
    role: Role
    values: tuple[Any, ...]

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
    def shown(self) -> Display:
        """How its numbers are shown."""
        numbers = self.numbers
        largest = float(np.max(np.abs(numbers[np.isfinite(numbers)]), initial=0.0))
        return display(self.name, self.unit or "", largest)

    @property
    def label(self) -> str:
        """Its name with the unit in which it is shown."""
        words = self.name.replace("_", " ")
        unit = self.shown.unit if self.unit is not None else ""
        return f"{words} [{unit}]" if unit else words


def short(text: object, length: int = 22) -> str:
    """A text that fits beside an axis: what is too long is cut."""
    words = " ".join(str(text).split())
    return words if len(words) <= length else f"{words[: length - 1]}…"


@dataclass(frozen=True)
class Limit:
    """A requirement on the last state: the safe side of ``value`` (in the unit inside)."""

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
        unit: Its unit inside.
        group: Values of what was listed, in words; empty if nothing was.
        values: One a part, those without a result left out.
        limits: Requirements on it.
        contributions: Share of the variance by variable, from a linear fit; empty if it cannot be told.
    """

    quantity: str
    unit: str
    group: str
    values: FloatArray
    limits: tuple[Limit, ...]
    contributions: Mapping[str, float]


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
    limits: Mapping[str, tuple[Limit, ...]] = field(default_factory=dict)
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
