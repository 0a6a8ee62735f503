# SPDX-License-Identifier: MIT
"""How the loads change along one parameter from 0 to 1 within a stage."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from annelid.solver.model.loads import LOAD_KINDS, Loads
from annelid.solver.model.stages import Stage


@dataclass(frozen=True)
class Ramp:
    """Loads as functions of the parameter s of one stage, linear from ``start`` to ``end``.

    Attributes:
        start: Loads at s = 0.
        end: Loads at s = 1.
    """

    start: Loads
    end: Loads

    def at(self, s: float) -> Loads:
        """Loads at s."""
        return self._mapped(lambda a, b: (1 - s) * a + s * b)  # exact at both ends

    @property
    def rate(self) -> Loads:
        """Derivative of the loads by s."""
        return self._mapped(lambda a, b: b - a)

    def _mapped(self, combine: Callable[[float, float], float]) -> Loads:
        """Loads whose every entry is combined from those at both ends."""
        values: dict[str, object] = {"natural": combine(self.start.natural, self.end.natural)}
        for kind in LOAD_KINDS:
            before = self.start.entries(kind)
            entries = {
                name: combine(before.get(name, 0.0), value) for name, value in self.end.entries(kind).items()
            }
            values[kind.attribute] = entries if kind.acts_on else entries[""]
        return replace(self.end, **values)  # type: ignore[arg-type]


def ramp_of(stage: Stage, present: Loads) -> Ramp:
    """Loads of a stage that starts from the present ones."""
    return Ramp(present, replace(stage.reached_from(present), natural=1.0))
