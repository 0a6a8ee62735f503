# SPDX-License-Identifier: MIT
"""Rows of the tables of the page about several scans."""

import math
from collections.abc import Iterator, Mapping

from annelid.compare.page.spread_numbers import (
    MAIN,
    p_text,
    range_text,
    shown,
    size_text,
    spread_text,
    unit_for,
)
from annelid.compare.repeatability.mode_names import mode_name
from annelid.compare.repeatability.point_spread import root_mean_square
from annelid.compare.repeatability.repeated import Repeatability, StudyBeside
from annelid.compare.repeatability.shape_modes import ShapeModes
from annelid.solver.display import digits


def limit_rows(found: Repeatability) -> Iterator[tuple[str, ...]]:
    """Rows: measure, mean, repeatability and reproducibility limit, standard deviation between parts."""
    for name, entry in found.precision.items():
        sizes = (entry.repeatability.limit, entry.reproducibility.limit, entry.parts.value)
        yield name, shown(found, name, entry.mean), *(size_text(found, name, size) for size in sizes)


def deviation_rows(found: Repeatability) -> Iterator[tuple[str, ...]]:
    """Rows: measure, standard deviations of repeatability and reproducibility and between parts."""
    for name, entry in found.precision.items():
        three = (entry.repeatability, entry.reproducibility, entry.parts)
        yield name, *(spread_text(found, name, deviation) for deviation in three)


def component_rows(found: Repeatability) -> Iterator[tuple[str, ...]]:
    """Rows of the main measures: measure, source, squares, degrees of freedom, F, p, deviation, share."""
    for name in (name for name in MAIN if name in found.precision):
        entry = found.precision[name]
        total = sum(max(v, 0.0) for v in entry.components.values() if math.isfinite(v))
        for source, (squares, degrees, _, ratio, p) in entry.analysis.items():
            variance = entry.components[source]
            deviation = size_text(
                found, name, math.sqrt(max(variance, 0.0)) if variance == variance else variance
            )
            share = (
                f"{digits(100 * max(variance, 0.0) / total, 3)} %"
                if total > 0.0 and variance == variance
                else ""
            )
            tested = (digits(ratio, 3), p_text(p)) if math.isfinite(ratio) else ("", "")
            deviation = "0 (negative)" if variance < 0.0 else deviation
            yield name, source, digits(squares, 3), digits(degrees, 3), *tested, deviation, share


def level_rows(found: Repeatability) -> Iterator[tuple[str, ...]]:
    """Rows: part, measure, values, mean, repeatability, reproducibility, for the measures of the figures."""
    for (name, level), entry in found.levels.items():
        if name in MAIN:
            texts = [spread_text(found, name, d) for d in (entry.repeatability, entry.reproducibility)]
            yield level, name, str(entry.number), shown(found, name, entry.mean), *texts


def consistency_rows(found: Repeatability) -> Iterator[tuple[str, ...]]:
    """Rows of the stragglers and outliers: measure, tested, test, group, statistic, limits, verdict."""
    for name, what, test in found.consistency:
        if test.verdict:
            statistic, five, one = test.shown
            yield name, what, test.test, test.group, statistic, f"{five} / {one}", test.verdict


def mode_rows(shapes: ShapeModes, found: Repeatability) -> Iterator[tuple[str, ...]]:
    """Rows of the tested modes: number, energy, chance, p, size, look."""
    real = len(shapes.modes.energy)
    for i, test in enumerate(shapes.tests):
        energy = shapes.modes.energy[i] if i < real else test.energy
        size, look = "", "not larger than chance"
        if i < real:
            length = root_mean_square(shapes.modes.shapes[i], found.places.weight)
            size = found.part.run.units.show("length", length, 3)
            look = mode_name(shapes.shares[i])
        elif test.p <= 0.05:
            look = "larger than chance, but too few scans to distinguish more modes"
        yield (
            f"Mode {i + 1}",
            f"{digits(100 * energy, 3)} %",
            f"{digits(100 * test.chance, 3)} %",
            p_text(test.p),
            size,
            look,
        )


def outlier_rows(shapes: ShapeModes) -> Iterator[tuple[str, ...]]:
    """Rows of the outlier tests: part, test, statistic, critical value, verdict."""
    for what, suspects in (
        ("scores in the modes (Wilks)", shapes.outlying.by_modes),
        ("what the modes leave", shapes.outlying.by_rest),
    ):
        for suspect in suspects:
            verdict = "outlier" if suspect.beyond else ""
            yield (
                shapes.rows[suspect.row],
                what,
                digits(suspect.statistic, 3),
                digits(suspect.critical, 3),
                verdict,
            )


def agreement_rows(found: Repeatability) -> Iterator[tuple[str, ...]]:
    """Rows: measure, bias, limits, repeatability coefficients, trend."""
    for name, entry in found.agreements.items():
        unit = unit_for(found, name, max(map(abs, entry.limits)))
        yield (
            name,
            unit.behind(digits(unit.factor * entry.bias, 3)),
            range_text(unit, entry.limits),
            " / ".join(size_text(found, name, c) for c in entry.coefficients),
            "" if math.isnan(entry.trend[0]) else f"{digits(entry.trend[0], 2)}, {p_text(entry.trend[1])}",
        )


def interval_rows(found: Repeatability) -> Iterator[tuple[str, ...]]:
    """Rows: measure, 95 % confidence intervals of the bias, the lower and the upper limit."""
    for name, entry in found.agreements.items():
        unit = unit_for(found, name, max(map(abs, entry.limits)))
        yield name, *(range_text(unit, ends) for ends in (entry.bias_range, *entry.limit_ranges))


def study_rows(found: Repeatability, study: StudyBeside) -> Iterator[tuple[str, ...]]:
    """Rows: measure, measured and simulated spread, ratio, which input explains most."""
    for row in study.rows:
        ends = (
            f" ({digits(row.low, 2)} to {digits(row.high, 2)})" if math.isfinite(row.low + row.high) else ""
        )
        yield (
            row.measure,
            spread_text(found, row.measure, row.measured),
            spread_text(found, row.measure, row.simulated),
            f"{digits(row.ratio, 3)}{ends}",
            _most(row.shares, row.method),
        )


def _most(shares: Mapping[str, float], method: str) -> str:
    if not shares:
        return "not known"
    name, share = max(shares.items(), key=lambda item: item[1])
    return f"{name.replace('_', ' ')}, {100 * share:.0f} % ({method})"
