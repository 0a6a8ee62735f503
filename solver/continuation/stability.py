# SPDX-License-Identifier: MIT
"""Unstable modes of states, and the critical points between two states whose modes differ."""

from dataclasses import dataclass

from annelid.solver.continuation.critical_points import Critical
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.stage_continuation import Track


@dataclass(frozen=True)
class Modes:
    """Unstable modes of a state: under given loads, and under the control in force."""

    given: int
    controlled: int

    def beyond(self, critical: Critical, end: "Modes") -> "Modes":
        """Modes behind a critical point on the way to a state that has those of ``end``.

        At a limit point the load that a control holds loses its hold on a mode, or gains it.
        """
        change = critical.modes if end.given > self.given else -critical.modes
        held = end.given - end.controlled - (self.given - self.controlled)
        return Modes(
            self.given + change,
            self.controlled + change - (held if critical.kind == "limit point" else 0),
        )


def count_modes(newton: Newton, track: Track | None = None) -> Modes:
    """Factorise the present state and count its unstable modes.

    Sylvester's law on the bordered matrix: a state that is stable while a condition is held has one
    negative pivot more than constraint unknowns. The border's pivot is -(h + fᵀK⁻¹f) for a conjugate
    pair (volume, charge) and -gᵀK⁻¹g for a held displacement or opening.

    Args:
        newton: At a converged state.
        track: The track whose control holds the state, if one does.

    Raises:
        NoEquilibrium: The factorisation failed.
    """
    newton.system.factorise()
    newton.factorised = True
    given = newton.system.unstable_modes()
    if track is None or track.control is None or track.is_arc:
        return Modes(given, given)
    if track.control.condition.conjugate:
        _, pivot = newton.border(track.control)
    else:
        pivot = newton.held_pivot(track.control)
    return Modes(given, given + (0 if pivot > 0 else -1))
