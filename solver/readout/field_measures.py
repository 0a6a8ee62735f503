# SPDX-License-Identifier: MIT
"""Reported quantities that are extremes of fields, and those of electrodes."""

from collections.abc import Mapping

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.elements import LUMPING_WEIGHTS
from annelid.solver.model import quantities as q
from annelid.solver.model.quantity import Quantity
from annelid.solver.readout.in_plane_stress import compressed_fraction
from annelid.solver.readout.state_data import Places, StateData

_SLACK = 1e-6  # folded length below which a wall counts as taut
_ALIKE = 1e-6  # relative difference of values that count as equal


def extremes(data: StateData, places: Places) -> dict[str, float]:
    """Extremes of stretch and stress, and the compressed fraction of the wall."""
    fields = data.fields
    σ1, λ, least = (
        fields[name] for name in ("largest principal stress", "principal stretches", "least in-plane stress")
    )
    places[q.PEAK_STRESS.name] = _place(data, σ1, int(np.argmax(σ1)))
    places[q.LARGEST_STRETCH.name] = _place(data, λ[..., 0], int(np.argmax(λ[..., 0])))
    places[q.LEAST_IN_PLANE_STRESS.name] = _place(data, least, int(np.argmin(least)))
    at = _percentile(data, σ1)
    folded = _folded(data, places)
    return {
        q.LARGEST_STRETCH.name: float(λ[..., 0].max()),
        q.SMALLEST_STRETCH.name: float(λ[..., 2].min()),
        q.PEAK_STRESS.name: float(σ1.max()),
        q.PEAK_STRESS_PERCENTILE.name: float(σ1.ravel()[at]),
        q.LEAST_IN_PLANE_STRESS.name: float(least.min()),
        q.COMPRESSED_WALL.name: compressed_fraction(data.model, least, data.cell_volumes),
        **folded,
    }


def _folded(data: StateData, places: Places) -> dict[str, float]:
    """How much of the walls that fold is slack, and their largest folded lengths."""
    if not data.model.folding:
        return {}
    lengths = [data.fields[quantity.name] for quantity in q.FOLDED_LENGTHS]
    cells = np.concatenate([data.model.body.regions[part.region] for part in data.model.folding])
    slack = np.maximum(*lengths)[cells] > _SLACK
    volumes = data.cell_volumes[cells]
    share = slack @ LUMPING_WEIGHTS[data.model.body.cell_type] @ volumes / volumes.sum()
    largest = {quantity: int(np.argmax(f)) for quantity, f in zip(q.FOLDED_LENGTHS, lengths, strict=True)}
    found = {q.SLACK_WALL.name: float(share)}
    for (quantity, position), values in zip(largest.items(), lengths, strict=True):
        found |= _found(data, places, values, {quantity: position})
    return found


def _percentile(data: StateData, values: FloatArray) -> int:
    """Position of the value that is not exceeded in most of the volume where values are not nan."""
    weights = np.outer(data.cell_volumes, LUMPING_WEIGHTS[data.model.body.cell_type]).ravel()
    known = np.flatnonzero(~np.isnan(values.ravel()))
    if not known.size:
        return 0
    order = known[np.argsort(values.ravel()[known])]
    below = np.cumsum(weights[order])
    return int(order[min(int(np.searchsorted(below, q.PERCENTILE / 100 * below[-1])), len(order) - 1)])


def electrical_measures(data: StateData, places: Places) -> dict[str, float]:
    """The largest field, and charge, capacitance, voltage and energy of the electrodes."""
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


def margins(data: StateData, places: Places) -> dict[str, float]:
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


def _place(data: StateData, field: FloatArray, flat: int) -> tuple[float, ...]:
    """Reference position of the first place where a field, (cells, nodes), has its value at a flat index.

    Of places that are alike, such as those around an axis, rounding would choose another on other ranks.
    """
    alike = np.isclose(field.ravel(), field.ravel()[flat], rtol=_ALIKE, atol=0.0)
    first = int(np.argmax(alike)) if alike.any() else flat
    body = data.model.body
    return tuple(float(c) for c in body.points[body.cells.ravel()[first]])
