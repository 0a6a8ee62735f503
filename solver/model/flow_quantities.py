# SPDX-License-Identifier: MIT
"""Reported quantities of a fluid in the lumen, of a circuit and of the feeds of electrodes."""

from annelid.solver.model.quantity import Quantity

_SINCE = "since the first stage with control = 'flow' began"
_CHANNEL, _CIRCUIT, _FEEDS = ("channel",), ("circuit",), ("feeds",)

NODE_PRESSURE_OF = Quantity(
    "pressure at <node>", "pressure", "p", "pressure at a node of the circuit", _CIRCUIT
)
ELEMENT_FLOW_OF = Quantity(
    "flow through <element>",
    "flow",
    "q",
    "flow of an element of the circuit from its start to its end, or of a source into its node",
    _CIRCUIT,
)
HIGHEST_PRESSURE = Quantity(
    "highest lumen pressure", "pressure", "max p", "highest pressure of the fluid along the lumen", _CHANNEL
)
LOWEST_PRESSURE = Quantity(
    "lowest lumen pressure", "pressure", "min p", "lowest pressure of the fluid along the lumen", _CHANNEL
)
LOWER_OUTFLOW = Quantity(
    "outflow at the lower end", "flow", "-q", "flow of the fluid out of the lower end of the lumen", _CHANNEL
)
UPPER_OUTFLOW = Quantity(
    "outflow at the upper end", "flow", "q", "flow of the fluid out of the upper end of the lumen", _CHANNEL
)
LOWER_VOLUME = Quantity(
    "volume out of the lower end", "volume", "-∫ q dt", f"fluid that left the lumen there {_SINCE}", _CHANNEL
)
UPPER_VOLUME = Quantity(
    "volume out of the upper end", "volume", "∫ q dt", f"fluid that left the lumen there {_SINCE}", _CHANNEL
)
ELEMENT_VOLUME_OF = Quantity(
    "volume through <element>",
    "volume",
    "∫ q dt",
    f"fluid that went through an element of the circuit {_SINCE}",
    _CIRCUIT,
)
LOWER_WORK = Quantity(
    "work at the lower end",
    "energy",
    "-∫ p q dt",
    f"that the fluid took out of the lumen there {_SINCE}",
    _CHANNEL,
)
UPPER_WORK = Quantity(
    "work at the upper end",
    "energy",
    "∫ p q dt",
    f"that the fluid took out of the lumen there {_SINCE}",
    _CHANNEL,
)
REYNOLDS = Quantity(
    "Reynolds number",
    "ratio",
    "max ρ v D/η",
    "largest Reynolds number along the lumen; of Metzner and Reed with a power law",
    _CHANNEL,
)
REDUCED_REYNOLDS = Quantity(
    "Reynolds number times slope",
    "ratio",
    "max Re |dr/dz|",
    "inertia over viscous forces; the theory of the flow needs it below about 1",
    _CHANNEL,
)
WOMERSLEY = Quantity(
    "Womersley number",
    "ratio",
    "r √(ω ρ/η)",
    "for the period of the loads; below about 1 in the theory",
    _CHANNEL,
)
WALL_SLOPE = Quantity(
    "wall slope", "ratio", "max |dr/dz|", "largest slope of the wall along the lumen", _CHANNEL
)
ELECTRICAL_INPUT = Quantity(
    "electrical energy put in", "energy", "∫ Σ V dQ", f"into the part {_SINCE}", ("electrodes", "flow")
)
FLUID_WORK = Quantity(
    "work on the fluid",
    "energy",
    "-∫ P dV",
    f"of the wall on the fluid in the lumen {_SINCE}",
    ("lumen_flow",),
)
VISCOUS_LOSS = Quantity("viscous loss", "energy", "∫ Σ q Δp dt", f"lost along the lumen {_SINCE}", _CHANNEL)
CIRCUIT_LOSS = Quantity(
    "loss in the circuit", "energy", "∫ Σ q Δp dt", f"lost in resistances and valves {_SINCE}", _CIRCUIT
)
SOURCE_ENERGY = Quantity(
    "energy of the sources",
    "energy",
    "∫ Σ V_s i dt",
    f"given by the voltage sources of the feeds {_SINCE}",
    _FEEDS,
)
RESISTIVE_LOSS = Quantity(
    "resistive loss", "energy", "∫ Σ R i² dt", f"lost in the series resistances of the feeds {_SINCE}", _FEEDS
)
LEAK_LOSS = Quantity(
    "leak loss", "energy", "∫ Σ V²/R_l dt", f"lost by leakage through the dielectric {_SINCE}", _FEEDS
)
CURRENT_OF = Quantity(
    "current <fed>", "current", "(V_s - V)/R", "current of the source of an electrode that is fed", _FEEDS
)

SUMS = (
    LOWER_VOLUME,
    UPPER_VOLUME,
    ELEMENT_VOLUME_OF,
    ELECTRICAL_INPUT,
    FLUID_WORK,
    VISCOUS_LOSS,
    LOWER_WORK,
    UPPER_WORK,
    CIRCUIT_LOSS,
    SOURCE_ENERGY,
    RESISTIVE_LOSS,
    LEAK_LOSS,
)
"""Those that add up over time."""

FLOW_QUANTITIES = tuple(value for value in list(globals().values()) if isinstance(value, Quantity))
"""All of them, in the order of tables."""
