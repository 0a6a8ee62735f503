# SPDX-License-Identifier: MIT
"""The reported quantities: what each means, and how it is read from a state."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geometry.body import FloatArray
from solver import shape
from solver.contact import gap_of_points
from solver.definitions import PERCENTILE, definition_of, names_for
from solver.records import Measure, Profile
from solver.slack import least_in_plane_stress, slack_share

if TYPE_CHECKING:
    from solver.evaluation import CellValues
    from solver.model import Model


@dataclass(frozen=True)
class Reading:
    """Raw results of one state, from which quantities are read.

    Attributes:
        model: What was solved.
        displacement: Shape (n, 2) or (n, 3), mm.
        values: Fields at the nodes of every cell.
        cell_volumes: Drawn cell volumes of the modelled piece, mm³.
        volume: Lumen volume of the whole part, mm³, ``None`` without a lumen.
        drawn_volume: The same in the drawn shape, mm³.
        energies: Energies, charges and capacitances by name.
        reactions: (axial, radial) force by support, N.
        voltages: kV by electrode.
        obstacles: Position of obstacles by contact name, mm.
        modes: Unstable modes under given loads and under the control.
        natural: Share of the natural stretch in force.
    """

    model: "Model"
    displacement: FloatArray
    values: "CellValues"
    cell_volumes: FloatArray
    volume: float | None
    drawn_volume: float
    energies: Mapping[str, float]
    reactions: Mapping[str, tuple[float, float]]
    voltages: Mapping[str, float]
    obstacles: Mapping[str, float]
    modes: tuple[int, int]
    natural: float


Places = dict[str, tuple[float, ...]]
Fields = dict[str, FloatArray]


def quantities_of(reading: Reading) -> tuple[dict[str, Measure], Fields, dict[str, Profile], Places]:
    """All quantities of a state, the fields to be written, the radial profiles and the places of extremes."""
    places: Places = {}
    profiles = shape.profiles(reading.model.body, reading.displacement)
    found = _shape_values(reading, profiles)
    fields = _fields(reading)
    found |= _extremes(reading, fields, places)
    found |= _electrical(reading, fields, places)
    for name, (axial, radial) in reading.reactions.items():
        found[f"axial reaction {name}"] = axial
        found[f"radial reaction {name}"] = radial
    found |= _contact(reading)
    least = fields["least in-plane stress"]
    found["least in-plane stress"] = float(least.min())
    found["slack share"] = slack_share(reading.model, least, reading.cell_volumes)
    places["least in-plane stress"] = _place(reading, int(np.argmin(least)))
    found["strain energy"] = reading.energies["strain energy"]
    found["unstable modes"], found["unstable modes under control"] = map(float, reading.modes)
    ordered = {n: Measure(found[n], definition_of(n).unit) for n in names_for(reading.model)}
    return ordered, fields, profiles, places


def _shape_values(reading: Reading, profiles: Mapping[str, Profile]) -> dict[str, float]:
    model = reading.model
    inner = profiles["inner"]
    expansion = shape.expansion(inner)
    found = {
        "mean radial expansion": shape.mean_over_height(inner, expansion),
        "largest radial expansion": float(expansion.max()),
        "largest radial contraction": float(-expansion.min()),
        "axial shortening": shape.shortening(model.body, reading.displacement),
        "minimum wall thickness": shape.wall_thickness(model.body, reading.displacement),
    }
    for section in model.sections:
        at = float(np.interp(section.height, inner.height, expansion))
        found[f"radial expansion {section.name}"] = at
        found[f"radial contraction {section.name}"] = -at
    if reading.volume is not None:
        found["lumen volume"] = reading.volume
        found["volume change"] = reading.volume - reading.drawn_volume
    return found


def _fields(reading: Reading) -> Fields:
    values = reading.values
    σ = (values.stress + np.swapaxes(values.stress, -1, -2)) / 2
    return {
        "Cauchy stress": σ,
        "largest principal stress": np.linalg.eigvalsh(σ)[..., -1],
        "least in-plane stress": least_in_plane_stress(reading.model, σ, values.F),
        "principal stretches": _elastic_stretches(reading),
        "pressure": values.pressure,
        "true field": np.linalg.norm(values.field, axis=-1),
        "breakdown margin": _breakdown_margin(reading),
    }


def _elastic_stretches(reading: Reading) -> FloatArray:
    """Principal stretches of Fe = F G⁻¹, descending, shape (m, k, 3)."""
    Fe = reading.values.F
    natural = _natural(reading)
    if np.any(natural != 1.0):
        frame = shape.wall_frames(reading.model.body)  # (m, k, 3 directions, 3)
        G_inverse = np.einsum("md,mkdi,mkdj->mkij", 1 / natural, frame, frame)
        Fe = Fe @ G_inverse
    squares = np.linalg.eigvalsh(np.swapaxes(Fe, -1, -2) @ Fe)  # five times as fast as singular values
    return np.sqrt(np.maximum(squares, 0.0))[..., ::-1]


def _natural(reading: Reading) -> FloatArray:
    """Natural stretch in force in every cell, shape (m, 3)."""
    factors = np.ones((len(reading.model.body.cells), 3))
    for part in reading.model.parts:
        full = np.array(part.natural_stretch.factors)
        factors[reading.model.body.regions[part.region]] = 1 + reading.natural * (full - 1)
    return factors


def _breakdown_margin(reading: Reading) -> FloatArray:
    """E_b / E at the nodes of every cell; inf where there is no field or no known strength."""
    model = reading.model
    field = np.linalg.norm(reading.values.field, axis=-1)
    margin = np.full(field.shape, np.inf)
    natural = _natural(reading)
    for part in model.parts:
        if part.material.breakdown is None or part.sheets is None:
            continue
        cells = model.body.regions[part.region]
        normal = shape.wall_frames(model.body, cells)[:, :, 0]
        thinning = 1 / np.linalg.norm(
            np.linalg.solve(np.swapaxes(reading.values.F[cells], -1, -2), normal[..., None])[..., 0], axis=-1
        )
        strength = part.material.breakdown
        in_plane = (thinning / natural[cells, :1]) ** -0.5
        limit = strength.field * in_plane**strength.stretch_exponent
        if strength.reference_thickness is not None:
            limit = (
                limit
                * (thinning * part.sheets.thickness / strength.reference_thickness)
                ** strength.thickness_exponent
            )
        with np.errstate(divide="ignore"):
            margin[cells] = np.where(field[cells] > 0, limit / field[cells], np.inf)
    return margin


def _extremes(reading: Reading, fields: Fields, places: Places) -> dict[str, float]:
    σ1, λ = fields["largest principal stress"], fields["principal stretches"]
    places["peak stress"] = _place(reading, int(np.argmax(σ1)))
    places["largest stretch"] = _place(reading, int(np.argmax(λ[..., 0])))
    weights = np.broadcast_to(reading.cell_volumes[:, None], σ1.shape).ravel()
    order = np.argsort(σ1, axis=None)
    share = np.cumsum(weights[order]) / weights.sum()
    at = order[min(int(np.searchsorted(share, PERCENTILE / 100)), len(order) - 1)]
    return {
        "largest stretch": float(λ[..., 0].max()),
        "smallest stretch": float(λ[..., 2].min()),
        "peak stress": float(σ1.max()),
        f"peak stress {PERCENTILE} %": float(σ1.ravel()[at]),
    }


def _electrical(reading: Reading, fields: Fields, places: Places) -> dict[str, float]:
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


def _contact(reading: Reading) -> dict[str, float]:
    """Force, mean pressure, length and penetration of each contact."""
    body = reading.model.body
    found: dict[str, float] = {}
    for contact in reading.model.contacts:
        nodes = np.unique(body.facets[body.surfaces[contact.surface]])
        x = body.points[nodes] + reading.displacement[nodes]
        gap = gap_of_points(contact, x, reading.obstacles.get(contact.name, contact.position))
        touching = x[gap < 0, -1]
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
