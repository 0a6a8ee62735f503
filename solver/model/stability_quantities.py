# SPDX-License-Identifier: MIT
"""Reported quantities of strain energy, stability, and the path of a bistable part."""

from annelid.solver.model.loads import LOAD_KINDS
from annelid.solver.model.quantity import Quantity

_ENERGY = "∫ det G [ψ + κ/2 (Je - 1)²] dX"

STRAIN_ENERGY = Quantity("strain energy", "energy", _ENERGY, "elastic energy of the whole part")
STABILITY_MARGIN_OF = Quantity(
    "stability margin <load>",
    "ratio",
    "critical load / load",
    f"multiple of a load ({', '.join(filter(None, (kind.margin for kind in LOAD_KINDS)))}, or all loads "
    "together; the others are constant) at which the next limit point or bifurcation after the last state "
    "under load is; below 1 if the path ended at such a point before it reached the requested load",
    larger_is_better=True,
)
STRAIN_ENERGY_OF = Quantity(
    "strain energy <part>", "energy", _ENERGY, "elastic energy of one of several parts"
)
UNSTABLE_MODES = Quantity(
    "unstable modes",
    "count",
    "negative pivots - constraint unknowns",
    "number of unstable modes under given loads; 0 for a stable state",
    larger_is_better=False,
)
UNSTABLE_MODES_CONTROLLED = Quantity(
    "unstable modes under control",
    "count",
    "the same with the border",
    "number of unstable modes while the controlled quantity (volume, charge, motion) is prescribed",
    larger_is_better=False,
)


def _of_path(name: str, kind: str, formula: str, meaning: str) -> Quantity:
    return Quantity(name, kind, formula, meaning, of_path=True)


_OPENS = "at which the part leaves the first stable branch of the path, as drawn, for another"
_CLOSES = (
    "at which the part leaves again, as the load goes back, the branch of the next stable state at zero "
    "load, or without one that on which the first snap ends; of the other sign if it must be pressed back"
)
STABLE_STATES = _of_path(
    "stable states at zero load",
    "count",
    "number of states with P = 0 and no unstable mode",
    "stable states without load that were found on the path of a single load; others may exist",
)
OPENING_PRESSURE = _of_path("opening pressure", "pressure", "P where dP/ds = 0", f"pressure {_OPENS}")
CLOSING_PRESSURE = _of_path("closing pressure", "pressure", "P where dP/ds = 0", f"pressure {_CLOSES}")
OPENING_FORCE = _of_path("opening force", "force", "F where dF/ds = 0", f"axial force {_OPENS}")
CLOSING_FORCE = _of_path("closing force", "force", "F where dF/ds = 0", f"axial force {_CLOSES}")
OPENING_VOLTAGE = _of_path("opening voltage", "voltage", "V where dV/ds = 0", f"voltage {_OPENS}")
CLOSING_VOLTAGE = _of_path("closing voltage", "voltage", "V where dV/ds = 0", f"voltage {_CLOSES}")
OPENING_SNAP_ENERGY = _of_path(
    "opening snap energy",
    "energy",
    "P ΔV - ΔU",
    "energy that the snap at the opening load releases while the load is constant; V is displaced volume, "
    "length or charge, U strain energy and electrical energy",
)
CLOSING_SNAP_ENERGY = _of_path(
    "closing snap energy", "energy", "P ΔV - ΔU", "the same of the snap at the closing load"
)
OPENING_BARRIER = _of_path(
    "opening barrier",
    "energy",
    "U_pass - U_first",
    "energy barrier from the first stable state at zero load to the next one: the unstable unloaded state "
    "between them on the path with the fewest unstable modes, of these the lowest",
)
CLOSING_BARRIER = _of_path("closing barrier", "energy", "U_pass - U_next", "the same on the way back")
