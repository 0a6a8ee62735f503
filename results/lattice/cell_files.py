# SPDX-License-Identifier: MIT
"""Files of a lattice cell: its moduli, its collapse curves, and a figure of both."""

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import Body, FloatArray
from annelid.results.atomic import write_atomically
from annelid.results.figures import svg_style as style
from annelid.solver.records import CollapseState, Moduli

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLUMNS = (
    "axis",
    "stretch [1]",
    "transverse stretch [1]",
    "shear [1]",
    "nominal stress [MPa]",
    "energy [mJ/mm3]",
    "unstable modes [1]",
    "gave way [1]",
)
AXES = ("around", "along")
Curves = Mapping[str, Sequence[CollapseState]]


def write_cell(
    folder: Path, title: str, body: Body, period: tuple[float, float], moduli: Moduli, curves: Curves
) -> list[Path]:
    """Write ``moduli.csv``, ``collapse.csv`` and ``cell.png`` into a folder, which is created if necessary.

    Args:
        folder: The folder.
        title: Title of the figure.
        body: The mesh of the cell.
        period: Periods of the cell, mm.
        moduli: Small-strain properties of the cell.
        curves: States of the cell by axis, the drawn state first.
    """
    folder.mkdir(parents=True, exist_ok=True)
    return [
        write_atomically(folder / "moduli.csv", _moduli_table(moduli)),
        write_atomically(folder / "collapse.csv", _curve_table(curves)),
        write_atomically(folder / "cell.png", _figure(title, body, period, moduli, curves)),
    ]


def moduli_lines(moduli: Moduli) -> list[tuple[str, float, str]]:
    """Return name, value and unit of each property."""
    return [
        ("modulus around", moduli.around, "MPa"),
        ("modulus along", moduli.along, "MPa"),
        ("Poisson ratio, pulled around", moduli.poisson_around, "1"),
        ("Poisson ratio, pulled along", moduli.poisson_along, "1"),
        ("shear modulus", moduli.shear, "MPa"),
        ("relative density", moduli.relative_density, "1"),
    ]


def _moduli_table(moduli: Moduli) -> str:
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(("property", "value", "unit"))
    writer.writerows(moduli_lines(moduli))
    return buffer.getvalue()


def _curve_table(curves: Curves) -> str:
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for axis, states in curves.items():
        for s in states:
            row = (s.stretch, s.transverse, s.shear, s.stress, s.energy, s.unstable_modes, int(s.buckled))
            writer.writerow((axis, *row))
    return buffer.getvalue()


def _figure(title: str, body: Body, period: tuple[float, float], moduli: Moduli, curves: Curves) -> bytes:
    """Draw the cell, as drawn and deformed, and its curves against the stretch."""
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(style.SETTINGS):
        figure = Figure(figsize=(10.0, 2.6 + 2.6 * bool(curves)), layout="constrained", facecolor="white")
        rows = 1 + bool(curves)
        panels = figure.subplots(rows, 3, squeeze=False)
        figure.suptitle(title, x=0.01, ha="left")
        _cells(panels[0, 0], body, period, None, "as drawn")
        for number, (axis, states) in enumerate(list(curves.items())[:2], start=1):
            _cells(
                panels[0, number], body, period, states[-1], f"stretch {states[-1].stretch:.3g} {axis}", axis
            )
        for panel in panels[0, 1 + len(curves) :]:
            panel.set_axis_off()
        if curves:
            _curves(panels[1], curves, moduli)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", dpi=130)
    return buffer.getvalue()


def _cells(
    panel: "Axes",
    body: Body,
    period: tuple[float, float],
    state: CollapseState | None,
    title: str,
    axis: str = "around",
) -> None:
    """Draw two by two cells in their plane."""
    from matplotlib.collections import PolyCollection

    facets = body.facets[body.surfaces["midplane"]][:, :3]
    points, size = body.points[:, :2], np.diag(period).astype(np.float64)
    if state is not None:
        points = points + state.displacement[:, :2]
        pulled = AXES.index(axis)
        gradient = np.diag([state.transverse, state.transverse])
        gradient[pulled, pulled] = state.stretch
        gradient[pulled, 1 - pulled] = state.shear
        size = gradient @ size
    for i, j in np.ndindex(2, 2):
        shifted = points + i * size[:, 0] + j * size[:, 1]
        panel.add_collection(
            PolyCollection(list(shifted[facets]), facecolors=style.ACCENT, edgecolors=style.ACCENT)
        )
    panel.autoscale_view()
    panel.set_aspect("equal")
    panel.set_axis_off()
    panel.set_title(title)


def _curves(panels: Sequence["Axes"], curves: Curves, moduli: Moduli) -> None:
    slopes = {"around": moduli.around, "along": moduli.along}
    ratios = {"around": moduli.poisson_around, "along": moduli.poisson_along}
    for colour, (axis, states) in zip(style.SERIES, curves.items(), strict=False):
        λ = np.array([s.stretch for s in states])
        for panel, values, slope, start in (
            (panels[0], [1e3 * s.stress for s in states], 1e3 * slopes[axis], 0.0),
            (panels[1], [s.transverse for s in states], -ratios[axis], 1.0),
            (panels[2], [1e3 * s.energy for s in states], 0.0, 0.0),
        ):
            data: FloatArray = np.array(values)
            panel.plot(λ, data, color=colour, marker=".", label=f"stretched {axis}")
            buckled = next((k for k, s in enumerate(states) if s.buckled), None)
            if buckled is not None:
                panel.plot(
                    λ[buckled], data[buckled], "o", color=colour, markerfacecolor="none", markersize=9.0
                )
            if slope:
                panel.plot(λ, start + slope * (λ - 1), color=colour, linewidth=0.8, linestyle=":")
                low, high = data.min(), data.max()
                panel.set_ylim(min(low, panel.get_ylim()[0]), max(high, panel.get_ylim()[1]))
    for panel, label in zip(
        panels, ("nominal stress [kPa]", "transverse stretch", "strain energy [µJ/mm³]"), strict=True
    ):
        panel.set_xlabel("mean stretch")
        panel.set_title(label)
    panels[0].legend()
