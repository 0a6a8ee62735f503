# SPDX-License-Identifier: MIT
"""Figures of several scans: values, consistency, modes, scores, agreement, and a study beside."""

from collections.abc import Sequence

import numpy as np

from annelid.compare.page.diverging import colour_limit, diverging_colours
from annelid.compare.repeatability.agreement import Agreement
from annelid.compare.repeatability.consistency import Consistency
from annelid.compare.repeatability.places import Places
from annelid.compare.repeatability.repeated import Repeatability
from annelid.compare.repeatability.shape_modes import ShapeModes
from annelid.compare.repeatability.study_parts import Beside
from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.solver.display import DisplayUnit, DisplayUnits, digits

_MAP = (120, 80)  # places over angle and height
_MANY = 24  # names on an axis that are turned
_JITTER = 0.3  # of the distance between parts, between the first and the last operator


def values_figure(found: Repeatability, name: str, unit: DisplayUnit) -> SvgFigure:
    """Draw a measure of all scans over the parts, in the colour of the operator."""
    design, column = found.design, found.names.index(name)
    values = unit.factor * found.values[list(found.chosen), column]
    count = len(design.operators)
    with style.new_figure(3.9, 2.6) as (figure, axes):
        for i, operator in enumerate(design.operators):
            rows = design.operator == i
            shift = _JITTER * (i / (count - 1) - 0.5) if count > 1 else 0.0
            colour = style.SERIES[i % len(style.SERIES)]
            axes.plot(
                design.part[rows] + shift,
                values[rows],
                "o",
                color=colour,
                markersize=4,
                alpha=0.8,
                label=operator,
            )
        means = [
            np.nanmean(values[design.part == i]) if np.isfinite(values[design.part == i]).any() else np.nan
            for i in range(len(design.parts))
        ]
        axes.plot(range(len(means)), means, "_", color=style.INK, markersize=14, markeredgewidth=1.4)
        _names(axes, design.parts)
        axes.ticklabel_format(axis="y", useOffset=False)
        axes.set_title(unit.label(name))
        if 1 < count <= len(style.SERIES):
            axes.legend(fontsize=7, title="operator", title_fontsize=7)
        label = f"{name} of the scans of each part"
        return SvgFigure(style.svg_text(figure, f"values{column}", label), label)


def mandel_figure(name: str, what: str, tests: Sequence[Consistency], number: int) -> SvgFigure:
    """Draw Mandel's h and k of groups with their limits."""
    with style.new_figure(3.9, 2.6) as (figure, axes):
        groups = list(dict.fromkeys(test.group for test in tests))
        for shift, test_name, colour in (
            (-0.19, "Mandel's h", style.ACCENT),
            (0.19, "Mandel's k", style.SERIES[1]),
        ):
            own = {test.group: test for test in tests if test.test == test_name}
            if not own:
                continue
            x = [groups.index(group) + shift for group in own]
            axes.bar(x, [t.statistic for t in own.values()], width=0.36, color=colour, label=test_name[-1])
            for level, line in zip(next(iter(own.values())).critical, (":", "--"), strict=True):
                for sign in (1.0, -1.0) if test_name.endswith("h") else (1.0,):
                    axes.axhline(sign * level, color=colour, linewidth=0.9, linestyle=line)
        axes.axhline(0.0, color=style.MUTED, linewidth=0.8)
        _names(axes, groups)
        figure.legend(fontsize=7, ncols=2, loc="outside upper right")
        axes.set_title(f"{name}; {what}", fontsize=8)
        label = f"Mandel's h and k of {name}, {what}; lines at 5 % (dotted) and 1 % (dashed)"
        return SvgFigure(style.svg_text(figure, f"mandel{number}", label), label)


