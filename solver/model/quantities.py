# SPDX-License-Identifier: MIT
"""The reported quantities: what each means, and which a model reports."""

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from annelid.solver.model.model import Model

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
    "length": QuantityDefinition("mm", "l", "distance between the ends, now"),
    "largest diameter": QuantityDefinition("mm", "max 2r", "of the inner surface, now"),
    "axial stroke": QuantityDefinition(
        "1", "l/l0 - 1", "change of length since the last state without voltage, whose length is l0"
    ),
    "radial stroke": QuantityDefinition(
        "1", "d/d0 - 1", "change of the largest diameter since the last state without voltage"
    ),
    "axial amplification": QuantityDefinition(
        "1",
        "stroke / bare stroke",
        "axial stroke over that of the bare skin, unstretched and without its lattice, at the same voltage",
    ),
    "radial amplification": QuantityDefinition("1", "stroke / bare stroke", "the same of the radial stroke"),
    "lumen volume": QuantityDefinition(
        "mm3", "V = ∫ ½ x⊥·n da", "volume enclosed by the lumen and its plane ends, now"
    ),
    "volume change": QuantityDefinition("mm3", "V - V_drawn", f"change of the lumen volume {_DRAWN}"),
    "swept volume": QuantityDefinition(
        "mm3",
        "∫ f·dx",
        "volume that the pressurised wall has swept since the first state of the path: ∫ P over it is the "
        "pressure's work; the change of the lumen volume unless the rim of an open end moves along the axis",
    ),
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
    "least in-plane stress": QuantityDefinition(
        "MPa",
        "min σ2 in the wall's plane",
        "smaller principal Cauchy stress in the deformed plane of the wall, where it is least; negative "
        "means slack or wrinkles",
    ),
    "slack share": QuantityDefinition(
        "1", "volume with σ2 < 0 / volume", "share of the walls' volume that is compressed in its own plane"
    ),
    "peak stress of <part>": QuantityDefinition(
        "MPa", "max σ1", "largest principal Cauchy stress in one of several parts"
    ),
    "mean hoop stress <part>": QuantityDefinition(
        "MPa",
        "mean σ_hoop",
        "Cauchy stress around, mean over the volume of one of several parts: its tension",
    ),
    "mean axial stress <part>": QuantityDefinition("MPa", "mean σ_axial", "the same along the wall"),
    "axial reaction <support>": QuantityDefinition(
        "N",
        "Σ R_Z",
        "force of the support on the whole part along +Z; with an end plate the fluid's thrust on both "
        "closed ends belongs to the part, without one only the wall is in balance with it; a plate has none",
    ),
    "radial reaction <support>": QuantityDefinition(
        "N", "Σ R_r", "outward force of the support, summed round the part"
    ),
    "contact force <contact>": QuantityDefinition(
        "N", "∫ p dA", "contact pressure summed over the surface of the whole part"
    ),
    "contact pressure <contact>": QuantityDefinition(
        "MPa", "∫ p dA / a", "mean contact pressure over the present area in contact"
    ),
    "contact length <contact>": QuantityDefinition(
        "mm", "max z - min z where g < 0", "length along the axis that touches, now"
    ),
    "penetration <contact>": QuantityDefinition(
        "mm",
        "max ⟨-g⟩",
        "how deep the surface sinks into the obstacle; about the tolerance or less",
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
    "strain energy": QuantityDefinition("mJ", "∫ det G [ψ + p²/(2κ)] dX", "elastic energy of the whole part"),
    "stability margin <load>": QuantityDefinition(
        "1",
        "critical load / load",
        "multiple of a load (pressure, voltage, force, move, or all loads together; what is not named is "
        "held) at which the next limit point or bifurcation stands, from the last state on; below 1 where "
        "the path ended at such a point short of the load asked for",
    ),
    "strain energy <part>": QuantityDefinition(
        "mJ", "∫ det G [ψ + p²/(2κ)] dX", "elastic energy of one of several parts"
    ),
    "unstable modes": QuantityDefinition(
        "1",
        "negative pivots - constraint unknowns",
        "number of unstable modes under given loads; 0 is stable",
    ),
    "unstable modes under control": QuantityDefinition(
        "1",
        "the same with the border",
        "number of unstable modes while the control in force (of volume, charge, motion) is held",
    ),
}


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
        "<contact>": [c.name for c in model.contacts],
        "<part>": [p.region for p in model.parts] if len(model.parts) > 1 else [],
        "<load>": [],  # of the end of a path, not of a state
    }
    electric = {"largest true field", "breakdown margin", "charge", "capacitance", "stored electrical energy"}
    names: list[str] = []
    for name in QUANTITIES:
        stem, bracket, tail = name.partition("<")
        if bracket:
            names += [stem + item for item in own["<" + tail]]
        elif (
            ((name in electric or name.endswith("stroke")) and not model.electrodes)
            or (name.endswith("amplification") and (model.bare_stroke is None or not model.electrodes))
            or (name in ("lumen volume", "volume change", "swept volume") and not model.has_lumen)
            or (name == "breakdown margin" and not _strengths(model))
        ):
            continue
        else:
            names.append(name)
    return names


def _strengths(model: "Model") -> bool:
    return any(part.material.breakdown is not None and part.sheets is not None for part in model.parts)
