# SPDX-License-Identifier: MIT
"""Where the electrical energy of a cycle goes, as a bar."""

import math

from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.folder.pump_cycle import CycleEnergies
from annelid.solver.display import DisplayUnits, digits

_SIZE = (6.4, 1.9)
_HEIGHT = 0.62  # of a bar
_COLUMNS = 3  # of the legend
NOTHING = 1e-5
"""Part of the electrical energy below which an energy is zero."""


def energy_bar(energies: CycleEnergies, *, units: DisplayUnits, name: str) -> SvgFigure:
    """Draw the electrical energy of a cycle above the energies that it becomes.

    Args:
        energies: Energies of the cycle.
        units: Units in which numbers are shown.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure; energies that are given back stand left of zero.
    """
    parts = energy_parts(energies)
    size = max(abs(value) for value in (energies.electrical, *parts.values()))
    unit = units.unit("energy", size)
    colours = dict(zip(parts, (*style.SERIES, style.MUTED), strict=False))
    with style.new_figure(*_SIZE) as (figure, axes):
        axes.barh(1, energies.electrical * unit.factor, _HEIGHT, color=style.INK, alpha=0.75)
        ends = [0.0, 0.0]  # of what is given back and of what is taken
        for label, energy in parts.items():
            value, side = energy * unit.factor, int(energy > 0)
            shown = unit.behind(digits(value if abs(energy) > NOTHING * size else 0.0, 3))
            text = f"{label} {shown} ({share(energy, energies.electrical, units)})"
            axes.barh(0, value, _HEIGHT, ends[side], color=colours[label], label=text)
            ends[side] += value
        axes.set_yticks([1, 0], ["electrical energy in", "becomes"])
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        axes.set_axisbelow(True)
        axes.axvline(0.0, color=style.MUTED, linewidth=0.8, zorder=0)
        axes.set_xlabel(unit.label("energy a cycle"))
        figure.legend(loc="outside lower center", ncols=_COLUMNS, fontsize=8, handlelength=1.0)
        rest = share(energies.rest, energies.electrical, units)
        caption = f"Where the electrical energy of the last cycle goes; {rest} of it is in no other entry."
        return SvgFigure(style.svg_text(figure, name, caption), caption)


def energy_parts(energies: CycleEnergies) -> dict[str, float]:
    """Return what the electrical energy of a cycle becomes, mJ by label; losses of the model only."""
    parts = {
        "hydraulic work": energies.hydraulic,
        "viscous loss": energies.viscous,
        "resistive loss": energies.resistive,
        "leak loss": energies.leak,
        "stored": energies.stored,
        "rest": energies.rest,
    }
    always = "hydraulic work", "stored", "rest"
    return {label: energy for label, energy in parts.items() if label in always or energy}


def share(part: float, whole: float, units: DisplayUnits) -> str:
    """Return a part over the whole as text, "–" of nothing; less than 0.001 % is zero."""
    return units.show("fraction", round(part / whole, 5) if whole else math.nan, 2)
