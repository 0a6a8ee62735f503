# SPDX-License-Identifier: MIT
"""The picture of a measured surface: radius, residuals, uncertainty with holes, and sections."""

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from annelid.compare.measured.scanned import MeasuredScan
from annelid.compare.page.diverging import diverging_colours
from annelid.geometry.body import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST_POINTS = 20_000
_SECTIONS = (0.1, 0.5, 0.9)  # shares of the length
_SLICE = 0.02  # of the length, on both sides
_COLOURS = ("#0e6a71", "#c2362f", "#5b5f9d")
_OUTLIER = "#dd9a24"


def surface_figure(measured: MeasuredScan) -> bytes:
    """Draw a measured surface as a PNG picture."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.0, 8.6), dpi=130, layout="constrained")
    figure.suptitle(
        f"{measured.scan.name}: measured surface" + (" (invented scan)" if measured.invented else ""),
        fontsize=13,
    )
    (radius, residual), (deviation, sections) = figure.subplots(2, 2)
    _map(radius, measured, measured.surface.radius, "Radius and holes (hatched)", "radius, mm", "viridis")
    _residuals(residual, measured)
    _map(deviation, measured, measured.surface.deviation, "Standard deviation of the radius", "mm", "magma_r")
    _sections(sections, measured)
    content = io.BytesIO()
    figure.savefig(content, format="png")
    return content.getvalue()


def _map(axes: "Axes", measured: MeasuredScan, values: FloatArray, title: str, unit: str, cmap: str) -> None:
    surface = measured.surface
    angles = np.append(np.degrees(surface.angles), 360.0)
    closed = np.concatenate([values, values[:1]])
    drawn = axes.pcolormesh(angles, surface.heights, closed.T, cmap=cmap, shading="gouraud", rasterized=True)
    if surface.filled.any():
        hole = np.concatenate([surface.filled, surface.filled[:1]]).T.astype(float)
        axes.contourf(angles, surface.heights, hole, levels=[0.5, 1.5], colors="none", hatches=["////"])
        axes.contour(angles, surface.heights, hole, levels=[0.5], colors="white", linewidths=1.0)
    _unrolled(axes, measured, title)
    axes.figure.colorbar(drawn, ax=axes, label=unit)


def _residuals(axes: "Axes", measured: MeasuredScan) -> None:
    surface = measured.surface
    points, step = surface.points, max(1, len(surface.residual) // _MOST_POINTS)
    chosen = np.zeros(len(surface.residual), dtype=bool)
    chosen[::step] = True
    shown = chosen & surface.inlier
    limit = 3.0 * surface.noise
    drawn = axes.scatter(
        np.degrees(points.angle[shown]),
        points.height[shown],
        c=surface.residual[shown],
        s=2.0,
        cmap=diverging_colours(),
        vmin=-limit,
        vmax=limit,
        linewidths=0,
        rasterized=True,
    )
    out = chosen & ~surface.inlier
    axes.scatter(np.degrees(points.angle[out]), points.height[out], s=5, c=_OUTLIER, marker="x", lw=0.7)
    outliers = int((~surface.inlier).sum())
    _unrolled(axes, measured, f"Distance of points outwards from the surface ({outliers} outliers orange)")
    axes.figure.colorbar(drawn, ax=axes, label="mm")


def _unrolled(axes: "Axes", measured: MeasuredScan, title: str) -> None:
    axes.set_title(title, fontsize=10)
    axes.set_xlim(0, 360)
    axes.set_xticks(range(0, 361, 60))
    axes.set_ylim(measured.surface.heights[0], measured.surface.heights[-1])
    axes.set_xlabel("angle, degrees")
    axes.set_ylabel("height, mm")


def _sections(axes: "Axes", measured: MeasuredScan) -> None:
    """Outlines at three heights with the points around them."""
    surface = measured.surface
    low, high = surface.heights[0], surface.heights[-1]
    turn = np.append(surface.angles, 2 * np.pi)
    for share, colour in zip(_SECTIONS, _COLOURS, strict=True):
        number = int(np.argmin(np.abs(surface.heights - low - share * (high - low))))
        near = np.abs(surface.points.height - surface.heights[number]) < _SLICE * (high - low)
        radius = np.append(surface.radius[:, number], surface.radius[0, number])
        label = f"{surface.heights[number]:.3g} mm"
        axes.plot(*_round(radius, turn), color=colour, lw=1.3, label=label)
        axes.plot(
            *_round(surface.points.radius[near], surface.points.angle[near]),
            ".",
            color=colour,
            ms=1.5,
            alpha=0.4,
        )
    axes.set_aspect("equal")
    axes.set_title("Sections at three heights, with points of the scan", fontsize=10)
    axes.set_xlabel("X, mm")
    axes.set_ylabel("Y, mm")
    axes.legend(loc="center", fontsize=8, frameon=False)


def _round(radius: FloatArray, angle: FloatArray) -> tuple[Any, Any]:
    return radius * np.cos(angle), radius * np.sin(angle)