def modes_figure(shapes: ShapeModes) -> SvgFigure:
    """Draw the energy of the modes and what chance explains."""
    energy, chance = (
        100.0 * np.array([getattr(t, key) for t in shapes.tests]) for key in ("energy", "chance")
    )
    x, real = np.arange(1, len(energy) + 1), len(shapes.modes.energy)
    with style.new_figure(3.9, 2.6) as (figure, axes):
        colours = [style.ACCENT if i <= real else style.LINE for i in x]
        axes.bar(x, energy, color=colours, width=0.55, zorder=2)
        axes.plot(
            x, chance, "D", color=style.WARNING, markersize=5, label="exceeded by chance in 5 %", zorder=3
        )
        if energy.min() > 0.0 and energy.max() / energy.min() > 50.0:
            axes.set_yscale("log")
        axes.set_xticks(x)
        axes.set_xlabel("mode")
        axes.set_ylabel("share of the variance [%]")
        axes.legend(fontsize=8)
        label = "Energy of the modes of variation against that of permuted scans"
        return SvgFigure(style.svg_text(figure, "modes", label), f"{label}; grey ones do not count as real.")


def scores_figure(shapes: ShapeModes) -> SvgFigure:
    """Draw the parts in the plane of the two largest modes, or over what the modes leave."""
    scores, rest = shapes.modes.scores, shapes.outlying.rest
    two = scores.shape[1] > 1
    y = scores[:, 1] if two else rest
    with style.new_figure(3.9, 2.6) as (figure, axes):
        out = np.array([name in shapes.outlying.found for name in shapes.rows])
        axes.plot(scores[~out, 0], y[~out], "o", color=style.ACCENT, markersize=5)
        axes.plot(scores[out, 0], y[out], "s", color=style.FAILURE, markersize=6)
        shown = range(len(y)) if len(y) <= _MANY else np.flatnonzero(out)
        for i in shown:
            axes.annotate(
                shapes.rows[i], (scores[i, 0], y[i]), (4, 3), textcoords="offset points", fontsize=7
            )
        axes.set_xlabel("mode 1 [standard deviations]")
        axes.set_ylabel("mode 2 [standard deviations]" if two else "what the modes leave [mm]")
        label = (
            "Scores of the parts in the modes"
            if shapes.of_parts
            else "Scores of the scans, in the order of the list"
        )
        return SvgFigure(style.svg_text(figure, "scores", label), f"{label}; squares are outlying.")


def unrolled_figure(
    places: Places, field: FloatArray, title: str, key: str, units: DisplayUnits
) -> SvgFigure:
    """Draw a signed field over angle and height, as the nearest place has it."""
    from scipy.spatial import cKDTree

    limit = colour_limit(field)
    unit = units.unit("length", limit)
    around, along = _MAP
    angle = np.arctan2(places.points[:, 1], places.points[:, 0])
    low, high = float(places.points[:, 2].min()), float(places.points[:, 2].max())
    size = float(np.hypot(places.points[:, 0], places.points[:, 1]).max())
    tree = cKDTree(np.column_stack([size * np.cos(angle), size * np.sin(angle), places.points[:, 2]]))
    θ = -np.pi + 2.0 * np.pi * (np.arange(around) + 0.5) / around
    z = low + (high - low) * (np.arange(along) + 0.5) / along
    zz, θθ = np.repeat(z, around), np.tile(θ, along)
    nearest = tree.query(np.column_stack([size * np.cos(θθ), size * np.sin(θθ), zz]))[1]
    value = np.ma.masked_invalid(unit.factor * field[nearest].reshape(along, around))
    ends = unit.factor * limit
    with style.new_figure(3.9, 2.6) as (figure, axes):
        drawn = axes.imshow(
            value,
            cmap=diverging_colours(),
            vmin=-ends,
            vmax=ends,
            extent=(-180.0, 180.0, low, high),
            origin="lower",
            aspect="auto",
            interpolation="nearest",
        )
        bar = figure.colorbar(drawn, ax=axes, extend="both", pad=0.02, aspect=24)
        bar.set_label(unit.label("deviation"), fontsize=8)
        assert bar.solids is not None
        bar.solids.set_rasterized(True)
        axes.set_xticks(np.arange(-180, 181, 90))
        axes.grid(visible=False)
        axes.set_xlabel("angle about the axis [°]")
        axes.set_ylabel("height [mm]")
        axes.set_title(title, fontsize=8)
        return SvgFigure(style.svg_text(figure, key, title), title)


