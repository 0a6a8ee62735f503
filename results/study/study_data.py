# SPDX-License-Identifier: MIT
"""The data of the page of a study: columns of its table, categories of its runs, and statistics."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.solver.display import DisplayUnit, DisplayUnits, digits
from annelid.solver.model.quantities import quantity_of

Role = Literal["listed", "sampled", "derived", "quantity"]
Category = Literal["met", "missed", "stopped", "unstable", "failed", "pending"]
CATEGORIES: tuple[Category, ...] = ("met", "missed", "stopped", "unstable", "failed", "pending")


@dataclass(frozen=True)
class Column:
    """A column of the table of a study.

    Attributes:
        name: Name of the variable or quantity.
        unit: Internal unit, ``"1"`` for plain numbers, ``None`` for texts.
        role: Whether its values are listed in the study, sampled or derived, or whether it is a result.
        values: One value per run: numbers (NaN where there is none) or texts.
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
        """Values as numbers; a text is replaced by its position in :attr:`levels`."""
        if self.unit is not None:
            return np.array(self.values, dtype=float)
        return np.array([self.levels.index(value) for value in self.values], dtype=float)

    @property
    def levels(self) -> list[Any]:
        """Distinct values: numbers in ascending order, texts in order of appearance."""
        if self.unit is None:
            return list(dict.fromkeys(self.values))
        numbers = np.array(self.values, dtype=float)
        return [float(x) for x in np.unique(numbers[np.isfinite(numbers)])]

    @property
    def display_unit(self) -> DisplayUnit:
        """Unit in which its numbers are shown; texts have none."""
        if self.unit is None:
            return DisplayUnit("", 1.0)
        numbers = self.numbers
        return self.display.unit(self.kind, float(np.max(np.abs(numbers[np.isfinite(numbers)]), initial=0.0)))

    @property
    def title(self) -> str:
        """The name as it is shown."""
        return self.name.replace("_", " ")

    @property
    def label(self) -> str:
        """The title with the unit in which the values are shown."""
        return self.display_unit.label(self.title)

    def text(self, row: int) -> str:
        """The value of a run in the unit of the column, without it."""
        value = self.values[row]
        return str(value) if self.unit is None else digits(float(value) * self.display_unit.factor)

    def shown(self, row: int) -> str:
        """The value of a run with its unit."""
        if self.unit is None:
            return str(self.values[row])
        return self.display.show(self.kind, float(self.values[row]))


def shortened(text: object, length: int = 22) -> str:
    """Cut a text that is too long for a label."""
    line = " ".join(str(text).split())
    return line if len(line) <= length else f"{line[: length - 1]}…"


@dataclass(frozen=True)
class QuantityLimit:
    """A requirement on the last state: lower or upper limit ``value`` in the internal unit."""

    value: float
    is_lower_limit: bool


@dataclass(frozen=True)
class Sensitivity:
    """Sensitivity of a quantity to each variable.

    Attributes:
        quantity: Name of the quantity.
        kind: ``"sobol"`` (fractions of the variance) or ``"rank"`` (Spearman's rank correlation).
        names: Names of the variables.
        first_order: First-order index, or the correlation, of each variable.
        first_order_half_width: Distances from it to the ends of its 95 % confidence interval, shape
            (2, variables), lower end first.
        total: Total index of each variable; ``None`` for correlations.
        total_half_width: The same distances for the total index.
        used: Number of runs in the estimate.
        left_out: Number of runs that could not be used.
    """

    quantity: str
    kind: Literal["sobol", "rank"]
    names: tuple[str, ...]
    first_order: FloatArray
    first_order_half_width: FloatArray
    total: FloatArray | None
    total_half_width: FloatArray | None
    used: int
    left_out: int


