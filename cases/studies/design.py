# SPDX-License-Identifier: MIT
"""From what varies to points: lists and ranges are combined, scatter is drawn, pairs move together."""

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.cases.schema.units import show
from annelid.cases.studies.keys import last_part
from annelid.cases.studies.scatter import Scatter, numbers, shares
from annelid.cases.studies.schema import Study, Vary
from annelid.cases.studies.values import Value, unit_of
from annelid.geometry.errors import InputError

__all__ = ["Design", "Variable", "design_of", "is_drawn", "listed_values", "variable_name"]

_MOST_POINTS = 200_000
_SCATTER = ("distribution", "mean", "deviation", "at_least", "at_most")


@dataclass(frozen=True)
class Variable:
    """Something that varies.

    Attributes:
        name: Name in tables and formulas.
        key: Path in the case; ``None`` for one that formulas alone use.
        unit: Unit inside, ``"1"`` for plain numbers, ``None`` for words.
        drawn: Whether it is drawn from a scatter.
    """

    name: str
    key: str | None
    unit: str | None
    drawn: bool


@dataclass(frozen=True)
class Design:
    """All points of a study.

    Attributes:
        variables: What varies, in the order of the file.
        points: Value of every variable by name, as a case file writes it; drawn samples vary fastest.
        samples: Number of samples drawn for each combination of lists; 0 without scatter.
    """

    variables: tuple[Variable, ...]
    points: tuple[dict[str, Value], ...]
    samples: int


def design_of(study: Study) -> Design:
    """All points of a study.

    Raises:
        InputError: What varies is not said, or said in two ways, or cannot be drawn.
    """
    labels = [f"vary[{v.name or v.key or f'#{i}'}]" for i, v in enumerate(study.vary, start=1)]
    names = [variable_name(v, label) for v, label in zip(study.vary, labels, strict=True)]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f'vary: two variables are called "{name}"; give one of them a name', key=name)
    drawn = [is_drawn(v, label) for v, label in zip(study.vary, labels, strict=True)]
    listed = {
        name: (listed_values(v, label), v.pair)
        for v, name, label, d in zip(study.vary, names, labels, drawn, strict=True)
        if not d
    }
    scatter = [
        (name, Scatter(v, label))
        for v, name, label, d in zip(study.vary, names, labels, drawn, strict=True)
        if d
    ]
    samples = _samples(study, scatter, bool(listed))
    total = math.prod(map(len, _axes(listed))) * max(1, len(samples))
    if total > _MOST_POINTS:
        raise InputError(
            f"vary: makes {total} runs; allowed are {_MOST_POINTS}. Take fewer values", key="vary"
        )
    points = [
        {name: (a | b)[name] for name in names}
        for a in _combined(listed)
        for b in (samples if scatter else [{}])
    ]
    units = {name: unit_of(points[0][name]) for name in names}
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


def is_drawn(vary: Vary, label: str) -> bool:
    """Whether a variable is drawn; makes sure that it says one thing only.

    Raises:
        InputError: It says nothing, or several things.
    """
    ranged = vary.step is not None or vary.count is not None
    scattered = any(getattr(vary, key) is not None for key in _SCATTER)
    bounded = vary.start is not None or vary.end is not None
    if (vary.values is not None) + ranged + scattered > 1 or (vary.values is not None and bounded):
        raise InputError(f"{label}: says several things; give values, or a range, or a scatter", key=label)
    if vary.values is not None:
        return False
    if ranged or (not scattered and bounded):
        if vary.start is None or vary.end is None:
            raise InputError(f"{label}: needs both from and to", key=label)
        if vary.step is not None and vary.count is not None:
            raise InputError(f"{label}: has both a step and a count; give one", key=label)
    elif not scattered:
        raise InputError(
            f"{label}: does not vary; give values, from and to (with a step, a count, or to draw "
            "between them), or a distribution",
            key=label,
        )
    if not ranged and vary.pair is not None:
        raise InputError(f"{label}.pair: scatter cannot be paired; use a formula under derive", key=label)
    return not ranged


def listed_values(vary: Vary, label: str) -> list[Value]:
    """Values of a list or a range, as a case file writes them.

    Raises:
        InputError: The values or the range cannot be meant.
    """
    found: NDArray[np.floating[Any]]
    if vary.values is not None:
        if len({unit_of(value) for value in vary.values}) > 1:
            raise InputError(f"{label}.values: need units of one kind", key=label)
        return list(vary.values)
    whole = all(isinstance(getattr(vary, key), int | None) for key in ("start", "end", "step"))
    if vary.step is None:
        unit, (low, high) = numbers(vary, label, "start", "end")
        found = _spaced(vary, label, low, high)
    else:
        unit, (low, high, step) = numbers(vary, label, "start", "end", "step")
        if step == 0 or (high - low) * step < 0:
            raise InputError(
                f"{label}.step: {vary.step!r} does not lead from {vary.start!r} to {vary.end!r}", key=label
            )
        # A range such as 0.1 to 0.7 by 0.2 must end at 0.7 in spite of rounding.
        steps = math.floor((high - low) / step + 1e-9)
        if steps > _MOST_POINTS:
            raise InputError(
                f"{label}.step: {vary.step!r} makes {steps} values; take a larger one", key=label
            )
        found = low + step * np.arange(steps + 1)
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
    """Lists that are to be combined, each a list of what is set together."""
    axes: dict[str, list[dict[str, Value]]] = {}
    for name, (values, pair) in listed.items():
        axis = axes.setdefault(f"pair {pair}" if pair else f"name {name}", [{} for _ in values])
        if len(axis) != len(values):
            text = f'vary[{name}].pair: "{pair}" joins lists of {len(axis)} and {len(values)} values'
            raise InputError(f"{text}; paired lists need equally many", key=name)
        for entry, value in zip(axis, values, strict=True):
            entry[name] = value
    return list(axes.values())


def _combined(listed: dict[str, tuple[list[Value], str | None]]) -> Iterator[dict[str, Value]]:
    for entries in itertools.product(*_axes(listed)):
        yield {name: value for entry in entries for name, value in entry.items()}


def _samples(study: Study, scatter: list[tuple[str, Scatter]], listed: bool) -> list[dict[str, Value]]:
    sampling = study.sampling
    if not scatter:
        if sampling is not None:
            raise InputError(
                "sampling: nothing is drawn; vary something by from and to alone, or by a distribution",
                key="sampling",
            )
        return []
    if sampling is None:
        raise InputError(
            "sampling: is missing; it says how the scatter is drawn, "
            'such as { method = "latin hypercube", samples = 50 }',
            key="sampling",
        )
    if sampling.method == "sensitivity" and listed:
        raise InputError(
            "sampling.method: sensitivity needs all variables drawn; there can be no lists and ranges beside",
            key="sampling.method",
        )
    cube = shares(sampling.method, sampling.samples, len(scatter), sampling.seed)
    columns: list[list[Any]] = [
        [show(float(x), s.unit) for x in s.values(cube[:, i])] for i, (_, s) in enumerate(scatter)
    ]
    return [dict(zip([name for name, _ in scatter], row, strict=True)) for row in zip(*columns, strict=True)]
