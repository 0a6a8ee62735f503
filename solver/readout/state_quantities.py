# SPDX-License-Identifier: MIT
"""The reported quantities: what each means, and how it is read from a state."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.elements import LUMPING_WEIGHTS
from annelid.geometry.wall_directions import wall_directions
from annelid.solver.energy.contact_gap import gap_of_points
from annelid.solver.model.quantities import PERCENTILE, definition_of, names_for
from annelid.solver.readout import shape
from annelid.solver.readout.in_plane_stress import slack_share
from annelid.solver.records import Measure, Profile

if TYPE_CHECKING:
    from annelid.solver.model.model import Model

_TOUCHING = 1e-6  # share of a contact's tolerance below which a penetration is rounding


@dataclass(frozen=True)
class Reading:
    """Raw results of one state, from which quantities are read.

    Attributes:
        model: What was solved.
        displacement: Shape (n, 2) or (n, 3), mm.
        fields: Mapping[str, FloatArray] at the nodes of every cell, from ``readout.fields``.
        cell_volumes: Drawn cell volumes of the modelled piece, mm³.
        volume: Lumen volume of the whole part, mm³, ``None`` without a lumen.
        drawn_volume: The same in the drawn shape, mm³.
        swept: Volume that the wall has swept since the first state, mm³, ``None`` without a lumen.
        energies: Energies, charges and capacitances by name.
        reactions: (axial, radial) force by support, N.
        voltages: kV by electrode.
        obstacles: Position of obstacles by contact name, mm.
        modes: Unstable modes under given loads and under the control.
        datum: Length and largest diameter in the last state without voltage, mm; ``None`` before the first.
    """

    model: "Model"
    displacement: FloatArray
    fields: Mapping[str, FloatArray]
    cell_volumes: FloatArray
    volume: float | None
    drawn_volume: float
    swept: float | None
    energies: Mapping[str, float]
    reactions: Mapping[str, tuple[float, float]]
    voltages: Mapping[str, float]
    obstacles: Mapping[str, float]
    modes: tuple[int, int]
    datum: tuple[float, float] | None = None


Places = dict[str, tuple[float, ...]]


def quantities_of(reading: Reading) -> tuple[dict[str, Measure], dict[str, Profile], Places]:
    """All quantities of a state, the radial profiles and the places of extremes."""
    places: Places = {}
    profiles = shape.profiles(reading.model.body, reading.displacement)
    found = _shape_values(reading, profiles)
    fields = reading.fields
    found |= _extremes(reading, fields, places)
    found |= _electrical(reading, fields, places)
    for name, (axial, radial) in reading.reactions.items():
        found[f"axial reaction {name}"] = axial
        found[f"radial reaction {name}"] = radial
    found |= _strokes(reading, found)
    found |= _of_parts(reading)
    found |= _contact(reading)
    least = fields["least in-plane stress"]
    found["least in-plane stress"] = float(least.min())
    found["slack share"] = slack_share(reading.model, least, reading.cell_volumes)
    places["least in-plane stress"] = _place(reading, int(np.argmin(least)))
    found["strain energy"] = reading.energies["strain energy"]
    found["unstable modes"], found["unstable modes under control"] = map(float, reading.modes)
    ordered = {n: Measure(found[n], definition_of(n).unit) for n in names_for(reading.model)}
    return ordered, profiles, places


def _shape_values(reading: Reading, profiles: Mapping[str, Profile]) -> dict[str, float]:
    model = reading.model
    inner = profiles["inner"]
    expansion = shape.expansion(inner)
    found = {
        "mean radial expansion": shape.mean_over_height(inner, expansion),
        "largest radial expansion": float(expansion.max()),
        "largest radial contraction": float(-expansion.min()),
        "axial shortening": shape.shortening(model.body, reading.displacement),
        "length": shape.length(model.body, reading.displacement),
        "largest diameter": 2 * float(inner.radius.max()),
        "minimum wall thickness": shape.wall_thickness(model.body, reading.displacement),
    }
    for section in model.sections:
        at = float(np.interp(section.height, inner.height, expansion))
        found[f"radial expansion {section.name}"] = at
        found[f"radial contraction {section.name}"] = -at
    if reading.volume is not None:
        found["lumen volume"] = reading.volume
        found["volume change"] = reading.volume - reading.drawn_volume
    if reading.swept is not None:
        found["swept volume"] = reading.swept
    return found


def _extremes(reading: Reading, fields: Mapping[str, FloatArray], places: Places) -> dict[str, float]:
    σ1, λ = fields["largest principal stress"], fields["principal stretches"]
    places["peak stress"] = _place(reading, int(np.argmax(σ1)))
    places["largest stretch"] = _place(reading, int(np.argmax(λ[..., 0])))
    weights = np.outer(reading.cell_volumes, LUMPING_WEIGHTS[reading.model.body.cell_type]).ravel()
    order = np.argsort(σ1, axis=None)
    share = np.cumsum(weights[order]) / weights.sum()
    at = order[min(int(np.searchsorted(share, PERCENTILE / 100)), len(order) - 1)]
    return {
        "largest stretch": float(λ[..., 0].max()),
        "smallest stretch": float(λ[..., 2].min()),
        "peak stress": float(σ1.max()),
        f"peak stress {PERCENTILE} %": float(σ1.ravel()[at]),
    }


def _electrical(reading: Reading, fields: Mapping[str, FloatArray], places: Places) -> dict[str, float]:
    field, margin = fields["true field"], fields["breakdown margin"]
    places["largest true field"] = _place(reading, int(np.argmax(field)))
    places["breakdown margin"] = _place(reading, int(np.argmin(margin)))
    found = {"largest true field": float(field.max()), "breakdown margin": float(margin.min())}
    names = [e.name for e in reading.model.electrodes]
    for kind in ("charge", "capacitance"):
        values = {f"{kind} {n}": reading.energies[f"{kind} {n}"] for n in names}
        found |= values | {kind: float(sum(values.values()))}
    found["stored electrical energy"] = sum(
        0.5 * found[f"charge {n}"] * reading.voltages.get(n, 0.0) for n in names
    )
    return found


def _strokes(reading: Reading, found: Mapping[str, float]) -> dict[str, float]:
    """Stroke since the last state without voltage, and how many times that of the bare skin it is."""
    if not reading.model.electrodes:
        return {}
    length, diameter = reading.datum or (found["length"], found["largest diameter"])
    strokes = {
        "axial stroke": found["length"] / length - 1,
        "radial stroke": found["largest diameter"] / diameter - 1,
    }
    bare = reading.model.bare_stroke
    if bare is None:
        return strokes
    voltage = max(reading.voltages.values(), default=0.0)
    for i, way in enumerate(("axial", "radial")):
        alone = bare.at(voltage)[i]
        strokes[f"{way} amplification"] = strokes[f"{way} stroke"] / alone if alone else float("nan")
    return strokes


def _of_parts(reading: Reading) -> dict[str, float]:
    """Energy and stresses of each part."""
    body = reading.model.body
    found: dict[str, float] = {}
    for region, cells in body.regions.items():
        σ = reading.fields["Cauchy stress"][cells]
        _, hoop, axial = wall_directions(body, cells)
        weights = reading.cell_volumes[cells] / reading.cell_volumes[cells].sum()
        for way, direction in (("hoop", hoop), ("axial", axial)):
            along = np.einsum("mki,mkij,mkj->m", direction, σ, direction, optimize=True) / σ.shape[1]
            found[f"mean {way} stress {region}"] = float(along @ weights)
        found[f"peak stress of {region}"] = float(reading.fields["largest principal stress"][cells].max())
        found[f"strain energy {region}"] = reading.energies[f"strain energy {region}"]
    return found


def _contact(reading: Reading) -> dict[str, float]:
    """Force, mean pressure, length and penetration of each contact."""
    found: dict[str, float] = {}
    for contact in reading.model.contacts:
        x = shape.surface_points(reading.model.body, reading.displacement, contact.surface)
        gap = gap_of_points(contact, x, reading.obstacles.get(contact.name, contact.position))
        touching = x[gap < -_TOUCHING * contact.tolerance, -1]
        force, area = (reading.energies[f"contact {what} {contact.name}"] for what in ("force", "area"))
        found[f"contact force {contact.name}"] = force
        found[f"contact pressure {contact.name}"] = force / area if area > 0 else 0.0
        found[f"contact length {contact.name}"] = float(np.ptp(touching)) if len(touching) else 0.0
        found[f"penetration {contact.name}"] = max(0.0, -float(gap.min()))
    return found


def _place(reading: Reading, flat: int) -> tuple[float, ...]:
    """Reference position of the flat index of a (cells, nodes) array."""
    body = reading.model.body
    return tuple(float(c) for c in body.points[body.cells.ravel()[flat]])