@dataclass(frozen=True)
class Spread:
    """Distribution of a quantity over the parts of a tolerance study.

    Attributes:
        quantity: Name of the quantity.
        group: Listed values that the parts have in common, as text; empty if no values are listed.
        values: One value per part that has a result.
        limits: Requirements on the quantity.
        contributions: Fraction of the variance by variable, from a linear fit; empty without a fit.
        display: Units in which values are shown.
    """

    quantity: str
    group: str
    values: FloatArray
    limits: tuple[QuantityLimit, ...]
    contributions: Mapping[str, float]
    display: DisplayUnits = field(default_factory=DisplayUnits)

    @property
    def kind(self) -> str:
        """Kind of number of the quantity."""
        return quantity_of(self.quantity).kind


@dataclass(frozen=True)
class Yield:
    """Number of conforming parts, with the exact 95 % confidence interval of their fraction.

    Attributes:
        group: Listed values that the parts have in common, as text; empty if no values are listed.
        conforming: Number of parts that meet all requirements.
        parts: Number of parts.
        low: Lower end of the confidence interval.
        high: Upper end of the confidence interval.
        without_result: Number of parts without a result.
    """

    group: str
    conforming: int
    parts: int
    low: float
    high: float
    without_result: int


class BestRun(NamedTuple):
    """The best run of a study with one objective.

    Attributes:
        row: Its row.
        id: Its id.
        among: The runs with which it is compared, such as ``"of the runs that meet all requirements"``.
        merit: What it has, such as ``"largest radial stroke"``.
        values: Value of the objective and values of the variables.
    """

    row: int
    id: str
    among: str
    merit: str
    values: str

    def __str__(self) -> str:
        return f"{self.among}, {self.id} has the {self.merit}, {self.values}"


@dataclass(frozen=True)
class StudyData:
    """The content of the page of a study.

    Attributes:
        title: Title of the study.
        notes: Remarks of the user.
        ids: Ids of the runs.
        categories: Category of each run, which decides its marker.
        outcomes: Kind of outcome or failure of each run, such as ``"reached"`` or ``"memory"``.
        messages: Outcome of each run, or the reason of its failure, as a sentence.
        links: Path of the report of each run, relative to the page; empty if there is none.
        variables: Variables that are listed, sampled or derived.
        quantities: Results that are plotted.
        limits: Requirements on the last state by quantity.
        requirements: Whether each run meets a requirement, by the text of the requirement.
        objectives: ``"maximise"`` or ``"minimise"`` by quantity.
        front: Rows on the Pareto front.
        sensitivities: Sensitivities of the quantities.
        spreads: Distributions of a tolerance study.
        yields: Fractions of conforming parts of a tolerance study.
        facts: Further facts about the study by heading.
        advice: Sentences that are shown at the top of the page.
        searched: Whether the points were chosen by a search.
        best: The best run of a study with one objective, if there is one.
    """

    title: str
    notes: str
    ids: tuple[str, ...]
    categories: tuple[Category, ...]
    outcomes: tuple[str, ...]
    messages: tuple[str, ...]
    links: tuple[str, ...]
    variables: tuple[Column, ...]
    quantities: tuple[Column, ...]
    limits: Mapping[str, tuple[QuantityLimit, ...]] = field(default_factory=dict)
    requirements: Mapping[str, tuple[bool | None, ...]] = field(default_factory=dict)
    objectives: Mapping[str, str] = field(default_factory=dict)
    front: tuple[int, ...] = ()
    sensitivities: tuple[Sensitivity, ...] = ()
    spreads: tuple[Spread, ...] = ()
    yields: tuple[Yield, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    advice: tuple[str, ...] = ()
    searched: bool = False
    best: BestRun | None = None

    def column(self, name: str) -> Column:
        """Return the column of a quantity."""
        return next(column for column in self.quantities if column.name == name)

    def is_in(self, *categories: Category) -> NDArray[np.bool_]:
        """Return for each run whether it is in one of these categories."""
        return np.array([category in categories for category in self.categories], dtype=bool)
