# SPDX-License-Identifier: MIT
"""What a search may choose from: ranges, levels in order, words."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from annelid.cases.schema.units import show
from annelid.cases.studies.design import Variable, is_drawn, listed_values, variable_name
from annelid.cases.studies.scatter import numbers
from annelid.cases.studies.schema import Study, Vary
from annelid.cases.studies.values import Value, inside, unit_of
from annelid.geometry.errors import InputError

if TYPE_CHECKING:
    from optuna.distributions import BaseDistribution

__all__ = ["Space", "space_of"]

_DIGITS = 6  # more would only make names long: no part is made to a millionth


@dataclass(frozen=True)
class Space:
    """All that may be chosen.

    Attributes:
        variables: What varies, in the order of the file.
        ranges: Lowest and highest number by name, in the unit inside, and whether steps are ratios.
        levels: Allowed values by name, as a case file writes them.
    """

    variables: tuple[Variable, ...]
    ranges: Mapping[str, tuple[float, float, bool]]
    levels: Mapping[str, tuple[Value, ...]]

    def distributions(self) -> dict[str, "BaseDistribution"]:
        """The same in the words of the optimiser: levels are chosen by their number."""
        from optuna.distributions import CategoricalDistribution, FloatDistribution, IntDistribution

        found: dict[str, BaseDistribution] = {}
        for variable in self.variables:
            name = variable.name
            if name in self.ranges:
                low, high, ratio = self.ranges[name]
                found[name] = FloatDistribution(low, high, log=ratio)
            elif variable.unit is None:
                found[name] = CategoricalDistribution(tuple(range(len(self.levels[name]))))
            else:
                found[name] = IntDistribution(0, len(self.levels[name]) - 1)
        return found

    def point(self, chosen: Mapping[str, Any]) -> dict[str, Value]:
        """Values of a case from numbers that the optimiser chose."""
        point: dict[str, Value] = {}
        for variable in self.variables:
            name, number = variable.name, chosen[variable.name]
            if name in self.levels:
                point[name] = self.levels[name][int(number)]
            else:
                point[name] = show(float(f"{number:.{_DIGITS}g}"), variable.unit or "1")
        return point

    def chosen(self, point: Mapping[str, Value]) -> dict[str, Any]:
        """Numbers of the optimiser from values of a case."""
        found: dict[str, Any] = {}
        for variable in self.variables:
            value = point[variable.name]
            if variable.name in self.levels:
                found[variable.name] = self.levels[variable.name].index(value)
            else:
                low, high, _ = self.ranges[variable.name]
                found[variable.name] = min(max(float(inside(value) or 0.0), low), high)
        return found

    def spread(self, shares: Mapping[str, float]) -> dict[str, Any]:
        """Numbers of the optimiser from parts of 1, such as a low-discrepancy sequence gives."""
        found: dict[str, Any] = {}
        for name, share in shares.items():
            if name in self.levels:
                found[name] = min(int(share * len(self.levels[name])), len(self.levels[name]) - 1)
            else:
                low, high, ratio = self.ranges[name]
                found[name] = low * (high / low) ** share if ratio else low + share * (high - low)
        return found


def space_of(study: Study) -> Space:
    """What a search may choose from.

    Raises:
        InputError: Something cannot be searched over, or varies in two ways.
    """
    variables: list[Variable] = []
    ranges: dict[str, tuple[float, float, bool]] = {}
    levels: dict[str, tuple[Value, ...]] = {}
    unit: str | None
    for number, vary in enumerate(study.vary, start=1):
        label = f"vary[{vary.name or vary.key or f'#{number}'}]"
        name = variable_name(vary, label)
        if vary.pair is not None:
            text = f"{label}.pair: a search has no paired lists; use a formula under derive"
            raise InputError(text, key=label)
        if name in ranges or name in levels:
            raise InputError(f'vary: two variables are called "{name}"; give one of them a name', key=name)
        if is_drawn(vary, label):
            unit, ranges[name] = _range(vary, label)
        else:
            values = list(dict.fromkeys(listed_values(vary, label)))
            unit = unit_of(values[0])
            # In order, so that the optimiser may take neighbours for alike.
            levels[name] = tuple(values if unit is None else sorted(values, key=lambda v: inside(v) or 0.0))
        variables.append(Variable(name, vary.key, unit, True))
    return Space(tuple(variables), ranges, levels)


def _range(vary: Vary, label: str) -> tuple[str, tuple[float, float, bool]]:
    if vary.distribution not in (None, "uniform") or vary.start is None or vary.end is None:
        text = f"{label}: a search chooses between from and to, or from values; it has no scatter"
        raise InputError(text, key=label)
    unit, (low, high) = numbers(vary, label, "start", "end")
    if not low < high:
        raise InputError(f"{label}: from must be below to", key=label)
    ratio = vary.spacing == "logarithmic"
    if ratio and low <= 0:
        raise InputError(f"{label}.spacing: logarithmic spacing needs from and to above zero", key=label)
    return unit, (low, high, ratio)
