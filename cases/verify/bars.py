# SPDX-License-Identifier: MIT
"""The error bars of all quantities of a case, from the runs of its verification."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from annelid.cases.verify.convergence import ErrorBar, Trend, error_bar
from annelid.cases.verify.refinement import CASE, MESH, QUADRATURE, STEPS, TOLERANCE, RefinedRun
from annelid.cases.verify.values import Place, Reported, reported_values
from annelid.results.verification.record import TOO_CLOSE, BarredVerdict, QuantityBar
from annelid.solver.display import ROUNDING
from annelid.solver.model.quantities import quantity_of

__all__ = ["FinishedRun", "barred_verdicts", "quantity_bars", "relative_sizes"]

_ROUNDING, _ROUNDING_OF_KIND = 1e-7, 1e-9
"""Of the largest value on all meshes, and of the largest value with the same unit."""
_LEAST_ORDER_AT_A_POINT = 1.0  # of a largest value at a point, below which no limit is seen


class FinishedRun(NamedTuple):
    """A run of a verification and its summary; ``None`` if it is not finished."""

    run: RefinedRun
    summary: Mapping[str, Any] | None


def relative_sizes(runs: Sequence[FinishedRun]) -> dict[str, float]:
    """Return the element size of each finished mesh over that of the case, from the numbers of cells."""
    cells = {f.run.name: _mesh(f.summary) for f in runs if f.summary and f.run.family in (CASE, MESH)}
    if CASE not in cells:
        return {}
    base, dimension = cells[CASE]
    return {name: float((base / count) ** (1 / dimension)) for name, (count, _) in cells.items()}


def _mesh(summary: Mapping[str, Any]) -> tuple[int, int]:
    facts = summary["facts"]["mesh"]
    return int(facts["cells"]), 2 if facts["model"] == "axisymmetric" else 3


def quantity_bars(runs: Sequence[FinishedRun]) -> list[QuantityBar]:
    """Return the error bar of each number that the run of the case reports.

    Args:
        runs: The runs of a verification; that of the case must be finished.
    """
    base = next(f.summary for f in runs if f.run.family == CASE)
    assert base is not None
    values = {f.run.name: reported_values(f.summary) for f in runs if f.summary}
    ends = {f.run.name: _end(f.summary) for f in runs if f.summary}
    comparable = [f for f in runs if f.summary and ends[f.run.name] == ends[CASE]]
    sizes = relative_sizes(runs)
    largest: dict[str, float] = {}
    for number in values[CASE].values():
        largest[number.unit] = max(largest.get(number.unit, 0.0), abs(number.value))
    return [
        _bar(place, number, comparable, values, sizes, _ROUNDING_OF_KIND * largest[number.unit])
        for place, number in values[CASE].items()
    ]


def _end(summary: Mapping[str, Any]) -> tuple[Any, Any]:
    """How a path ends: states of paths that end in different ways cannot be compared."""
    last = summary.get("final_state") or {}
    return (summary.get("outcome") or {}).get("kind"), last.get("stage")


def _bar(
    place: Place,
    number: Reported,
    runs: Sequence[FinishedRun],
    values: Mapping[str, Mapping[Place, Reported]],
    sizes: Mapping[str, float],
    least_noise: float,
) -> QuantityBar:
    """The bar of one quantity."""
    found = {f.run.name: values[f.run.name][place] for f in runs if place in values[f.run.name]}
    bound = [name for name, reported in found.items() if reported.is_bound]
    plain = QuantityBar(place.quantity, place.where, number.unit, number.value)
    if bound:
        return replace(plain, pattern="lower bound", note="It is a lower bound, where a search ended.")
    change = {
        family: max(
            (abs(found[f.run.name].value - number.value) for f in runs if _has(f, (family,), found)),
            default=math.nan,
        )
        for family in (TOLERANCE, QUADRATURE)
    }
    scale = max(abs(reported.value) for reported in found.values())
    of_tolerance = 3 * change[TOLERANCE] if math.isfinite(change[TOLERANCE]) else 0.0
    noise = max(_ROUNDING * scale, least_noise, of_tolerance, ROUNDING)
    on_meshes = sorted(
        ((sizes[f.run.name], found[f.run.name].value) for f in runs if _has(f, (CASE, MESH), found)),
        reverse=True,
    )
    on_steps = sorted(
        ((f.run.factor, found[f.run.name].value) for f in runs if _has(f, (CASE, STEPS), found)), reverse=True
    )
    mesh, steps = (
        error_bar(tuple(s for s, _ in pairs), tuple(v for _, v in pairs), noise=noise)
        for pairs in (on_meshes, on_steps)
    )
    shown = replace(
        plain,
        pattern=str(mesh.pattern),
        order=mesh.order,
        index=mesh.index,
        sizes=tuple(s for s, _ in on_meshes),
        values=tuple(v for _, v in on_meshes),
        best=mesh.extrapolated if mesh.confirmed else mesh.finest,
        tolerance=change[TOLERANCE],
        quadrature=change[QUADRATURE],
    )
    return _completed(shown, mesh, steps, {reported.quantity for reported in values[CASE]})


def _completed(bar: QuantityBar, mesh: ErrorBar, steps: ErrorBar, reported: set[str]) -> QuantityBar:
    """Add the shares and their sum, unless no limit is seen; ``reported``: all quantities of the run."""
    beside = _beside(bar.quantity)
    if beside is not None and _has_no_limit(mesh):
        other = f"; {beside} has a limit" if beside in reported else ""
        text = f"No limit is seen under refinement of this value at a point{other}."
        return replace(bar, pattern="no limit", note=text, best=math.nan, index=math.nan, order=math.nan)
    if mesh.pattern is Trend.ONE:
        return replace(bar, note="It has a value on one mesh only.", best=math.nan)
    others = [bar.tolerance, bar.quadrature]
    of_steps = 0.0 if steps.pattern is Trend.ONE else steps.around(bar.value)
    rest = of_steps + sum(change for change in others if math.isfinite(change))
    notes = [_NOTES.get(mesh.pattern, "")]
    missing = [
        name
        for name, value in (("tolerance", others[0]), ("quadrature", others[1]))
        if not math.isfinite(value)
    ]
    missing += ["steps"] if steps.pattern is Trend.ONE else []
    if missing:
        notes.append(f"Without the influence of {', '.join(missing)}, whose runs have no such value.")
    if steps.pattern not in (Trend.ROUNDING, Trend.REGULAR, Trend.ONE):
        notes.append(f"Under smaller steps it is {steps.pattern}.")
    return replace(
        bar,
        mesh=mesh.around(bar.value),
        steps=of_steps,
        half_width=mesh.around(bar.value) + rest,
        best_half_width=mesh.half_width + rest,
        note=" ".join(filter(None, notes)),
    )


_NOTES = {
    Trend.OSCILLATING: "The values oscillate: the bar spans all of them.",
    Trend.DIVERGING: "The differences grow: the bar is three times their span; do not rely on it.",
    Trend.SLOW: "The values change so slowly that the bar is wide.",
    Trend.FAST: "The values come closer than the method can: by accident, so the bar is wider.",
    Trend.TWO: "From two meshes with an assumed order of 2.",
}


def _has_no_limit(mesh: ErrorBar) -> bool:
    if mesh.pattern in (Trend.DIVERGING, Trend.SLOW):
        return True
    return mesh.pattern is Trend.REGULAR and mesh.order < _LEAST_ORDER_AT_A_POINT


def _beside(name: str) -> str | None:
    try:
        return quantity_of(name).beside
    except KeyError:  # a load
        return None


def _has(finished: FinishedRun, families: tuple[str, ...], found: Mapping[str, Reported]) -> bool:
    return finished.run.family in families and finished.run.name in found


def barred_verdicts(summary: Mapping[str, Any], bars: Sequence[QuantityBar]) -> list[BarredVerdict]:
    """Return the verdicts of the run of the case with a third answer where the bar contains the limit.

    Args:
        summary: The summary of the run of the case.
        bars: Error bars of this run.
    """
    return [_verdict(entry, bars) for entry in summary.get("verdicts", ())]


def _verdict(entry: Mapping[str, Any], bars: Sequence[QuantityBar]) -> BarredVerdict:
    name, stage = entry["quantity"], entry.get("stage", "")
    places = [f"at the end of stage '{stage}'"] if stage else ["at the last state", "", "of the path"]
    bar = next((b for where in places for b in bars if (b.quantity, b.where) == (name, where)), None)
    limit, value = float(entry["limit"]), float(entry["value"])
    half = math.nan if bar is None else bar.half_width
    answer = "met" if entry["met"] else "not met"
    if math.isfinite(half) and abs(value - limit) <= half:
        answer = TOO_CLOSE
    where = stage and places[0]
    return BarredVerdict(name, where or entry["where"], entry["condition"], limit, value, half, answer)
