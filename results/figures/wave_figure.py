# SPDX-License-Identifier: MIT
"""Small panels of the lumen at the ends of stages that energise one electrode after another."""

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure, surface_label
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnit
from annelid.solver.records import Profile

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_FEWEST = 3  # different sets of energised electrodes
_MOST = 10  # panels
_LETTERS = 11  # above a panel
_PANEL, _EDGE, _HEIGHT = 0.8, 0.6, 3.4  # inches
_UNIFORM = 0.01  # % of the radius


def energised_electrodes(table: PathRecord) -> dict[str, tuple[str, ...]]:
    """Return the electrodes with a voltage at the end of each stage; empty if they do not take turns."""
    voltages = {electrode: table[name] for electrode, name in table.loads_of("voltage").items()}
    energised = {
        stage: tuple(name for name, values in voltages.items() if abs(np.nan_to_num(values[row])) > 0.0)
        for stage, row in table.stage_ends.items()
    }
    different = {names for names in energised.values() if names}
    return energised if len(different) >= _FEWEST else {}


def chosen_stages(stages: Sequence[str], largest: str) -> list[str]:
    """Return at most ten stages, evenly spaced, with the first, the last and the most loaded one."""
    if len(stages) <= _MOST:
        return list(stages)
    places = np.linspace(0, len(stages) - 1, _MOST).round().astype(int)
    place = stages.index(largest)
    if 0 < place < len(stages) - 1:
        places[1 + np.argmin(np.abs(places[1:-1] - place))] = place
    return [stages[i] for i in places]


def wave_figure(
    profiles: Mapping[str, Profile],
    bands: Mapping[str, tuple[float, float]],
    energised: Mapping[str, tuple[str, ...]],
    surface: str,
    *,
    length: DisplayUnit,
    name: str,
) -> SvgFigure:
    """Draw the change of radius along the axis at the end of each stage, side by side with common axes.

    Args:
        profiles: Profile of the surface by stage, in path order.
        bands: Lowest and highest position of each electrode along the axis, mm.
        energised: Energised electrodes by stage; those of stages without a profile are only counted.
        surface: Name of the surface.
        length: Unit of lengths.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure; energised electrodes are filled, others outlined.
    """
    import matplotlib
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    changes = {stage: 100.0 * (p.radius / p.reference_radius - 1.0) for stage, p in profiles.items()}
    values = np.concatenate([*changes.values(), [0.0]])
    low, high = float(values.min()), float(values.max())
    room = 0.08 * max(high - low, _UNIFORM)
    with matplotlib.rc_context(style.SETTINGS):
        size = (_EDGE + _PANEL * len(profiles), _HEIGHT)
        figure = Figure(figsize=size, layout="constrained")
        row = figure.subplots(1, len(profiles), sharex=True, sharey=True, squeeze=False)[0]
        for axes, (stage, profile) in zip(row, profiles.items(), strict=True):
            for ring, (bottom, top) in bands.items():
                _draw_band(axes, bottom * length.factor, top * length.factor, ring in energised[stage])
            axes.plot(changes[stage], profile.height * length.factor, color=style.ACCENT)
            axes.axvline(0.0, color=style.MUTED, linewidth=0.7)
            title = textwrap.fill(stage.replace("_", " "), _LETTERS)
            axes.set_title(title, fontsize=8, loc="center")
            axes.tick_params(labelsize=7)
            axes.xaxis.set_major_locator(MaxNLocator(2))
            axes.grid(visible=False)
        row[0].set_xlim(low - room, high + room)
        row[0].set_ylabel(length.label("height along the axis as drawn"))
        what = f"radial expansion of {surface_label(surface)}"
        figure.supxlabel(f"{what} [%]", fontsize=9.0)
        label = f"{what.capitalize()} at the end of each stage, relative to the part as drawn."
        caption = f"{label} Energised electrodes are filled, others outlined."
        if len(profiles) < len(energised):
            caption += f" {len(profiles)} of {len(energised)} stages are shown."
        return SvgFigure(style.svg_text(figure, name, label), caption)


def _draw_band(axes: "Axes", bottom: float, top: float, is_energised: bool) -> None:
    look = {"facecolor": style.WARNING, "alpha": 0.35} if is_energised else {"facecolor": "none"}
    axes.axhspan(bottom, top, edgecolor=style.MUTED, linewidth=0.4, zorder=0, **look)
