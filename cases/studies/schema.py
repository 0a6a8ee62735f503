# SPDX-License-Identifier: MIT
"""Study files: a base case and what varies in it."""

from contextlib import suppress
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from annelid.cases.schema.base import Count, Duration, Memory, Table
from annelid.cases.studies.values import Value
from annelid.solver.model.quantities import quantity_of

__all__ = ["Derive", "Objective", "RunLimits", "Sampling", "Search", "Study", "StudyOutput", "Vary"]

VariableName = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]*$", max_length=40)]


class Vary(Table):
    """One variable: a list, a range, or a distribution to draw from."""

    key: str | None = None
    """Path of the key in the case; left out: only formulas use the variable."""
    name: VariableName | None = None
    """Name in tables and formulas; left out: the last part of the key."""
    values: Annotated[tuple[Value, ...], Field(min_length=1)] | None = None
    """List of values."""
    start: Annotated[Value | None, Field(alias="from")] = None
    """First value of a range, or lower bound of a uniform distribution."""
    end: Annotated[Value | None, Field(alias="to")] = None
    """Last value of a range, or upper bound of a uniform distribution."""
    step: Value | None = None
    """Distance between the values of a range."""
    count: Annotated[int, Field(ge=2, le=200_000, strict=True)] | None = None
    """Number of values of a range."""
    spacing: Literal["even", "logarithmic"] = "even"
    """Spacing of the values of a range that is given by its count."""
    distribution: Literal["uniform", "normal", "lognormal"] | None = None
    """Distribution to draw from."""
    mean: Value | None = None
    """Mean of a normal or lognormal distribution."""
    deviation: Value | None = None
    """Standard deviation of a normal or lognormal distribution; "5 %" is relative to the mean."""
    at_least: Value | None = None
    """Lower bound at which a normal or lognormal distribution is truncated."""
    at_most: Value | None = None
    """Upper bound at which a normal or lognormal distribution is truncated."""
    pair: str | None = None
    """Lists with the same word here vary together instead of being combined."""


class Derive(Table):
    """A key that follows from the variables by a formula."""

    key: str | None = None
    """Path of the key in the case; left out: only later formulas use the value."""
    name: VariableName | None = None
    """Name in tables and formulas; left out: the last part of the key."""
    formula: Annotated[str, Field(min_length=1, max_length=300)]
    """For example "sheets * sheet_thickness"."""


class Sampling(Table):
    """How samples are drawn from the distributions."""

    method: Literal["random", "latin hypercube", "sobol", "sensitivity"]
    """"sensitivity" draws the samples that Sobol indices need: samples times (variables + 2) runs."""
    samples: Annotated[int, Field(ge=1, le=200_000, strict=True)]
    """Number of samples."""
    seed: Annotated[int, Field(ge=0, strict=True)] = 0
    """Seed: the same seed draws the same samples."""


class Objective(Table):
    """A quantity to maximise or to minimise."""

    quantity: str
    """A reported quantity."""
    aim: Literal["maximise", "minimise"]
    """Direction of the optimisation; left out: the better one, for quantities that have one."""

    @model_validator(mode="before")
    @classmethod
    def _default_aim(cls, value: Any) -> Any:
        if not isinstance(value, dict) or "aim" in value:
            return value
        with suppress(KeyError):
            larger = quantity_of(str(value.get("quantity"))).larger_is_better
            if larger is not None:
                return value | {"aim": "maximise" if larger else "minimise"}
        return value


class Search(Table):
    """An optimisation that chooses its points instead of running all combinations."""

    evaluations: Annotated[int, Field(ge=8, le=10_000, strict=True)]
    """Largest number of points."""
    start: Annotated[int, Field(ge=4, strict=True)] = 16
    """Number of evenly spread points that are run before the search learns from results."""
    batch: Count = 8
    """Number of points that are chosen together; a larger batch uses more processors, a smaller one learns
    more often."""
    seed: Annotated[int, Field(ge=0, strict=True)] = 0
    """Seed: the same seed makes the same choices."""


class RunLimits(Table):
    """Limits of one run."""

    time: Duration = 3600.0
    """Time limit of a run."""
    memory: Memory | None = None
    """Memory limit of a run; left out: the free memory divided by the number of workers."""
    stop_early: bool | None = None
    """Whether a run ends with a stage whose requirement it misses; left out: only in a search."""


class StudyOutput(Table):
    """What is kept of each run besides its tables."""

    keep: Literal["tables", "surfaces", "stage ends", "all"] = "tables"
    """"surfaces" keeps the deformed surfaces; "stage ends" and "all" also keep the fields of these states."""
    reports: bool = True
    """Whether a report is written for every run."""


class Study(Table):
    """A base case and what varies in it."""

    title: Annotated[str, Field(min_length=1)]
    """What the study is, in a few words."""
    notes: str = ""
    """Notes that are printed on the page."""
    case: str | dict[str, Any]
    """A case file relative to the study, the name of a library case, or the case itself as a table."""
    fixed: dict[str, Value] = Field(default_factory=dict)
    """Keys of the base case that have another value in all runs, by path."""
    constants: dict[VariableName, Value] = Field(default_factory=dict)
    """Values for formulas, by name."""
    vary: Annotated[tuple[Vary, ...], Field(min_length=1)]
    """The variables."""
    derive: tuple[Derive, ...] = ()
    """Keys that follow from the variables."""
    sampling: Sampling | None = None
    """How samples are drawn; required if there is any distribution."""
    search: Search | None = None
    """Optimise the objectives subject to the requirements."""
    tolerance: bool = False
    """Whether the distributions are manufacturing tolerances: reports the fraction of parts that meet the
    requirements."""
    objectives: Annotated[tuple[Objective, ...], Field(max_length=3)] = ()
    """Up to three, for the Pareto front."""
    quantities: tuple[str, ...] = ()
    """Quantities to plot; left out: those of objectives and requirements."""
    ranks: Count = 1
    """Processors of each run."""
    limits: RunLimits = RunLimits()
    """Limits of one run."""
    output: StudyOutput = StudyOutput()
    """What is kept of each run."""

    @property
    def stops_early(self) -> bool:
        """Whether a run ends with a stage whose requirement it misses."""
        chosen = self.limits.stop_early
        return self.search is not None if chosen is None else chosen
