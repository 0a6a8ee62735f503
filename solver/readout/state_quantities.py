# SPDX-License-Identifier: MIT
"""How the reported quantities are read from a state."""

from collections.abc import Mapping

import numpy as np

from annelid.geometry.wall_directions import wall_directions
from annelid.solver.energy.contact_gap import gap_of_points
from annelid.solver.model import quantities as q
from annelid.solver.readout import deformed_shape
from annelid.solver.readout.field_measures import electrical_measures, extremes, margins
from annelid.solver.readout.shape_measures import (
    flow_measures,
    leak_measures,
    opening_measures,
    shape_measures,
    wave_measures,
)
from annelid.solver.readout.state_data import Places, StateData
from annelid.solver.readout.wall_thickness import shortest_distance
from annelid.solver.records import Measure, Profile

_TOUCHING = 1e-6  # fraction of a contact's tolerance below which a penetration is rounding


def quantities_of(data: StateData) -> tuple[dict[str, Measure], dict[str, Profile], Places]:
    """All quantities of a state, the radial profiles and the places of extremes."""
    places: Places = {}
    profiles = deformed_shape.profiles(data.model.body, data.displacement)
    values = shape_measures(data)
    values |= opening_measures(data, places)
    values |= leak_measures(data)
    values |= extremes(data, places)
    values |= electrical_measures(data, places)
    values |= margins(data, places)
    for name, (axial, radial, torque) in data.reactions.items():
        values[q.AXIAL_REACTION_OF.of(name)] = axial
        values[q.RADIAL_REACTION_OF.of(name)] = radial
        values[q.TORQUE_REACTION_OF.of(name)] = torque
    values |= {q.TWIST_OF.of(end): angle for end, angle in data.twists.items()}
    values |= _strokes(data, values)
    values |= wave_measures(data)
    values |= _of_parts(data)
    values |= _contact(data)
    values[q.STRAIN_ENERGY.name] = data.energies[q.STRAIN_ENERGY.name]
    for quantity, count in zip((q.UNSTABLE_MODES, q.UNSTABLE_MODES_CONTROLLED), data.modes, strict=True):
        values[quantity.name] = float(count)
    values |= flow_measures(data)
    ordered = {
        name: Measure(values[name], quantity.unit)
        for quantity in q.QUANTITIES
        for name in quantity.names(data.model.scope)
    }
    return ordered, profiles, places


def _strokes(data: StateData, values: Mapping[str, float]) -> dict[str, float]:
    """Stroke since the last state without voltage, and its ratio to that of the bare skin."""
    if not data.model.electrodes:
        return {}
    size = values[q.LENGTH.name], values[q.LARGEST_DIAMETER.name]
    stroke = [now / before - 1 for now, before in zip(size, data.datum or size, strict=True)]
    strokes = dict(zip((q.AXIAL_STROKE.name, q.RADIAL_STROKE.name), stroke, strict=True))
    bare = data.model.bare_stroke
    if bare is None:
        return strokes
    alone = bare.at(max(data.voltages.values(), default=0.0))
    for quantity, whole, skin in zip(
        (q.AXIAL_AMPLIFICATION, q.RADIAL_AMPLIFICATION), stroke, alone, strict=True
    ):
        strokes[quantity.name] = whole / skin if skin else float("nan")
    return strokes


def _of_parts(data: StateData) -> dict[str, float]:
    """Thickness, energy and stresses of each part."""
    body = data.model.body
    values: dict[str, float] = {}
    if len(body.regions) > 1:
        x = body.points + data.displacement
        for region, (inner, outer) in data.model.walls.items():
            values[q.MINIMUM_THICKNESS_OF.of(region)] = shortest_distance(x, inner, outer)
    for region, cells in body.regions.items():
        σ = data.fields["Cauchy stress"][cells]
        _, hoop, axial = wall_directions(body, cells)
        weights = data.cell_volumes[cells] / data.cell_volumes[cells].sum()
        for quantity, direction in ((q.MEAN_HOOP_STRESS_OF, hoop), (q.MEAN_AXIAL_STRESS_OF, axial)):
            along = np.einsum("mki,mkij,mkj->m", direction, σ, direction, optimize=True) / σ.shape[1]
            values[quantity.of(region)] = float(along @ weights)
        values[q.PEAK_STRESS_OF.of(region)] = float(data.fields["largest principal stress"][cells].max())
        values[q.STRAIN_ENERGY_OF.of(region)] = data.energies[q.STRAIN_ENERGY_OF.of(region)]
    return values


def _contact(data: StateData) -> dict[str, float]:
    """Force, mean pressure, length and penetration of each contact."""
    values: dict[str, float] = {}
    for contact in data.model.contacts:
        x = deformed_shape.surface_points(data.model.body, data.displacement, contact.surface)
        gap = gap_of_points(contact, x, data.obstacles.get(contact.name, contact.position))
        touching = x[gap < -_TOUCHING * contact.tolerance, -1]
        force, area = (data.energies[f"contact {what} {contact.name}"] for what in ("force", "area"))
        values[q.CONTACT_FORCE_OF.of(contact.name)] = force
        values[q.CONTACT_PRESSURE_OF.of(contact.name)] = force / area if area > 0 else 0.0
        values[q.CONTACT_LENGTH_OF.of(contact.name)] = float(np.ptp(touching)) if len(touching) else 0.0
        values[q.PENETRATION_OF.of(contact.name)] = max(0.0, -float(gap.min()))
    return values
