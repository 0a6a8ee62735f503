# SPDX-License-Identifier: MIT
"""Reported quantities of the last whole cycle: of a wave of the wall, and of what it pumps."""

from annelid.solver.model.quantity import Quantity

_CHANNEL, _CIRCUIT, _LUMEN = ("channel",), ("circuit",), ("lumen_flow",)
_ELECTRIC, _FEEDS = ("electrodes", "flow"), ("feeds",)
_PUMP = ("electrodes", "lumen_flow")


def _of_cycle(
    name: str, kind: str, formula: str, meaning: str, needs: tuple[str, ...] = (), better: bool | None = None
) -> Quantity:
    meaning = f"{meaning}, in the last whole cycle of a wave"
    return Quantity(name, kind, formula, meaning, needs, larger_is_better=better, of_path=True)


STROKE_VOLUME = _of_cycle("stroke volume", "volume", "max V - min V", "change of the lumen volume")
RESIDUAL_LUMEN = _of_cycle("residual lumen", "area", "min A", "smallest open area of the lumen")
CYCLE_WAVE_VOLUME = _of_cycle(
    "peristaltic wave volume",
    "volume",
    "max ∫ ⟨A - max(A(z0), A(z0 + λ))⟩ dz",
    "largest volume of the lumen between two places that are a wavelength λ = c T apart, above the wider of "
    "both, which are necks of the wave; of a wave longer than 3/4 of the lumen max V_w, the largest wave "
    "volume of a state",
)
CYCLE_OCCLUSION = _of_cycle("largest occlusion", "fraction", "max φ", "largest occlusion ratio φ of a state")
WAVE_SPEED = _of_cycle(
    "wave speed",
    "speed",
    "c = -(2π/T)/(dα/dz)",
    "phase velocity of the first harmonic, with the phase α, of the lumen radius; positive along +Z",
)
CYCLE_DIFFERENCE = _of_cycle(
    "difference of cycles",
    "fraction",
    "max |V(t) - V(t - T)|/stroke volume",
    "how well the lumen volume repeats that of the cycle before",
)
PUMPED_VOLUME = _of_cycle(
    "pumped volume",
    "volume",
    "∮ q dt",
    "fluid that leaves the upper end of the lumen; negative if it is pumped down",
    _CHANNEL,
)
PUMPED_VOLUME_OF = _of_cycle(
    "pumped volume through <element>",
    "volume",
    "∮ q dt",
    "fluid that goes through an element of the circuit from its start to its end",
    _CIRCUIT,
)
MEAN_FLOW = _of_cycle("mean flow", "flow", "∮ q dt/T", "pumped volume over the period T", _CHANNEL)
MEAN_FLOW_OF = _of_cycle(
    "mean flow through <element>", "flow", "∮ q dt/T", "the same of an element of the circuit", _CIRCUIT
)
BOLUS = _of_cycle(
    "carried bolus",
    "volume",
    "∮ ∫ A min(1, ⟨2 - c A/q⟩) dz dt/T",
    "mean volume of fluid that goes along with the wave of the speed c, in all boluses in the lumen; the "
    "formula is that of a Newtonian fluid in a round lumen; around a cylinder the bolus is between two "
    "surfaces from the flow in an annulus, of a Newtonian fluid only",
    _CHANNEL,
)
STROKE_WORK = _of_cycle(
    "stroke work",
    "energy",
    "W = -∮ P dV",
    "work of the wall on the fluid; of a lumen with one pressure the area of its pressure-volume loop",
    _LUMEN,
)
CYCLE_VISCOUS_LOSS = _of_cycle(
    "viscous loss a cycle", "energy", "D = ∮ Σ q Δp dt", "energy lost along the lumen", _CHANNEL
)
HYDRAULIC_WORK = _of_cycle(
    "hydraulic work",
    "energy",
    "∮ p dV_out",
    "that the fluid gives to what is outside through the ends of the lumen, or to the circuit",
    _LUMEN,
)
CYCLE_ELECTRICAL_ENERGY = _of_cycle(
    "electrical energy a cycle",
    "energy",
    "E",
    "electrical energy that the sources give, less what they take back: ∮ V_s i dt of each electrode with a "
    "feed, ∮ V dQ of each other one",
    _ELECTRIC,
)
RECOVERED_ENERGY = _of_cycle(
    "energy recovered a cycle",
    "energy",
    "∮ ⟨-Σ V dQ⟩",
    "electrical energy that flows back from the part while all electrodes together give energy",
    _ELECTRIC,
)
CYCLE_RESISTIVE_LOSS = _of_cycle(
    "resistive loss a cycle", "energy", "L_R = ∮ Σ R i² dt", "energy lost in series resistances", _FEEDS
)
CYCLE_LEAK_LOSS = _of_cycle(
    "leak loss a cycle", "energy", "L_l = ∮ Σ V²/R_l dt", "energy lost by leakage", _FEEDS
)
EFFICIENCY = _of_cycle(
    "efficiency",
    "fraction",
    "W_h/(E - ΔU)",
    "hydraulic work over the electrical energy that is not stored in the part",
    _PUMP,
    True,
)
ENERGY_BALANCE = _of_cycle(
    "energy balance",
    "fraction",
    "|E - ΔU - W_h - D - L_R - L_l|/|E|",
    "electrical energy that is in no other entry, U being strain energy and stored electrical energy; small "
    "where the solution is accurate and other loads do no work",
    _PUMP,
    better=False,
)

CYCLE_QUANTITIES = tuple(value for value in list(globals().values()) if isinstance(value, Quantity))
"""All of them, in the order of tables."""
