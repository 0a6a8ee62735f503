# SPDX-License-Identifier: MIT
"""Colours of a field, the range of its scale, and the marks of a scale that is cut."""

import math
from types import ModuleType
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.solver.display import digits

# The colour scale ends at this percentile of a stress, because the peaks at corners would take most of it.
_STRESS_PERCENTILE = 99.5
# Of the colour bar: its left end over the width of the picture; its lower edge and thickness, pixels.
_LEFT, _BOTTOM, _THICKNESS = 0.2, 62.0, 44.0
_LABELS = 5
_OVERLAP, _TIP = 0.005, 0.025  # of an arrow with the bar, and its length, over the width of the picture


def colours(name: str) -> str:
    """Return the name of the colour map of a field."""
    if "in-plane" in name:
        return "RdBu"  # compression red, tension blue, white between
    return "viridis_r" if "margin" in name else "viridis"


def colour_range(name: str, values: FloatArray) -> tuple[float, float]:
    """Return the values at the ends of the colour scale of a field."""
    finite = values[np.isfinite(values)]
    if not finite.any() or "of the mode" in name:
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    if "in-plane" in name:
        # Zero is in the middle; the range follows the compression, however large the tension is.
        reach = max(
            float(-np.percentile(finite, 100.0 - _STRESS_PERCENTILE)), 0.02 * max(abs(low), high), 1e-12
        )
        return -reach, reach
    if "stress" in name:
        high = float(np.percentile(finite, _STRESS_PERCENTILE))
    # The range of a uniform field is widened, because the colours would show rounding otherwise.
    if high - low < 1e-6 * max(abs(high), abs(low), 1e-12):
        low, high = low - 0.05 * (abs(low) or 1.0), high + 0.05 * (abs(high) or 1.0)
    return low, high


def bar_settings(height: int, limits: tuple[float, float]) -> dict[str, Any]:
    """Return the settings of a colour bar at the bottom of a picture of a height in pixels.

    The numbers have three digits, or as many more as distinguish the ends of a narrow range.
    """
    values = np.linspace(*limits, _LABELS)
    spread = float(np.max(np.abs(values)) / (values[1] - values[0])) if limits[1] > limits[0] else 1.0
    count = min(max(3, math.ceil(math.log10(spread)) + 1), 8)
    return {
        "title": " ",  # VTK writes the title over the numbers, so it is added separately
        "vertical": False,
        "position_x": _LEFT,
        "position_y": _BOTTOM / height,
        "width": 1.0 - 2.0 * _LEFT,
        "height": 110.0 / height,
        "n_labels": _LABELS,
        "fmt": f"%.{count}g",
        "label_font_size": 32,
        "unconstrained_font_size": True,
    }


def cut_text(values: FloatArray, limits: tuple[float, float]) -> str:
    """Return how far values reach beyond the ends of their colour scale; empty if they do not."""
    below, above = _is_cut(values, limits)
    if not below and not above:
        return ""
    finite = values[np.isfinite(values)]
    least, largest = digits(float(finite.min()), 3), digits(float(finite.max()), 3)
    reach = (
        f"from {least} to {largest}" if below and above else f"from {least}" if below else f"up to {largest}"
    )
    return f"; scale cut, values {reach}"


def add_arrow_ends(
    pyvista: ModuleType, plotter: Any, name: str, values: FloatArray, limits: tuple[float, float]
) -> None:
    """Extend the colour bar by an arrow at each end at which it is cut."""
    table, size = pyvista.LookupTable(colours(name)), (*plotter.window_size, 1.0)
    for side, cut in zip((-1, 1), _is_cut(values, limits), strict=True):
        if not cut:
            continue
        end = 0.5 + side * (0.5 - _LEFT)
        base, tip = end - side * _OVERLAP, end + side * _TIP
        low, high = _BOTTOM / size[1], (_BOTTOM + _THICKNESS) / size[1]
        corners = np.array([[base, low, 0.0], [tip, (low + high) / 2, 0.0], [base, high, 0.0]]) * size
        mapper = pyvista._vtk.vtkPolyDataMapper2D()
        mapper.SetInputData(pyvista.PolyData.from_regular_faces(corners, [[0, 1, 2]]))
        actor = pyvista._vtk.vtkActor2D()
        actor.SetMapper(mapper)
        actor.GetProperty().SetColor(table.map_value(float(side > 0), opacity=False))
        plotter.add_actor(actor, name=f"arrow {side}")


def _is_cut(values: FloatArray, limits: tuple[float, float]) -> tuple[bool, bool]:
    """Whether values lie below and above the limits of a colour scale."""
    finite = values[np.isfinite(values)]
    room = 1e-6 * (limits[1] - limits[0])
    least, largest = np.min(finite, initial=limits[0]), np.max(finite, initial=limits[1])
    return bool(least < limits[0] - room), bool(largest > limits[1] + room)
