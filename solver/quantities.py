# SPDX-License-Identifier: MIT
"""The reported quantities: what each means, and how it is read from a state."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from geometry.body import FloatArray
from solver import shape
from solver.records import Measure, Profile

if TYPE_CHECKING:
    from solver.evaluation import CellValues
    from solver.problem import Model

PERCENTILE = 99.5


class QuantityDefinition(NamedTuple):
    """What a quantity is.

    Attributes:
        unit: Unit in tables; ``"1"`` for ratios.
        formula: As text, symbols as in the solver's README.
        meaning: In words, with the reference state.
    """

    unit: str
    formula: str
    meaning: str


_DRAWN = "against the drawn shape"

QUANTITIES: dict[str, QuantityDefinition] = {
    "mean radial expansion": QuantityDefinition(
        "1",
        "(1/L) ∫ (r/R - 1) dZ",
        f"mean over the inner surface along the axis, {_DRAWN}; negative is contraction",
    ),
    "largest radial expansion": QuantityDefinition(
        "1", "max (r/R - 1)", f"largest along the inner surface, {_DRAWN}"
    ),
    "largest radial contraction": QuantityDefinition(
        "1", "max (1 - r/R)", f"largest along the inner surface, {_DRAWN}"
    ),
    "radial expansion <section>": QuantityDefinition(
        "1", "r/R - 1", f"of the inner radius at a named section, {_DRAWN}"
    ),
    "radial contraction <section>": QuantityDefinition(
        "1", "1 - r/R", f"of the inner radius at a named section, {_DRAWN}"
    ),
    "axial shortening": QuantityDefinition("1", "1 - l/L", f"distance between the ends, {_DRAWN}"),
    "lumen volume": QuantityDefinition(
        "mm3", "V = ∫ ½ x⊥·n da", "volume enclosed by the lumen and its plane ends, now"
    ),
    "volume change": QuantityDefinition("mm3", "V - V_drawn", f"change of the lumen volume {_DRAWN}"),
    "minimum wall thickness": QuantityDefinition(
        "mm",
        "min |x_outer - x_inner|",
        "shortest distance from the inner to the outer surface of the wall, now",
    ),
    "largest stretch": QuantityDefinition(
        "1", "max λ1(Fe)", "largest principal stretch against the stress-free state"
    ),
    "smallest stretch": QuantityDefinition(
        "1", "min λ3(Fe)", "smallest principal stretch against the stress-free state"
    ),
    "peak stress": QuantityDefinition(
        "MPa",
        "max σ1",
        "largest principal Cauchy stress, Maxwell stress included; grows without bound with mesh "
        "refinement at clamped corners",
    ),
    f"peak stress {PERCENTILE} %": QuantityDefinition(
        "MPa",
        "σ1 not exceeded in 99.5 % of the volume",
        "the same without the most loaded 0.5 % of the volume",
    ),
    "axial reaction <support>": QuantityDefinition(
        "N",
        "Σ R_Z",
        "force of the support on the whole part along +Z, in equilibrium with the wall and not with the "
        "fluid on a closed end",
    ),
    "radial reaction <support>": QuantityDefinition(
        "N", "Σ R_r", "outward force of the support, summed round the part"
    ),
    "largest true field": QuantityDefinition(
        "kV/mm", "max |F⁻ᵀ E0|", "electric field in the thinned sheets (kV/mm = V/um)"
    ),
    "breakdown margin": QuantityDefinition(
        "1",
        "min E_b(λ, h) / |F⁻ᵀ E0|",
        "dielectric strength over true field, where it is smallest; below 1 the sheet fails",
    ),
    "charge": QuantityDefinition("uC", "Σ Q", "charge on all electrodes of the whole part"),
    "charge <electrode>": QuantityDefinition(
        "uC", "Q = -∂Π/∂V", "charge on one electrode, all its sheets in parallel"
    ),
    "capacitance": QuantityDefinition("nF", "Σ C", "of all electrodes in parallel"),
    "capacitance <electrode>": QuantityDefinition(
        "nF", "C = Q/V", "of one electrode, all its sheets in parallel, now"
    ),
    "stored electrical energy": QuantityDefinition(
        "mJ", "Σ ½ Q V", "energy in the electric field of the whole part"
    ),
    "strain energy": QuantityDefinition("mJ", "∫ det G ψ dX", "elastic energy of the whole part"),
    "unstable modes": QuantityDefinition(
        "1",
        "negative pivots - constraint unknowns",
        "number of unstable modes under given loads; 0 is stable",
    ),
    "unstable modes under control": QuantityDefinition(
        "1",
        "the same with the border",
        "number of unstable modes while the control in force (volume) is held",
    ),
}


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
    modes: tuple[int, int]
    natural: float


Places = dict[str, tuple[float, ...]]
Fields = dict[str, FloatArray]


def definition_of(quantity: str) -> QuantityDefinition:
    """Definition of a reported quantity, also of one that carries a section, support or electrode name.

    Raises:
        KeyError: No such quantity.
    """
    if quantity in QUANTITIES:
        return QUANTITIES[quantity]
    for name, definition in QUANTITIES.items():
        stem, bracket, _ = name.partition("<")
        if bracket and quantity.startswith(stem) and len(quantity) > len(stem):
            return definition
    raise KeyError(quantity)


def names_for(model: "Model") -> list[str]:
    """Names of all quantities a model will report, in table order."""
    own = {
        "<section>": [s.name for s in model.sections],
        "<support>": [s.region for s in model.supports],
        "<electrode>": [e.name for e in model.electrodes],
    }
    electric = {"largest true field", "breakdown margin", "charge", "capacitance", "stored electrical energy"}
    names: list[str] = []
    for name in QUANTITIES:
        stem, bracket, tail = name.partition("<")
        if bracket:
            names += [stem + item for item in own["<" + tail]]
        elif (
            (name in electric and not model.electrodes)
            or (name in ("lumen volume", "volume change") and not model.has_lumen)
            or (name == "breakdown margin" and not _strengths(model))
        ):
            continue
        else:
            names.append(name)
    return names


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
    return np.linalg.svd(Fe, compute_uv=False)


def _natural(reading: Reading) -> FloatArray:
    """Natural stretch in force in every cell, shape (m, 3)."""
    factors = np.ones((len(reading.model.body.cells), 3))
    for part in reading.model.parts:
        full = np.array(part.natural_stretch.factors)
        factors[reading.model.body.regions[part.region]] = 1 + reading.natural * (full - 1)
    return factors


def _strengths(model: "Model") -> bool:
    return any(part.material.breakdown is not None and part.sheets is not None for part in model.parts)


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


def _place(reading: Reading, flat: int) -> tuple[float, ...]:
    """Reference position of the flat index of a (cells, nodes) array."""
    body = reading.model.body
    return tuple(float(c) for c in body.points[body.cells.ravel()[flat]])
