# SPDX-License-Identifier: MIT
"""Figures of a run: curves of the path, profiles along the axis and cross-sections."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.fields.sections import SectionOutline
from annelid.results.fields.slack_pieces import SlackPieces
from annelid.results.figures import svg_style as style
from annelid.results.figures.curve_annotations import (
    draw_limit,
    draw_reference,
    draw_states,
    label_stages,
    mark_cut,
    number_critical_points,
    set_vertical_range,
)
from annelid.results.figures.load_titles import load_title
from annelid.results.figures.slack_hatching import hatch
from annelid.results.figures.stage_spans import StageSpan
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnit
from annelid.solver.model import quantities as q
from annelid.solver.records import Profile

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_PANEL = (3.9, 2.7)
_WIDE = (6.4, 2.7)
_HATCHED = 0.02  # of the diagonal of the figure: width of the band along a slack wall
_UNIFORM = 0.01  # % of the radius: smaller differences along the axis are drawn as flat lines


class SvgFigure(NamedTuple):
    """A figure for a page: inline SVG and a caption."""

    svg: str
    caption: str


def path_curve(
    table: PathRecord,
    quantity: str,
    span: StageSpan | None,
    *,
    abscissa: str = "",
    verdicts: Sequence[Verdict] = (),
    name: str,
) -> SvgFigure:
    """Draw a quantity against the load of a stage, or along the whole path.

    The safe side of a requirement is shaded. Unstable states are hollow, states past a limit are crosses,
    and critical points are numbered in path order.

    Args:
        table: The path.
        quantity: Name of a quantity or a load.
        span: Stage; ``None`` for the whole path, stage after stage.
        abscissa: Quantity on the abscissa instead of the load of the stage, where that load reverses.
        verdicts: Verdicts on requirements; those on this quantity, and not on another stage, are shown.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure.
    """
    rows = np.arange(len(table)) if span is None else span.rows
    x, x_label = _abscissa(table, span, rows, abscissa)
    values = np.where(np.isfinite(table[quantity]), table[quantity], np.nan)
    unit = table.display_unit(quantity, _largest(values))
    shown = [v for v in verdicts if v.quantity == quantity and (span is None or v.stage in ("", span.stage))]
    limits = {(v.limit * unit.factor, v.is_lower_limit) for v in shown}
    definition = q.quantity_of(quantity) if quantity in table.quantities else None
    with style.new_figure(*_PANEL) as (figure, axes):
        y = values[rows] * unit.factor
        draw_states(axes, table, rows, x, y)
        title = load_title(table, quantity)
        axes.set_title(unit.label(title))
        axes.set_xlabel(x_label)
        axes.margins(x=0.03)
        set_vertical_range(axes, definition, y, [limit for limit, _ in limits])
        for limit, is_lower in sorted(limits):
            draw_limit(axes, limit, is_lower, unit, y)
        mark_cut(axes, y)
        number_critical_points(axes, table, rows, x, y)
        draw_reference(axes, definition, unit.factor, y, below=bool(limits))
        if span is None:
            label_stages(axes, table)
        return SvgFigure(style.svg_text(figure, name, f"{title} against {x_label}"), title)


def profile_figure(
    profiles: Mapping[str, Profile],
    bands: Mapping[str, tuple[float, float]],
    surface: str,
    *,
    length: DisplayUnit,
    name: str,
) -> SvgFigure:
    """Draw the change of radius along the axis in several states.

    Args:
        profiles: Profile of the surface by label of the state, in path order.
        bands: Lowest and highest position of each electrode along the axis, mm.
        surface: Name of the surface, for the title.
        length: Unit of lengths.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure; it shows contraction if the largest change is a contraction, else expansion.
    """
    changes = {k: 100.0 * (p.radius / p.reference_radius - 1.0) for k, p in profiles.items()}
    extreme = max((c[np.argmax(np.abs(c))] for c in changes.values() if len(c)), key=abs, default=0.0)
    sign, word = (-1.0, "contraction") if extreme < 0 else (1.0, "expansion")
    with style.new_figure(*_WIDE) as (figure, axes):
        for low, high in bands.values():
            axes.axvspan(low * length.factor, high * length.factor, color=style.LINE, alpha=0.45, linewidth=0)
        for i, (label, change) in enumerate(changes.items()):
            progress = (i + 1) / len(changes)
            (line,) = axes.plot(
                profiles[label].height * length.factor, sign * change, color=style.ACCENT, label=label
            )
            line.set(alpha=0.25 + 0.75 * progress, linewidth=1.0 + progress)
        for label, (low, high) in bands.items():
            _band_label(axes, label, low * length.factor, high * length.factor)
        axes.set_title(f"radial {word} of {surface_label(surface)} [%]")
        axes.set_xlabel(length.label("height along the axis as drawn"))
        _widen_range(axes, extreme)
        axes.margins(x=0.01)
        if len(changes) > 1:
            figure.legend(loc="outside lower center", ncols=3, fontsize=8)
        label = f"Radial {word} along the axis, relative to the part as drawn."
        shading = " Electrodes are shaded." if bands else ""
        return SvgFigure(style.svg_text(figure, name, label), label + shading)


def _widen_range(axes: "Axes", extreme: float) -> None:
    """Widen the vertical range for the labels, and so that a uniform change does not show rounding."""
    bottom, top = axes.get_ylim()
    room = max(0.0, max(0.05 * abs(extreme), _UNIFORM) - (top - bottom))
    axes.set_ylim(bottom - 0.5 * room, top + 0.5 * room + 0.12 * (top - bottom))


def section_figure(
    sections: Sequence[SectionOutline],
    axis_names: tuple[str, str],
    *,
    length: DisplayUnit,
    name: str,
    slack: SlackPieces | None = None,
) -> SvgFigure:
    """Draw the outlines of the regions, as drawn and deformed, with equal scales on both axes.

    Args:
        sections: Outlines by region.
        axis_names: Names of the two coordinates, for instance ``("Z", "R")``.
        length: Unit of lengths.
        name: Prefix of the ids of the SVG.
        slack: Where the wall is slack, which is hatched.

    Returns:
        The figure.
    """
    from matplotlib.collections import LineCollection

    points = np.concatenate([np.concatenate([s.drawn, s.deformed]) for s in sections])
    points = length.factor * points.reshape(-1, 2)
    width, height = np.maximum(np.ptp(points, axis=0), 1e-9)
    size = (_WIDE[0], float(np.clip(_WIDE[0] * height / width, 0.5, 3.4)) + 1.0)
    if width < 1.4 * height:
        size = (4.6, 4.8)
    with style.new_figure(*size) as (figure, axes):
        for i, section in enumerate(sections):
            colour = style.SERIES[i % len(style.SERIES)]
            drawn = LineCollection(
                list(length.factor * section.drawn), colors=style.MUTED, linewidths=0.7, alpha=0.7
            )
            deformed = LineCollection(
                list(length.factor * section.deformed), colors=colour, linewidths=1.3, label=section.region
            )
            axes.add_collection(drawn, autolim=False)
            axes.add_collection(deformed, autolim=False)
        caption = ""
        if slack is not None:
            caption = hatch(axes, slack, length.factor, _HATCHED * float(np.hypot(width, height)))
        axes.set_aspect("equal")
        _set_ranges(axes, points)
        axes.set_xlabel(length.label(axis_names[0]))
        axes.set_ylabel(length.label(axis_names[1]))
        axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=6, fontsize=8, borderaxespad=0.2)
        label = "Cross-section as drawn (grey) and deformed"
        return SvgFigure(style.svg_text(figure, name, label), f"{label}.{caption}")


def _abscissa(
    table: PathRecord, span: StageSpan | None, rows: NDArray[np.int64], name: str
) -> tuple[FloatArray, str]:
    if span is None:
        return table.coordinate, "stage"
    name = name or span.load
    values = table[name][rows]
    unit = table.display_unit(name, _largest(values))
    return values * unit.factor, unit.label(load_title(table, name))


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


def _set_ranges(axes: "Axes", points: FloatArray) -> None:
    low, high = points.min(axis=0), points.max(axis=0)
    room = 0.04 * (high - low).max()
    axes.set_xlim(low[0] - room, high[0] + room)
    axes.set_ylim(low[1] - room, high[1] + room)


def surface_label(surface: str) -> str:
    """Return a surface in words."""
    return "the lumen" if surface == "lumen" else f"the {surface} surface"


def _largest(values: FloatArray) -> float:
    return float(np.max(np.abs(values[np.isfinite(values)]), initial=0.0))
