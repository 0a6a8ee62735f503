# SPDX-License-Identifier: MIT
"""Figures of a run: curves of the path, profile along the axis, cross-section. Fed from tables alone."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.fields.sections import Section
from annelid.results.figures import svg_style as style
from annelid.results.figures.figure_marks import (
    limit_height,
    mark_limit,
    mark_reference,
    mark_stages,
    mark_states,
    number_critical_points,
)
from annelid.results.folder.records import Verdict
from annelid.results.folder.tables import PathTable
from annelid.solver.model import quantities as q
from annelid.solver.records import Profile

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_PANEL = (3.9, 2.7)
_WIDE = (6.4, 2.7)


class Figure(NamedTuple):
    """A figure ready for the page: inline SVG and what it shows."""

    svg: str
    caption: str


class Span(NamedTuple):
    """The rows of one stage, from the state it starts at, and the load that changes most."""

    stage: str
    rows: NDArray[np.int64]
    load: str


def driven_stages(table: PathTable) -> list[Span]:
    """Return the stages that change a load, each with the load whose relative change is largest."""
    spans = []
    stages = np.array(table.stages)
    for stage in dict.fromkeys(table.stages):
        rows = np.flatnonzero(stages == stage)
        rows = np.concatenate([rows[:1] - 1, rows]) if rows[0] > 0 else rows
        changes = {}
        for name in table.loads:
            values = np.nan_to_num(table[name])
            scale = np.abs(values).max()
            changes[name] = np.ptp(values[rows]) / scale if scale > 0 else 0.0
        load = max(changes, key=lambda name: changes[name], default=None)
        if load is not None and changes[load] > 0 and len(rows) > 1:
            spans.append(Span(stage, rows, load))
    return spans


def path_curve(
    table: PathTable,
    quantity: str,
    span: Span | None,
    *,
    against: str = "",
    verdicts: Sequence[Verdict] = (),
    name: str,
) -> Figure:
    """Draw a quantity against the load of a stage, or along the whole path.

    The safe side of a requirement is shaded, unstable states are hollow, states past breakdown crossed,
    critical points numbered in the order of the path.

    Args:
        table: The path.
        quantity: A quantity or a load.
        span: Rows and load; ``None`` for the whole path, stage after stage.
        against: What to draw it against instead of the load of the stage, where that turns back.
        verdicts: Requirements; those on this quantity are marked.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure.
    """
    rows = np.arange(len(table)) if span is None else span.rows
    across, across_label = _across(table, span, rows, against)
    values = np.where(np.isfinite(table[quantity]), table[quantity], np.nan)
    shown = table.shown(quantity, _largest(values))
    limits = [v for v in verdicts if v.quantity == quantity]
    definition = q.quantity_of(quantity) if quantity in table.quantities else None
    with style.drawing(*_PANEL) as (figure, axes):
        heights = values[rows] * shown.factor
        mark_states(axes, table, rows, across, heights)
        axes.set_title(shown.label(quantity))
        axes.set_xlabel(across_label)
        axes.margins(x=0.03)
        limit_height(axes, definition, heights, [v.limit * shown.factor for v in limits])
        for verdict in limits:
            mark_limit(axes, verdict.limit * shown.factor, verdict.is_floor, shown.name, heights)
        number_critical_points(axes, table, rows, across, heights)
        mark_reference(axes, definition, shown.factor, heights, below=bool(limits))
        if span is None:
            mark_stages(axes, table)
        return Figure(style.svg_text(figure, name, f"{quantity} against {across_label}"), quantity)


def profile_figure(
    profiles: Mapping[str, Profile], bands: Mapping[str, tuple[float, float]], surface: str, *, name: str
) -> Figure:
    """Draw the change of radius along the axis in several states.

    Args:
        profiles: Profile of the surface by label of the state, in order.
        bands: Lowest and highest point of each electrode along the axis, mm.
        surface: Name of the surface, for the caption.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure: contraction where the radius shrinks on the whole, else expansion.
    """
    changes = {k: 100.0 * (p.radius / p.reference_radius - 1.0) for k, p in profiles.items()}
    extreme = max((c[np.argmax(np.abs(c))] for c in changes.values() if len(c)), key=abs, default=0.0)
    sign, word = (-1.0, "contraction") if extreme < 0 else (1.0, "expansion")
    with style.drawing(*_WIDE) as (figure, axes):
        for low, high in bands.values():
            axes.axvspan(low, high, color=style.LINE, alpha=0.45, linewidth=0)
        for i, (label, change) in enumerate(changes.items()):
            share = (i + 1) / len(changes)
            (line,) = axes.plot(profiles[label].height, sign * change, color=style.ACCENT, label=label)
            line.set(alpha=0.25 + 0.75 * share, linewidth=1.0 + share)
        for label, (low, high) in bands.items():
            _band_label(axes, label, low, high)
        axes.set_title(f"radial {word} of {_surface_words(surface)} [%]")
        axes.set_xlabel("height along the axis as drawn [mm]")
        _make_room(axes, extreme)
        axes.margins(x=0.01)
        if len(changes) > 1:
            axes.legend(loc="best", fontsize=8)
        label = f"Radial {word} along the axis, against the part as drawn."
        shading = " Electrodes are shaded." if bands else ""
        return Figure(style.svg_text(figure, name, label), label + shading)


def _make_room(axes: "Axes", extreme: float) -> None:
    """Leave room above for the labels, and a range at which a change that is even shows no rounding."""
    bottom, top = axes.get_ylim()
    room = max(0.0, 0.05 * abs(extreme) - (top - bottom))
    axes.set_ylim(bottom - 0.5 * room, top + 0.5 * room + 0.12 * (top - bottom))


def section_figure(sections: Sequence[Section], axis_names: tuple[str, str], *, name: str) -> Figure:
    """Draw the outlines of the regions, drawn and deformed, at equal scales.

    Args:
        sections: Outlines by region.
        axis_names: What the two coordinates are, for instance ``("Z", "R")``.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure.
    """
    from matplotlib.collections import LineCollection

    everything = np.concatenate([np.concatenate([s.drawn, s.deformed]) for s in sections]).reshape(-1, 2)
    width, height = np.maximum(np.ptp(everything, axis=0), 1e-9)
    size = (_WIDE[0], float(np.clip(_WIDE[0] * height / width, 0.5, 3.4)) + 1.0)
    if width < 1.4 * height:
        size = (4.6, 4.8)
    with style.drawing(*size) as (figure, axes):
        for i, section in enumerate(sections):
            colour = style.SERIES[i % len(style.SERIES)]
            drawn = LineCollection(list(section.drawn), colors=style.MUTED, linewidths=0.7, alpha=0.7)
            now = LineCollection(list(section.deformed), colors=colour, linewidths=1.3, label=section.region)
            axes.add_collection(drawn, autolim=False)
            axes.add_collection(now, autolim=False)
        axes.set_aspect("equal")
        _frame(axes, everything)
        axes.set_xlabel(f"{axis_names[0]} [mm]")
        axes.set_ylabel(f"{axis_names[1]} [mm]")
        axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=6, fontsize=8, borderaxespad=0.2)
        label = "cross-section before loading (grey) and now"
        return Figure(style.svg_text(figure, name, label), label.capitalize() + ", at equal scales.")


def _across(
    table: PathTable, span: Span | None, rows: NDArray[np.int64], against: str
) -> tuple[FloatArray, str]:
    if span is None:
        return table.coordinate, "stages of the path"
    name = against or span.load
    values = table[name][rows]
    shown = table.shown(name, _largest(values))
    return values * shown.factor, shown.label(name)


def _band_label(axes: "Axes", label: str, low: float, high: float) -> None:
    axes.text(
        0.5 * (low + high),
        0.98,
        label,
        transform=axes.get_xaxis_transform(),
        ha="center",
        va="top",
        color=style.MUTED,
        fontsize=8,
    )


def _frame(axes: "Axes", points: FloatArray) -> None:
    low, high = points.min(axis=0), points.max(axis=0)
    room = 0.04 * (high - low).max()
    axes.set_xlim(low[0] - room, high[0] + room)
    axes.set_ylim(low[1] - room, high[1] + room)


def _surface_words(surface: str) -> str:
    return "the lumen" if surface == "lumen" else f"the {surface} surface"


def _largest(values: FloatArray) -> float:
    return float(np.max(np.abs(values[np.isfinite(values)]), initial=0.0))
