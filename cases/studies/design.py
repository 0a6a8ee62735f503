# SPDX-License-Identifier: MIT
"""The points of a study: lists and ranges are combined, distributions are sampled, pairs vary together."""

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.cases.schema.units import show
from annelid.cases.studies.distributions import Distribution, parse_numbers, unit_cube_samples
from annelid.cases.studies.keys import last_part
from annelid.cases.studies.schema import Study, Vary
from annelid.cases.studies.values import Value, internal_unit
from annelid.geometry.errors import InputError

__all__ = ["Design", "Variable", "is_sampled", "listed_values", "make_design", "variable_name"]

_MAX_POINTS = 200_000
_DISTRIBUTION_KEYS = ("distribution", "mean", "deviation", "at_least", "at_most")


@dataclass(frozen=True)
class Variable:
    """A variable of a study.

    Attributes:
        name: Name in tables and formulas.
        key: Path in the case; ``None`` if only formulas use the variable.
        unit: Internal unit, ``"1"`` for plain numbers, ``None`` for texts.
        drawn: Whether its values are drawn from a distribution.
    """

    name: str
    key: str | None
    unit: str | None
    drawn: bool


@dataclass(frozen=True)
class Design:
    """All points of a study.

    Attributes:
        variables: The variables, in the order of the file.
        points: Value of every variable by name, as a case file writes it; drawn samples vary fastest.
        samples: Number of samples for each combination of lists; 0 without distributions.
    """

    variables: tuple[Variable, ...]
    points: tuple[dict[str, Value], ...]
    samples: int


def make_design(study: Study) -> Design:
    """Make all points of a study.

    Raises:
        InputError: A variable has no values, is given in two ways, or cannot be sampled.
    """
    labels = [f"vary[{v.name or v.key or f'#{i}'}]" for i, v in enumerate(study.vary, start=1)]
    names = [variable_name(v, label) for v, label in zip(study.vary, labels, strict=True)]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f'vary: two variables are called "{name}"; give one of them a name', key=name)
    drawn = [is_sampled(v, label) for v, label in zip(study.vary, labels, strict=True)]
    listed = {
        name: (listed_values(v, label), v.pair)
        for v, name, label, d in zip(study.vary, names, labels, drawn, strict=True)
        if not d
    }
    distributions = [
        (name, Distribution(v, label))
        for v, name, label, d in zip(study.vary, names, labels, drawn, strict=True)
        if d
    ]
    if study.tolerance and not distributions:
        text = (
            "is true, but no variable has a distribution, so the parts do not differ: give the sizes that "
            'vary from part to part a distribution, such as { distribution = "normal", mean = "45 um", '
            'deviation = "5 %" }, and sampling, or remove tolerance'
        )
        raise InputError(f"tolerance: {text}", key="tolerance")
    samples = _samples(study, distributions, bool(listed))
    total = math.prod(map(len, _axes(listed))) * max(1, len(samples))
    if total > _MAX_POINTS:
        raise InputError(
            f"vary: makes {total} runs; the maximum is {_MAX_POINTS}. Use fewer values", key="vary"
        )
    points = [
        {name: (a | b)[name] for name in names}
        for a in _combined(listed)
        for b in (samples if distributions else [{}])
    ]
    units = {name: internal_unit(points[0][name]) for name in names}
    variables = tuple(
        Variable(name, v.key, units[name], d) for v, name, d in zip(study.vary, names, drawn, strict=True)
    )
    return Design(variables, tuple(points), len(samples))


def variable_name(vary: Vary, label: str) -> str:
    """Name of a variable: its own, else the last part of its key.

    Raises:
        InputError: It has neither a name nor a key.
    """
    if vary.name is None and vary.key is None:
        raise InputError(f"{label}: has neither a key nor a name", key=label)
    return vary.name or last_part(vary.key or "")


def is_sampled(vary: Vary, label: str) -> bool:
    """Whether a variable is drawn from a distribution; checks that it is given in exactly one way.

    Raises:
        InputError: It has no values, or is given in several ways.
    """
    ranged = vary.step is not None or vary.count is not None
    distributed = any(getattr(vary, key) is not None for key in _DISTRIBUTION_KEYS)
    bounded = vary.start is not None or vary.end is not None
    if (vary.values is not None) + ranged + distributed > 1 or (vary.values is not None and bounded):
        text = "is given in several ways; give either values, or a range, or a distribution"
        raise InputError(f"{label}: {text}", key=label)
    if vary.values is not None:
        return False
    if ranged or (not distributed and bounded):
        if vary.start is None or vary.end is None:
            raise InputError(f"{label}: needs both from and to", key=label)
        if vary.step is not None and vary.count is not None:
            raise InputError(f"{label}: has both a step and a count; give one of them", key=label)
    elif not distributed:
        raise InputError(
            f"{label}: does not vary; give values, from and to (with a step or a count, or alone for a "
            "uniform distribution), or a distribution",
            key=label,
        )
    if not ranged and vary.pair is not None:
        text = "a distribution cannot be paired; use a formula under derive"
        raise InputError(f"{label}.pair: {text}", key=label)
    return not ranged


