# SPDX-License-Identifier: MIT
"""Study files: a base case and what varies, as the user writes it."""

from typing import Annotated, Any, Literal

from pydantic import Field

from annelid.cases.schema.base import Count, Table
from annelid.cases.schema.units import Unit

__all__ = ["Derive", "Limits", "Objective", "Sampling", "Search", "Study", "StudyOutput", "Value", "Vary"]

Value = str | int | float | bool
Variable = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]*$", max_length=40)]
Seconds = Annotated[float, Unit("s", "a time", "10 min", above=0)]
Megabytes = Annotated[float, Unit("megabyte", "an amount of memory", "2 GB", at_least=50)]


class Vary(Table):
    """One thing that varies: a list, a range, or a scatter to draw from."""

    key: str | None = None
    """Path of the key in the case; left out: the variable is used by formulas alone."""
    name: Variable | None = None
    """Name in tables and formulas; left out: the last part of the key."""
    values: Annotated[tuple[Value, ...], Field(min_length=1)] | None = None
    """The values, one after another."""
    start: Annotated[Value | None, Field(alias="from")] = None
    """First value of a range, or lower end of a scatter."""
    end: Annotated[Value | None, Field(alias="to")] = None
    """Last value of a range, or upper end of a scatter."""
    step: Value | None = None
    """Distance between the values of a range."""
    count: Annotated[int, Field(ge=2, le=200_000, strict=True)] | None = None
    """Number of values of a range."""
    spacing: Literal["even", "logarithmic"] = "even"
    """How the values of a range given by its count are spaced."""
    distribution: Literal["uniform", "normal", "lognormal"] | None = None
    """Scatter to draw from."""
    mean: Value | None = None
    """Mean of a normal or lognormal scatter."""
    deviation: Value | None = None
    """Standard deviation of a normal or lognormal scatter; "5 %" is of the mean."""
    at_least: Value | None = None
    """A normal scatter is cut off below this."""
    at_most: Value | None = None
    """A normal scatter is cut off above this."""
    pair: str | None = None
    """Lists with the same word here move together instead of being combined."""


class Derive(Table):
    """A key that follows from the others by a formula."""

    key: str | None = None
    """Path of the key in the case; left out: the value is used by later formulas alone."""
    name: Variable | None = None
    """Name in tables and formulas; left out: the last part of the key."""
    formula: Annotated[str, Field(min_length=1, max_length=300)]
    """For example "sheets * sheet_thickness"."""


class Sampling(Table):
    """How scatter is drawn."""

    method: Literal["random", "latin hypercube", "sobol", "sensitivity"]
    """"sensitivity" draws what Sobol indices need: samples times (variables + 2) runs."""
    samples: Count
    """Number of samples."""
    seed: Annotated[int, Field(ge=0, strict=True)] = 0
    """Seed: the same seed draws the same samples."""


class Objective(Table):
    """Something to make large or small."""

    quantity: str
    """A reported quantity."""
    aim: Literal["maximise", "minimise"]
    """Which way is better."""


class Search(Table):
    """Looking for the best instead of running all that varies."""

    evaluations: Annotated[int, Field(ge=8, le=10_000, strict=True)]
    """Points that are tried at most."""
    start: Annotated[int, Field(ge=4, strict=True)] = 16
    """Points that are spread evenly before the search learns from them."""
    batch: Count = 8
    """Points that are chosen together; larger keeps more processors busy, smaller learns more often."""
    seed: Annotated[int, Field(ge=0, strict=True)] = 0
    """Seed: the same seed makes the same choices."""


class Limits(Table):
    """What one run may take."""

    time: Seconds = 3600.0
    """Time after which a run is ended."""
    memory: Megabytes | None = None
    """Memory above which a run is ended; left out: an equal share of what is free."""
    stop_early: bool | None = None
    """Whether a run ends with a stage whose requirement it misses; left out: in a search it does."""


class StudyOutput(Table):
    """What is kept of each run beside its tables."""

    keep: Literal["tables", "surfaces", "stage ends", "all"] = "tables"
    """"surfaces" keeps the deformed surfaces, "stage ends" and "all" fields of these states too."""
    reports: bool = True
    """Whether a report is made of every run."""


class Study(Table):
    """A base case and what varies in it."""

    title: Annotated[str, Field(min_length=1)]
    """What the study is, in a few words."""
    notes: str = ""
    """Anything worth saying; it is printed on the page."""
    case: str | dict[str, Any]
    """A case file relative to the study, the name of a library case, or the case itself as a table."""
    fixed: dict[str, Value] = Field(default_factory=dict)
    """Keys of the base case that are set to another value in all runs, by path."""
    constants: dict[Variable, Value] = Field(default_factory=dict)
    """Values that formulas may use, by name."""
    vary: Annotated[tuple[Vary, ...], Field(min_length=1)]
    """What varies."""
    derive: tuple[Derive, ...] = ()
    """Keys that follow from the others."""
    sampling: Sampling | None = None
    """How scatter is drawn; needed if there is any."""
    search: Search | None = None
    """Looking for the best by the objectives, among what meets the requirements."""
    tolerance: bool = False
    """Whether the scatter is that of making the part: tells the share of parts that meet the requirements."""
    objectives: Annotated[tuple[Objective, ...], Field(max_length=3)] = ()
    """Up to three, for the Pareto front."""
    quantities: tuple[str, ...] = ()
    """Quantities to draw; left out: those of objectives and requirements."""
    ranks: Count = 1
    """Processors of each run."""
    limits: Limits = Limits()
    """What one run may take."""
    output: StudyOutput = StudyOutput()
    """What is kept of each run."""

    @property
    def stops_early(self) -> bool:
        """Whether a run ends with a stage whose requirement it misses."""
        chosen = self.limits.stop_early
        return self.search is not None if chosen is None else chosen
