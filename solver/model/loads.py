# SPDX-License-Identifier: MIT
"""Loads on a model at one moment."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Loads:
    """Loads on a model at one moment.

    Attributes:
        pressure: Lumen pressure P, MPa.
        voltages: kV by electrode.
        forces: Axial force along +Z by surface, N, on the whole part.
        displacements: Axial motion of a support, mm.
        obstacles: Position of obstacles by contact name, mm.
        natural: Share of the natural stretch in force, 0 to 1.
    """

    pressure: float = 0.0
    voltages: Mapping[str, float] = field(default_factory=dict)
    forces: Mapping[str, float] = field(default_factory=dict)
    displacements: Mapping[str, float] = field(default_factory=dict)
    obstacles: Mapping[str, float] = field(default_factory=dict)
    natural: float = 1.0

    @property
    def is_still(self) -> bool:
        """Whether every entry is zero (of loads taken as a rate)."""
        maps = (self.voltages, self.forces, self.displacements, self.obstacles)
        return not (self.pressure or self.natural or any(v for m in maps for v in m.values()))


def describe(loads: Loads) -> str:
    """Loads in words, those that are zero left out."""
    words = [f"pressure {loads.pressure * 1e3:.5g} kPa"] if loads.pressure else []
    words += [f"voltage {n} {v:.5g} kV" for n, v in loads.voltages.items() if v]
    words += [f"axial force {n} {v:.5g} N" for n, v in loads.forces.items() if v]
    words += [f"displacement {n} {v:.5g} mm" for n, v in loads.displacements.items() if v]
    words += [f"obstacle {n} {v:.5g} mm" for n, v in loads.obstacles.items()]
    return ", ".join(words) or "no load"
