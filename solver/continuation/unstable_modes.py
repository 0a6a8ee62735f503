# SPDX-License-Identifier: MIT
"""Numbers of unstable modes of a state, from the inertia of its tangent."""

from dataclasses import dataclass

from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.stage_continuation import StageContinuation


@dataclass(frozen=True)
class UnstableModes:
    """Unstable modes of a state: under given loads, and under the control in force."""

    given: int
    controlled: int

    def beyond(self, kind: str, count: int, end: "UnstableModes") -> "UnstableModes":
        """Modes beyond a critical point on the way to a state that has those of ``end``.

        At a limit point the load that a control finds no longer stabilises a mode, or stabilises it again.

        Args:
            kind: ``"limit point"`` or ``"bifurcation"``.
            count: How many modes lose their stiffness there.
            end: Modes at the end of the way.
        """
        change = count if end.given > self.given else -count
        stabilised = end.given - end.controlled - (self.given - self.controlled)
        return UnstableModes(
            self.given + change,
            self.controlled + change - (stabilised if kind == "limit point" else 0),
        )


def count_modes(newton: Newton, continuation: StageContinuation | None = None) -> UnstableModes:
    """Factorise the present state and count its unstable modes.

    Args:
        newton: At a converged state.
        continuation: The stage whose control holds the state, if one does.

    Raises:
        NoEquilibrium: The factorisation failed.
    """
    newton.system.factorise()
    given = newton.system.unstable_modes()
    return UnstableModes(given, given - (0 if continuation is None else continuation.held_modes()))
