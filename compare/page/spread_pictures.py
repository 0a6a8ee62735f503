# SPDX-License-Identifier: MIT
"""Pictures of several scans: fields on the surface from two sides, and modes of variation as shapes."""

from typing import NamedTuple

import numpy as np

from annelid.compare.page.diverging import colour_limit
from annelid.compare.page.pictures import ColourScale, data_url, surfaces_picture
from annelid.compare.repeatability.places import Places
from annelid.geometry.body import FloatArray
from annelid.results.views.camera import choose_layout
from annelid.solver.display import DisplayUnit, DisplayUnits, digits

_HALF_TURN = np.array([-1.0, -1.0, 1.0])
_DRAWN = 0.08  # of the smallest extent of the part: the largest movement of a drawn mode
_TIMES = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)
_DPI = 130  # many pictures
MODE_REACH = 2.0
"""Standard deviations by which a mode is drawn to both sides."""


class Picture(NamedTuple):
    """A picture for a page: data URL and caption."""

    source: str
    caption: str


def field_picture(places: Places, field: FloatArray, label: str, about: str, units: DisplayUnits) -> Picture:
    """Render a field of lengths (mm) from two sides; one with negative values diverges from zero.

    Args:
        places: Places of the surface.
        field: Shape (m,), mm; ``nan`` where it is not known.
        label: What it is, for the colour bar.
        about: A sentence for the caption.
        units: Units of display.
    """
    limit = colour_limit(field)
    unit = units.unit("length", limit)
    signed = bool((field[np.isfinite(field)] < 0.0).any())
    ends = unit.behind(digits(unit.factor * limit, 3))
    caption = (
        f"{about} Grey is not known. Larger values than {'±' if signed else ''}{ends} have the last colour."
    )
    return _both_sides(places, field, ColourScale(label, unit, -limit if signed else 0.0, limit), caption)


def number_picture(places: Places, number: FloatArray, scans: int) -> Picture:
    """Render how many scans saw each place, shape (m,)."""
    scale = ColourScale("number of scans", DisplayUnit("", 1.0), 0.0, float(scans))
    caption = f"How many of {scans} scans saw each place; grey was seen by none."
    return _both_sides(places, np.where(number > 0, number, np.nan), scale, caption)


def mode_picture(
    places: Places, shape: FloatArray, number: int, energy: float, units: DisplayUnits
) -> Picture:
    """Render a mode as two shapes, two standard deviations on both sides of the mean shape.

    Args:
        places: Places of the surface.
        shape: Deviation of one standard deviation, shape (m,), mm.
        number: Number of the mode, from 1.
        energy: Its share of the variance.
        units: Units of display.
    """
    moved = MODE_REACH * shape
    limit = colour_limit(moved)
    unit = units.unit("length", limit)
    size = float(np.ptp(places.points, axis=0).min())
    wanted = _DRAWN * size / max(float(np.nanmax(np.abs(moved))), 1e-300)
    times = max((times for times in _TIMES if times <= wanted), default=1.0)
    push = times * np.nan_to_num(moved)[:, None] * places.normals
    minus, plus = places.points - push, places.points + push
    layout = choose_layout(minus, plus, opening=0.0)
    scale = ColourScale("deviation from the mean shape", unit, -limit, limit)
    shown = [(minus + layout.shift, -moved), (plus, moved)]
    where = "above" if abs(layout.shift @ layout.up) > 0 else "on the left"
    caption = (
        f"Mode {number}, {digits(100 * energy, 3)} % of the variance: two standard deviations below the mean "
        f"({where}) and above it. Deviations are drawn {times:g} times{' and' if times > 1 else ','} "
        "coloured "
        "blue for inside, brown for outside the mean shape."
    )
    return Picture(data_url(surfaces_picture(places.triangles, shown, layout, scale, dpi=_DPI)), caption)


def _both_sides(places: Places, field: FloatArray, scale: ColourScale, caption: str) -> Picture:
    behind = places.points * _HALF_TURN
    layout = choose_layout(behind, places.points, opening=0.0)
    shown = [(places.points, field), (behind + layout.shift, field)]
    return Picture(data_url(surfaces_picture(places.triangles, shown, layout, scale, dpi=_DPI)), caption)
