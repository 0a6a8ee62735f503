# SPDX-License-Identifier: MIT
"""The strips below an animation: the loads, and a response such as the wave volume, over the shown time."""

from typing import TYPE_CHECKING

import numpy as np

from annelid.results.animation.timing import FrameTiming
from annelid.results.figures import svg_style as style
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.model.loads import load_kind

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_RESPONSES = (q.WAVE_VOLUME, q.LUMEN_VOLUME, q.MEAN_RADIAL_EXPANSION)
_CONSTANT = 1e-9  # of the largest value
_MOST_NAMES = 6
_ROW = 0.8  # height of a ribbon over the distance of two


def draw_loads(axes: "Axes", run: RunRecord, timing: FrameTiming) -> bool:
    """Draw the loads that change, those of the kind of which most change; whether there are any."""
    table = run.table
    kinds: dict[str, dict[str, str]] = {}
    for name in table.loads:
        kind = load_kind(name)
        if kind is not None and _varies(np.nan_to_num(table[name][timing.rows])):
            kinds.setdefault(kind.label, {})[kind.entry(name)] = name
    if not kinds:
        return False
    label, loads = max(kinds.items(), key=lambda kind: (len(kind[1]), kind[0] == "voltage"))
    if len(loads) == 1:
        _draw_curve(axes, table, next(iter(loads.values())), timing)
        return True
    values = {entry: np.nan_to_num(table[name][timing.rows]) for entry, name in loads.items()}
    largest = max(float(np.abs(v).max()) for v in values.values())
    time = _times(table, timing)
    for row, v in enumerate(values.values()):
        axes.fill_between(time, row, row + _ROW * v / largest, color=style.WARNING, linewidth=0, zorder=3)
    names = list(values)
    shown = range(len(names)) if len(names) <= _MOST_NAMES else (0, len(names) - 1)
    axes.set_yticks([row + _ROW / 2 for row in shown], [names[row] for row in shown])
    axes.set_ylim(-0.2, len(names))
    axes.set_title(f"{label}, up to {table.show(next(iter(loads.values())), largest)}")
    return True


def draw_response(axes: "Axes", run: RunRecord, timing: FrameTiming) -> str:
    """Draw the first of some quantities that changes; return its name, "" if there is none."""
    table = run.table
    known = (quantity.name for quantity in _RESPONSES if quantity.name in table.quantities)
    name = next((name for name in known if _varies(table[name][timing.rows])), "")
    if name:
        _draw_curve(axes, table, name, timing)
    return name


def curve_of(table: PathRecord, name: str, timing: FrameTiming) -> np.ndarray:
    """Return times and values of a load or quantity in the shown units, shape (n, 2)."""
    values = table[name][timing.rows]
    unit = table.display_unit(name, float(np.nanmax(np.abs(values))))
    return np.column_stack([_times(table, timing), values * unit.factor])


def _draw_curve(axes: "Axes", table: PathRecord, name: str, timing: FrameTiming) -> None:
    curve = curve_of(table, name, timing)
    unit = table.display_unit(name, float(np.nanmax(np.abs(table[name][timing.rows]))))
    axes.plot(*curve.T, color=style.ACCENT, linewidth=1.5)
    axes.set_title(unit.label(name))
    axes.locator_params(axis="y", nbins=3)


def _times(table: PathRecord, timing: FrameTiming) -> np.ndarray:
    unit = table.display_unit(q.TIME.name, timing.end)
    return np.asarray(table[q.TIME.name][timing.rows] * unit.factor)


def _varies(values: np.ndarray) -> bool:
    finite = values[np.isfinite(values)]
    return finite.size == len(values) and bool(np.ptp(finite) > _CONSTANT * np.abs(finite).max())
