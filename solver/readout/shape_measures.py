# SPDX-License-Identifier: MIT
"""Reported quantities of the deformed shape: sizes, lumen, leak and wave, and the flow in the lumen."""

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.solver.energy.contact_gap import gap_of_points
from annelid.solver.model import quantities as q
from annelid.solver.model.flow_quantities import FLOW_QUANTITIES, SUMS
from annelid.solver.readout.state_data import Places, StateData
from annelid.solver.readout.wall_thickness import wall_thickness
from annelid.solver.readout.wave_shape import Sections, wave_shape


def shape_measures(data: StateData) -> dict[str, float]:
    """Sizes of the deformed part, and pressure and volume of its lumen."""
    body, shape = data.model.body, data.radial_shape
    expansion, length = shape.expansion(data.displacement), shape.length(data.displacement)
    values = {
        q.MEAN_RADIAL_EXPANSION.name: shape.mean(expansion),
        q.LARGEST_RADIAL_EXPANSION.name: float(np.nanmax(expansion)),
        q.LARGEST_RADIAL_CONTRACTION.name: float(-np.nanmin(expansion)),
        q.AXIAL_SHORTENING.name: 1 - length / shape.length(np.zeros_like(data.displacement)),
        q.LENGTH.name: length,
        q.LARGEST_DIAMETER.name: shape.largest_diameter(data.displacement),
        q.MINIMUM_WALL_THICKNESS.name: wall_thickness(body, data.displacement),
    }
    for section in data.model.sections:
        at = shape.section(expansion, section.height)
        values[q.RADIAL_EXPANSION_AT.of(section.name)] = at
        values[q.RADIAL_CONTRACTION_AT.of(section.name)] = -at
    if data.volume is not None:
        values[q.LUMEN_PRESSURE.name] = data.pressure
        values[q.LUMEN_VOLUME.name] = data.volume
        values[q.VOLUME_CHANGE.name] = data.volume - data.drawn_volume
    for surface, displaced in data.displaced.items():
        quantity = q.DISPLACED_VOLUME if surface == "lumen" else q.DISPLACED_VOLUME_AT
        values[quantity.of(surface) if quantity.placeholder else quantity.name] = displaced
    return values


def opening_measures(data: StateData, places: Places) -> dict[str, float]:
    """How far the lumen is open, if it is open at both ends."""
    if data.lumen is None:
        return {}
    opening = data.lumen.opening(data.displacement)
    on_axis = (0.0,) * (len(opening.narrowest) - 1)
    places[q.SMALLEST_LUMEN_DIAMETER.name] = tuple(float(c) for c in opening.narrowest)
    places[q.SMALLEST_OPEN_AREA.name] = (*on_axis, opening.height)
    return {
        q.SMALLEST_LUMEN_DIAMETER.name: opening.diameter,
        q.SMALLEST_OPEN_AREA.name: max(opening.area - np.pi * _core(data) ** 2, 0.0),
        q.CLOSED_LENGTH.name: opening.closed_length,
    }


def wave_measures(data: StateData) -> dict[str, float]:
    """Time, and the wave in a lumen that is open at both ends, of a part whose loads change in time."""
    if not data.model.timed:
        return {}
    values = {q.TIME.name: data.time}
    if data.lumen is not None:
        now = lumen_sections(data)
        wave = wave_shape(now, data.rest or now)
        values |= {q.WAVE_VOLUME.name: wave.volume, q.OCCLUSION.name: wave.occlusion}
    return values


def lumen_sections(data: StateData) -> Sections:
    """Sections of a lumen that is open at both ends, and the cylinder in it."""
    assert data.lumen is not None
    return Sections(*data.lumen.sections(data.displacement), _core(data))


def flow_measures(data: StateData) -> dict[str, float]:
    """Values of a flow; before it begins its sums are zero and the others are not known."""
    return {
        name: data.flow.get(name, 0.0 if quantity in SUMS else np.nan)
        for quantity in FLOW_QUANTITIES
        for name in quantity.names(data.model.scope)
    }


def leak_measures(data: StateData) -> dict[str, float]:
    """The widest leak path, and the pressure at which it became open."""
    if data.leak_path is None:
        return {}

    def nearest(x: FloatArray) -> FloatArray:
        places = (
            (contact, data.obstacles.get(contact.name, contact.position)) for contact in data.model.seals
        )
        gaps = [gap_of_points(contact, x, position) for contact, position in places]
        return np.asarray(np.min(gaps, axis=0))

    gap = data.leak_path.widest(data.displacement, nearest)
    pressure = data.leak.after(gap, data.pressure).pressure
    return {q.LEAK_GAP.name: gap, q.LEAK_PRESSURE.name: pressure}


def _core(data: StateData) -> float:
    """Radius of the widest cylinder that the lumen surrounds, mm; 0 without one."""
    cylinders = (c for c in data.model.seals if c.kind == "cylinder")
    return max((data.obstacles.get(c.name, c.position) for c in cylinders), default=0.0)
