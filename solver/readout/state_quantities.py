# SPDX-License-Identifier: MIT
"""How the reported quantities are read from a state."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.elements import LUMPING_WEIGHTS
from annelid.geometry.wall_directions import wall_directions
from annelid.solver.energy.contact_gap import gap_of_points
from annelid.solver.model import quantities as q
from annelid.solver.model.flow_quantities import FLOW_QUANTITIES, SUMS
from annelid.solver.model.model import Model
from annelid.solver.model.quantity import Quantity
from annelid.solver.readout import deformed_shape
from annelid.solver.readout.deformed_shape import RadialShape
from annelid.solver.readout.in_plane_stress import compressed_fraction
from annelid.solver.readout.leak_path import Leak, LeakPath
from annelid.solver.readout.lumen import Lumen
from annelid.solver.readout.wall_thickness import shortest_distance, wall_thickness
from annelid.solver.readout.wave_shape import wave_shape
from annelid.solver.records import Measure, Profile

_TOUCHING = 1e-6  # fraction of a contact's tolerance below which a penetration is rounding
_ALIKE = 1e-6  # relative difference of values that count as equal


@dataclass(frozen=True)
class StateData:
    """Raw results of one state, from which quantities are read.

    Attributes:
        model: What was solved.
        radial_shape: Measures of its inner surface.
        lumen: The lumen, ``None`` unless it is open at both ends.
        leak_path: Paths along it, ``None`` unless obstacles can shut it.
        leak: What the states before have found on its leak.
        displacement: Shape (n, 2) or (n, 3), mm.
        fields: Fields at the nodes of every cell by name, as in ``Equilibrium.fields``.
        cell_volumes: Reference cell volumes of the modelled piece, mm³.
        volume: Lumen volume of the whole part, mm³, ``None`` without a lumen.
        drawn_volume: The same in the reference shape, mm³.
        displaced: Volume that each surface under pressure has displaced since the first state, mm³.
        energies: Energies, charges and capacitances by name.
        reactions: (axial, radial) force by support, N, and torque, N mm.
        twists: Rotation by end of a part that twists, degrees.
        pressure: In the lumen, MPa.
        voltages: kV by electrode.
        obstacles: Position of obstacles by contact name, mm.
        modes: Unstable modes under given loads and under the control.
        time: s.
        flow: Values of a flow by name; empty before it begins.
        datum: Length and largest diameter in the last state without voltage, mm; ``None`` before the first.
    """

    model: Model
    radial_shape: RadialShape
    lumen: Lumen | None
    leak_path: LeakPath | None
    leak: Leak
    displacement: FloatArray
    fields: Mapping[str, FloatArray]
    cell_volumes: FloatArray
    volume: float | None
    drawn_volume: float
    displaced: Mapping[str, float]
    energies: Mapping[str, float]
    reactions: Mapping[str, tuple[float, float, float]]
    twists: Mapping[str, float]
    pressure: float
    voltages: Mapping[str, float]
    obstacles: Mapping[str, float]
    modes: tuple[int, int]
    time: float
    flow: Mapping[str, float]
    datum: tuple[float, float] | None = None


Places = dict[str, tuple[float, ...]]


def quantities_of(data: StateData) -> tuple[dict[str, Measure], dict[str, Profile], Places]:
    """All quantities of a state, the radial profiles and the places of extremes."""
    places: Places = {}
    profiles = deformed_shape.profiles(data.model.body, data.displacement)
    values = _shape_values(data)
    values |= _opening(data, places)
    values |= _leak(data)
    values |= _extremes(data, places)
    values |= _electrical(data, places)
    values |= _margins(data, places)
    for name, (axial, radial, torque) in data.reactions.items():
        values[q.AXIAL_REACTION_OF.of(name)] = axial
        values[q.RADIAL_REACTION_OF.of(name)] = radial
        values[q.TORQUE_REACTION_OF.of(name)] = torque
    values |= {q.TWIST_OF.of(end): angle for end, angle in data.twists.items()}
    values |= _strokes(data, values)
    values |= _wave(data)
    values |= _of_parts(data)
    values |= _contact(data)
    values[q.STRAIN_ENERGY.name] = data.energies[q.STRAIN_ENERGY.name]
    for quantity, count in zip((q.UNSTABLE_MODES, q.UNSTABLE_MODES_CONTROLLED), data.modes, strict=True):
        values[quantity.name] = float(count)
    values |= _flow(data)
    ordered = {
        name: Measure(values[name], quantity.unit)
        for quantity in q.QUANTITIES
        for name in quantity.names(data.model.scope)
    }
    return ordered, profiles, places


def _shape_values(data: StateData) -> dict[str, float]:
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


def _opening(data: StateData, places: Places) -> dict[str, float]:
    """How far the lumen is open, if it is open at both ends."""
    if data.lumen is None:
        return {}
    opening = data.lumen.opening(data.displacement)
    on_axis = (0.0,) * (len(opening.narrowest) - 1)
    places[q.SMALLEST_LUMEN_DIAMETER.name] = tuple(float(c) for c in opening.narrowest)
    places[q.SMALLEST_OPEN_AREA.name] = (*on_axis, opening.height)
    return {
        q.SMALLEST_LUMEN_DIAMETER.name: opening.diameter,
        q.SMALLEST_OPEN_AREA.name: opening.area,
        q.CLOSED_LENGTH.name: opening.closed_length,
    }


def _wave(data: StateData) -> dict[str, float]:
    """Time, and the wave in a lumen that is open at both ends, of a part whose loads change in time."""
    if not data.model.timed:
        return {}
    values = {q.TIME.name: data.time}
    if data.lumen is not None:
        wave = wave_shape(*data.lumen.sections(data.displacement))
        values |= {q.WAVE_VOLUME.name: wave.volume, q.OCCLUSION.name: wave.occlusion}
    return values


def _flow(data: StateData) -> dict[str, float]:
    """Values of a flow; before it begins its sums are zero and the others are not known."""
    return {
        name: data.flow.get(name, 0.0 if quantity in SUMS else np.nan)
        for quantity in FLOW_QUANTITIES
        for name in quantity.names(data.model.scope)
    }


def _leak(data: StateData) -> dict[str, float]:
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


def _extremes(data: StateData, places: Places) -> dict[str, float]:
    fields = data.fields
    σ1, λ, least = (
        fields[name] for name in ("largest principal stress", "principal stretches", "least in-plane stress")
    )
    places[q.PEAK_STRESS.name] = _place(data, σ1, int(np.argmax(σ1)))
    places[q.LARGEST_STRETCH.name] = _place(data, λ[..., 0], int(np.argmax(λ[..., 0])))
    places[q.LEAST_IN_PLANE_STRESS.name] = _place(data, least, int(np.argmin(least)))
    at = _percentile(data, σ1)
    return {
        q.LARGEST_STRETCH.name: float(λ[..., 0].max()),
        q.SMALLEST_STRETCH.name: float(λ[..., 2].min()),
        q.PEAK_STRESS.name: float(σ1.max()),
        q.PEAK_STRESS_PERCENTILE.name: float(σ1.ravel()[at]),
        q.LEAST_IN_PLANE_STRESS.name: float(least.min()),
        q.COMPRESSED_WALL.name: compressed_fraction(data.model, least, data.cell_volumes),
    }


def _percentile(data: StateData, values: FloatArray) -> int:
    """Position of the value that is not exceeded in most of the volume where values are not nan."""
    weights = np.outer(data.cell_volumes, LUMPING_WEIGHTS[data.model.body.cell_type]).ravel()
    known = np.flatnonzero(~np.isnan(values.ravel()))
    if not known.size:
        return 0
    order = known[np.argsort(values.ravel()[known])]
    below = np.cumsum(weights[order])
    return int(order[min(int(np.searchsorted(below, q.PERCENTILE / 100 * below[-1])), len(order) - 1)])


def _electrical(data: StateData, places: Places) -> dict[str, float]:
    field = data.fields["true field"]
    largest, at = int(np.argmax(field)), _percentile(data, np.where(field > 0, field, np.nan))
    values = _found(data, places, field, {q.LARGEST_TRUE_FIELD: largest, q.TRUE_FIELD_PERCENTILE: at})
    names = [e.name for e in data.model.electrodes]
    for total, family in ((q.CHARGE, q.CHARGE_OF), (q.CAPACITANCE, q.CAPACITANCE_OF)):
        single = {family.of(name): data.energies[family.of(name)] for name in names}
        values |= single | {total.name: float(sum(single.values()))}
    values |= {q.ELECTRODE_VOLTAGE_OF.of(name): data.voltages.get(name, 0.0) for name in names}
    values[q.ELECTRICAL_ENERGY.name] = sum(
        0.5 * values[q.CHARGE_OF.of(name)] * data.voltages.get(name, 0.0) for name in names
    )
    return values


def _margins(data: StateData, places: Places) -> dict[str, float]:
    """Margins of all limits of which there is a field."""
    values: dict[str, float] = {}
    for limit in q.LIMITS:
        margin = data.fields.get(limit.margin.name)
        if margin is None:
            continue
        # Where there is no field, a sheet is not judged; a part without tension is judged, and safe.
        judged = np.isfinite(margin) if limit.margin.needs_voltage else ~np.isnan(margin)
        at = _percentile(data, np.where(judged, -margin, np.nan))
        values |= _found(data, places, margin, {limit.margin: at, limit.least: int(np.nanargmin(margin))})
    return values


def _found(
    data: StateData, places: Places, field: FloatArray, positions: Mapping[Quantity, int]
) -> dict[str, float]:
    """Values of a field at flat positions, by quantity, whose places are noted."""
    for quantity, position in positions.items():
        places[quantity.name] = _place(data, field, position)
    return {quantity.name: float(field.ravel()[position]) for quantity, position in positions.items()}


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


def _place(data: StateData, field: FloatArray, flat: int) -> tuple[float, ...]:
    """Reference position of the first place where a field, (cells, nodes), has its value at a flat index.

    Of places that are alike, such as those around an axis, rounding would choose another on other ranks.
    """
    alike = np.isclose(field.ravel(), field.ravel()[flat], rtol=_ALIKE, atol=0.0)
    first = int(np.argmax(alike)) if alike.any() else flat
    body = data.model.body
    return tuple(float(c) for c in body.points[body.cells.ravel()[first]])