def agreement_figure(
    name: str, both: Sequence[str], found: Agreement, unit: DisplayUnit, number: int
) -> SvgFigure:
    """Draw differences of two methods over their means, with bias, limits and confidence intervals."""
    mean, difference = unit.factor * found.mean, unit.factor * found.difference
    with style.new_figure(5.0, 3.0) as (figure, axes):
        axes.plot(mean, difference, "o", color=style.ACCENT, markersize=4.5, zorder=3)
        lines = [(found.bias, found.bias_range, "bias", "-")]
        lines += [
            (v, r, f"{v_name} limit", "--")
            for v, r, v_name in zip(found.limits, found.limit_ranges, ("lower", "upper"), strict=True)
        ]
        for value, ends, text, line in lines:
            axes.axhline(unit.factor * value, color=style.INK, linewidth=1.1, linestyle=line)
            axes.axhspan(
                unit.factor * ends[0], unit.factor * ends[1], color=style.SERIES[1], alpha=0.14, linewidth=0
            )
            axes.annotate(
                f"{text} {digits(unit.factor * value, 3)}",
                (1.0, unit.factor * value),
                (-3, 2),
                xycoords=("axes fraction", "data"),
                textcoords="offset points",
                ha="right",
                fontsize=7,
            )
        axes.set_xlabel(unit.label("mean of both"))
        axes.set_ylabel(unit.label(f"{both[0]} less {both[1]}"))
        axes.set_title(name)
        label = f"Agreement in {name}: difference over mean of each part; bands are 95 % confidence intervals"
        return SvgFigure(style.svg_text(figure, f"agreement{number}", label), f"{label}.")


def ratio_figure(rows: Sequence[Beside]) -> SvgFigure:
    """Draw measured over simulated standard deviations with confidence intervals."""
    rows = [row for row in rows if row.ratio > 0.0]
    y = np.arange(len(rows))[::-1]
    ratio, low, high = np.array([[row.ratio, row.low, row.high] for row in rows]).reshape(-1, 3).T
    with style.new_figure(5.4, 0.9 + 0.3 * len(rows)) as (figure, axes):
        known = np.isfinite(low) & np.isfinite(high)
        axes.hlines(y[known], low[known], high[known], color=style.ACCENT, linewidth=2)
        axes.plot(ratio, y, "o", color=style.ACCENT, markersize=5)
        axes.axvline(1.0, color=style.INK, linewidth=0.9)
        axes.set_xscale("log")
        axes.set_yticks(y, [row.measure for row in rows])
        axes.grid(visible=False, axis="y")
        axes.set_xlabel("measured / simulated")
        axes.xaxis.set_major_formatter(lambda value, _: digits(value, 2))
        axes.xaxis.set_minor_formatter(lambda value, _: digits(value, 2) if f"{value:.0e}"[0] in "25" else "")
        label = "Measured over simulated spread between parts"
        return SvgFigure(style.svg_text(figure, "ratio", label), f"{label}, with 95 % confidence intervals.")


def _names(axes: "style.Axes", names: Sequence[str]) -> None:
    shown = [name or "–" for name in names]
    if len(shown) > 2 * _MANY:
        axes.set_xlabel("number in the list")
        return
    long = len(shown) > 8 or max(map(len, shown), default=0) > 6
    axes.set_xticks(
        range(len(shown)), shown, rotation=60 if long else 0, fontsize=7, ha="right" if long else "center"
    )
