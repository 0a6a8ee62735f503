# SPDX-License-Identifier: MIT
"""Figures of a comparison: unrolled map, sections laid over each other, radii over height, histogram."""

import numpy as np

from annelid.compare.comparison.compared import Comparison
from annelid.compare.comparison.map_surface import mapped
from annelid.compare.deviation.radius_field import RadiusField
from annelid.compare.deviation.radius_map import RadiusMap, radius_band, radius_map
from annelid.compare.page.diverging import diverging_colours
from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.solver.display import DisplayUnit, digits

_MAP = (180, 120)  # places over angle and height
_HEIGHTS = (0.25, 0.5, 0.75)  # of the sections, in shares of the height
_MARKED = ("mean deviation", "5 % of deviations below", "95 % of deviations below")  # in the histogram
_MANY = 20_000  # points from which the cells of radii are small
_ENOUGH = 200_000  # points from which only every second one and so on is drawn in sections
_FINE, _COARSE = (51, 72), (21, 48)  # of these cells over height and angle; one row is in the middle
_DRAWN = 0.18  # of the radius: the largest deviation in the drawing of a section
_TIMES = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)  # of drawn deviations


def unrolled_map(compared: Comparison, radii: RadiusField, unit: DisplayUnit, limit: float) -> SvgFigure:
    """Draw the deviations over angle and height.

    Args:
        compared: The comparison.
        radii: Radius of the simulated surface.
        unit: Unit of lengths.
        limit: Deviation at the ends of the colours, mm.
    """
    around, along = _MAP
    θ = -np.pi + 2.0 * np.pi * (np.arange(around) + 0.5) / around
    low, high = radii.heights[[0, -1]]
    z = low + (high - low) * (np.arange(along) + 0.5) / along
    zz, θθ = np.repeat(z, around), np.tile(θ, along)
    r = radii.at(zz, θθ)
    places = np.column_stack([r * np.cos(θθ), r * np.sin(θθ), zz])
    value = unit.factor * mapped(compared, places).value.reshape(along, around)
    with style.new_figure(6.6, 3.9) as (figure, axes):
        drawn = axes.imshow(
            np.ma.masked_invalid(value),
            cmap=diverging_colours(),
            vmin=-unit.factor * limit,
            vmax=unit.factor * limit,
            extent=(-180.0, 180.0, float(low), float(high)),
            origin="lower",
            aspect="auto",
            interpolation="nearest",
        )
        bar = figure.colorbar(
            drawn, ax=axes, extend="both", label=unit.label("deviation"), pad=0.02, aspect=28
        )
        assert bar.solids is not None
        bar.solids.set_rasterized(True)
        axes.set_xticks(np.arange(-180, 181, 45))
        axes.grid(visible=False)
        axes.set_xlabel("angle about the axis [°]")
        axes.set_ylabel("height [mm]")
        label = "Deviation over angle and height"
        caption = f"{label}; positive is outside the simulated surface, grey is not covered by the scan."
        return SvgFigure(style.svg_text(figure, "unrolled", label), caption)


def section_figures(compared: Comparison, radii: RadiusField, unit: DisplayUnit) -> list[SvgFigure]:
    """Draw scan and simulated surface over each other at three heights."""
    cells = _cells(compared, radii)
    rows = [round(share * (len(cells.height) - 1)) for share in _HEIGHTS]
    largest = float(np.nanmax(np.abs(cells.difference[rows]), initial=0.0))
    wanted = _DRAWN * float(cells.nominal[rows].min()) / max(largest, 1e-12)
    times = max((times for times in _TIMES if times <= wanted), default=_TIMES[0])
    size = 1.08 * float(np.nanmax(cells.nominal[rows] + times * np.nan_to_num(cells.difference[rows])))
    return [_section(cells, row, times, size, unit) for row in rows]