def listed_values(vary: Vary, label: str) -> list[Value]:
    """Values of a list or a range, as a case file writes them.

    Raises:
        InputError: The values or the range are not valid.
    """
    found: NDArray[np.floating[Any]]
    if vary.values is not None:
        if len({internal_unit(value) for value in vary.values}) > 1:
            raise InputError(f"{label}.values: must have units of one kind", key=label)
        return list(vary.values)
    whole = all(isinstance(getattr(vary, key), int | None) for key in ("start", "end", "step"))
    if vary.step is None:
        unit, (low, high) = parse_numbers(vary, label, "start", "end")
        found = _spaced(vary, label, low, high)
    else:
        unit, (low, high, step) = parse_numbers(vary, label, "start", "end", "step")
        if step == 0 or (high - low) * step < 0:
            raise InputError(
                f"{label}.step: {vary.step!r} does not lead from {vary.start!r} to {vary.end!r}", key=label
            )
        # A range such as 0.1 to 0.7 by 0.2 must end at 0.7 in spite of rounding.
        steps = (high - low) / step + 1e-9
        if steps > _MAX_POINTS:
            text = f"{vary.step!r} makes {steps:.6g} values; use a larger step"
            raise InputError(f"{label}.step: {text}", key=label)
        found = low + step * np.arange(math.floor(steps) + 1)
    if whole and np.all(found == np.round(found)):
        return [round(x) for x in found]
    return [show(float(x), unit) for x in found]


def _spaced(vary: Vary, label: str, low: float, high: float) -> NDArray[np.floating[Any]]:
    assert vary.count is not None
    if vary.spacing == "even":
        return np.linspace(low, high, vary.count)
    if low <= 0 or high <= 0:
        raise InputError(f"{label}.spacing: logarithmic spacing needs from and to above zero", key=label)
    return np.geomspace(low, high, vary.count)


def _axes(listed: dict[str, tuple[list[Value], str | None]]) -> list[list[dict[str, Value]]]:
    """The lists to combine; each entry holds the values that are set together."""
    axes: dict[str, list[dict[str, Value]]] = {}
    for name, (values, pair) in listed.items():
        axis = axes.setdefault(f"pair {pair}" if pair else f"name {name}", [{} for _ in values])
        if len(axis) != len(values):
            text = f'vary[{name}].pair: "{pair}" joins lists of {len(axis)} and {len(values)} values'
            raise InputError(f"{text}; paired lists must have the same length", key=name)
        for entry, value in zip(axis, values, strict=True):
            entry[name] = value
    return list(axes.values())


def _combined(listed: dict[str, tuple[list[Value], str | None]]) -> Iterator[dict[str, Value]]:
    for entries in itertools.product(*_axes(listed)):
        yield {name: value for entry in entries for name, value in entry.items()}


def _samples(
    study: Study, distributions: list[tuple[str, Distribution]], listed: bool
) -> list[dict[str, Value]]:
    sampling = study.sampling
    if not distributions:
        if sampling is not None:
            text = "no variable has a distribution; give one only from and to, or a distribution"
            raise InputError(f"sampling: {text}", key="sampling")
        return []
    if sampling is None:
        text = 'is missing; write for example sampling = { method = "latin hypercube", samples = 50 }'
        raise InputError(f"sampling: {text}", key="sampling")
    if sampling.method == "sensitivity" and listed:
        text = "sensitivity needs a distribution for every variable; remove the lists and ranges"
        raise InputError(f"sampling.method: {text}", key="sampling.method")
    cube = unit_cube_samples(sampling.method, sampling.samples, len(distributions), sampling.seed)
    columns: list[list[Any]] = [
        [show(float(x), d.unit) for x in d.quantiles(cube[:, i])] for i, (_, d) in enumerate(distributions)
    ]
    names = [name for name, _ in distributions]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]
