# SPDX-License-Identifier: MIT
"""The search space of a study: continuous ranges, ordered levels and texts."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from annelid.cases.schema.units import show
from annelid.cases.studies.design import Variable, is_sampled, listed_values, variable_name
from annelid.cases.studies.distributions import parse_numbers
from annelid.cases.studies.schema import Study, Vary
from annelid.cases.studies.values import Value, internal_unit, to_internal
from annelid.geometry.errors import InputError

if TYPE_CHECKING:
    from optuna.distributions import BaseDistribution

__all__ = ["SearchSpace", "search_space"]

_DIGITS = 6  # no part is made to a precision of one millionth, and more digits only make names longer


@dataclass(frozen=True)
class SearchSpace:
    """The variables of a search with their allowed values.

    Attributes:
        variables: The variables, in the order of the file.
        ranges: Lower bound, upper bound (in the internal unit) and whether the scale is logarithmic, by name.
        levels: Allowed values of a discrete variable by name, as a case file writes them.
    """

    variables: tuple[Variable, ...]
    ranges: Mapping[str, tuple[float, float, bool]]
    levels: Mapping[str, tuple[Value, ...]]

    def distributions(self) -> dict[str, "BaseDistribution"]:
        """Distributions for the optimiser; a level is represented by its index."""
        from optuna.distributions import CategoricalDistribution, FloatDistribution, IntDistribution

        found: dict[str, BaseDistribution] = {}
        for variable in self.variables:
            name = variable.name
            if name in self.ranges:
                low, high, logarithmic = self.ranges[name]
                found[name] = FloatDistribution(low, high, log=logarithmic)
            elif variable.unit is None:
                found[name] = CategoricalDistribution(tuple(range(len(self.levels[name]))))
            else:
                found[name] = IntDistribution(0, len(self.levels[name]) - 1)
        return found

    def to_point(self, parameters: Mapping[str, Any]) -> dict[str, Value]:
        """Values as a case file writes them, from parameters of the optimiser."""
        point: dict[str, Value] = {}
        for variable in self.variables:
            name, number = variable.name, parameters[variable.name]
            if name in self.levels:
                point[name] = self.levels[name][int(number)]
            else:
                point[name] = show(float(f"{number:.{_DIGITS}g}"), variable.unit or "1")
        return point

    def to_parameters(self, point: Mapping[str, Value]) -> dict[str, Any]:
        """Parameters of the optimiser, from values as a case file writes them."""
        found: dict[str, Any] = {}
        for variable in self.variables:
            value = point[variable.name]
            if variable.name in self.levels:
                found[variable.name] = self.levels[variable.name].index(value)
            else:
                low, high, _ = self.ranges[variable.name]
                found[variable.name] = min(max(float(to_internal(value) or 0.0), low), high)
        return found

    def from_unit_cube(self, fractions: Mapping[str, float]) -> dict[str, Any]:
        """Parameters of the optimiser from a point of the unit cube."""
        found: dict[str, Any] = {}
        for name, fraction in fractions.items():
            if name in self.levels:
                found[name] = min(int(fraction * len(self.levels[name])), len(self.levels[name]) - 1)
            else:
                low, high, logarithmic = self.ranges[name]
                found[name] = low * (high / low) ** fraction if logarithmic else low + fraction * (high - low)
        return found


def search_space(study: Study) -> SearchSpace:
    """Make the search space of a study.

    Raises:
        InputError: A variable cannot be searched over, or is given in several ways.
    """
    if study.tolerance:
        text = "is true, but a search chooses its points instead of drawing them as parts vary: remove one"
        raise InputError(f"tolerance: {text} of tolerance and search", key="tolerance")
    variables: list[Variable] = []
    ranges: dict[str, tuple[float, float, bool]] = {}
    levels: dict[str, tuple[Value, ...]] = {}
    unit: str | None
    for number, vary in enumerate(study.vary, start=1):
        label = f"vary[{vary.name or vary.key or f'#{number}'}]"
        name = variable_name(vary, label)
        if vary.pair is not None:
            text = f"{label}.pair: lists of a search cannot be paired; use a formula under derive"
            raise InputError(text, key=label)
        if name in ranges or name in levels:
            raise InputError(f'vary: two variables are called "{name}"; give one of them a name', key=name)
        if is_sampled(vary, label):
            unit, ranges[name] = _range(vary, label)
        else:
            values = list(dict.fromkeys(listed_values(vary, label)))
            unit = internal_unit(values[0])
            # Sorted, since the optimiser assumes that neighbouring levels give similar results.
            levels[name] = tuple(
                values if unit is None else sorted(values, key=lambda v: to_internal(v) or 0.0)
            )
        variables.append(Variable(name, vary.key, unit, True))
    return SearchSpace(tuple(variables), ranges, levels)


def _range(vary: Vary, label: str) -> tuple[str, tuple[float, float, bool]]:
    if vary.distribution not in (None, "uniform") or vary.start is None or vary.end is None:
        text = f"{label}: a search needs from and to, or values; it has no normal or lognormal distributions"
        raise InputError(text, key=label)
    unit, (low, high) = parse_numbers(vary, label, "start", "end")
    if not low < high:
        raise InputError(f"{label}: from must be below to", key=label)
    logarithmic = vary.spacing == "logarithmic"
    if logarithmic and low <= 0:
        raise InputError(f"{label}.spacing: logarithmic spacing needs from and to above zero", key=label)
    return unit, (low, high, logarithmic)