def _cells(compared: Comparison, radii: RadiusField) -> RadiusMap:
    along, around = _FINE if len(compared.kept.value) >= _MANY else _COARSE
    points = compared.kept.points[:: 1 + len(compared.kept.points) // _ENOUGH]
    return radius_map(points, radii, heights=along, angles=around)


def _section(cells: RadiusMap, row: int, times: float, size: float, unit: DisplayUnit) -> SvgFigure:
    closed = np.append(np.arange(len(cells.angle)), 0)
    θ, nominal, difference = cells.angle[closed], cells.nominal[row, closed], cells.difference[row, closed]
    height = digits(round(float(cells.height[row]), 6), 3)
    with style.new_figure(2.8, 2.9) as (figure, axes):
        for radius, colour, width, label in (
            (nominal, style.MUTED, 1.2, "simulated"),
            (nominal + times * difference, style.ACCENT, 1.8, "scan"),
        ):
            axes.plot(radius * np.cos(θ), radius * np.sin(θ), color=colour, linewidth=width, label=label)
        axes.set_aspect("equal")
        axes.set_xlim(-size, size)
        axes.set_ylim(-size, size)
        axes.set_title(f"height {height} mm")
        axes.set_xlabel("x [mm]")
        axes.set_ylabel("y [mm]")
        axes.legend(loc="center", fontsize=8)
        exaggerated = f"deviations drawn {times:g} times" if times > 1 else "deviations drawn to scale"
        spread = float(np.nanmax(np.abs(difference), initial=0.0)) * unit.factor
        label = f"Section at height {height} mm"
        caption = f"{exaggerated}; the largest is {unit.behind(digits(spread, 3))}"
        return SvgFigure(style.svg_text(figure, f"section{row}", label), f"{label}: {caption}.")


def radius_figure(compared: Comparison, radii: RadiusField) -> SvgFigure:
    """Draw the radius of scan and simulated surface over the height, with the band over the angles."""
    band = radius_band(_cells(compared, radii))
    with style.new_figure(6.6, 3.0) as (figure, axes):
        axes.fill_between(band.height, band.low, band.high, color=style.ACCENT, alpha=0.2, linewidth=0)
        axes.plot(
            band.height, band.mean, color=style.ACCENT, label="scan, mean; band: 5 % to 95 % of the angles"
        )
        axes.plot(
            band.height,
            band.nominal,
            color=style.INK,
            linewidth=1.2,
            linestyle=(0, (4, 3)),
            label="simulated",
        )
        axes.set_xlabel("height [mm]")
        axes.set_ylabel("radius [mm]")
        axes.legend(fontsize=8)
        label = "Radius over height"
        caption = f"{label}, the mean over the angles that the scan reaches."
        return SvgFigure(style.svg_text(figure, "radius", label), caption)


def histogram(compared: Comparison, unit: DisplayUnit) -> SvgFigure:
    """Draw how often deviations occur, seen from points and weighted by area."""
    points = unit.factor * compared.kept.value
    area = unit.factor * compared.seen.value[compared.seen.covered]
    reach = _reach(points)
    bins = np.linspace(-reach, reach, 61).tolist()
    mean, low, high = (unit.factor * compared.measures[name].value for name in _MARKED)
    with style.new_figure(6.6, 2.8) as (figure, axes):
        weights = np.full(len(points), 100.0 / len(points))
        axes.hist(points, bins=bins, weights=weights, color=style.ACCENT, alpha=0.7, label="points")
        weights = np.full(len(area), 100.0 / len(area))
        axes.hist(
            area,
            bins=bins,
            weights=weights,
            histtype="step",
            color=style.INK,
            label="area, medians around places",
        )
        axes.axvline(0.0, color=style.MUTED, linewidth=0.8)
        axes.axvline(mean, color=style.SERIES[1], label="mean")
        axes.axvspan(low, high, color=style.SERIES[1], alpha=0.12, linewidth=0, label="5 % to 95 %", zorder=0)
        axes.set_xlabel(unit.label("deviation"))
        axes.set_ylabel("share [%]")
        axes.legend(fontsize=8)
        label = "Distribution of the deviations"
        beyond = 100.0 * float((np.abs(points) > reach).mean())
        more = f"; {digits(beyond, 2)} % of the points are beyond the axis" if beyond else ""
        return SvgFigure(
            style.svg_text(figure, "histogram", label), f"{label}, of the points and of the area{more}."
        )


def _reach(values: FloatArray) -> float:
    """Half of the width of an axis about zero on which nearly all values are."""
    return 1.3 * float(np.percentile(np.abs(values), 99.5)) or 1.0
