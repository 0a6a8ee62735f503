# SPDX-License-Identifier: MIT
"""How the loads move along one parameter from 0 to 1 within a stage."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from annelid.solver.model.loads import Loads
from annelid.solver.model.stages import Stage


@dataclass(frozen=True)
class Motion:
    """Loads as functions of the parameter s of one stage, linear from ``start`` to ``end``.

    Attributes:
        start: Loads at s = 0.
        end: Loads at s = 1.
    """

    start: Loads
    end: Loads

    def at(self, s: float) -> Loads:
        """Loads at s."""
        return Loads(
            pressure=_mix(self.start.pressure, self.end.pressure, s),
            voltages=_mix_all(self.start.voltages, self.end.voltages, s),
            forces=_mix_all(self.start.forces, self.end.forces, s),
            displacements=_mix_all(self.start.displacements, self.end.displacements, s),
            obstacles=_mix_all(self.start.obstacles, self.end.obstacles, s),
            natural=_mix(self.start.natural, self.end.natural, s),
        )

    @property
    def rate(self) -> Loads:
        """Derivative of the loads by s."""
        a, b = self.start, self.end
        return Loads(
            pressure=b.pressure - a.pressure,
            voltages={k: v - a.voltages.get(k, 0.0) for k, v in b.voltages.items()},
            forces={k: v - a.forces.get(k, 0.0) for k, v in b.forces.items()},
            displacements={k: v - a.displacements.get(k, 0.0) for k, v in b.displacements.items()},
            obstacles={k: v - a.obstacles[k] for k, v in b.obstacles.items()},
            natural=b.natural - a.natural,
        )


def motion_of(stage: Stage, present: Loads) -> Motion:
    """Loads of a stage that starts from the present ones."""
    end = replace(
        present,
        pressure=present.pressure if stage.pressure is None else stage.pressure,
        voltages={**present.voltages, **stage.voltages},
        forces={**present.forces, **stage.forces},
        displacements={**present.displacements, **stage.displacements},
        obstacles={**present.obstacles, **stage.obstacles},
        natural=1.0,
    )
    return Motion(present, end)


def _mix(a: float, b: float, s: float) -> float:
    return (1 - s) * a + s * b  # exact at both ends


def _mix_all(a: Mapping[str, float], b: Mapping[str, float], s: float) -> dict[str, float]:
    return {k: _mix(a.get(k, 0.0), v, s) for k, v in b.items()}
