# SPDX-License-Identifier: MIT
"""The states of a path until they are passed on, and the end of a path found meanwhile."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import NamedTuple

from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.continuation.harmonic_turns import Passed
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.continuation.unstable_modes import UnstableModes
from annelid.solver.model.quantities import UNSTABLE_MODES, UNSTABLE_MODES_CONTROLLED
from annelid.solver.records import Equilibrium, Measure, Outcome

Observer = Callable[[Equilibrium], None]


class Checkpoint(NamedTuple):
    """A state of a path with what solves it again on another mesh.

    Attributes:
        stage: Name of the stage.
        parameter: Stage parameter.
        critical: Kind of the critical point that it is, "" if it is none.
        state: Unknowns, loads and multiplier.
        continuation: The stage; ``None`` of the first state.
        s: Position along the stage.
    """

    stage: str
    parameter: float
    critical: str
    state: Snapshot
    continuation: StageContinuation | None
    s: float


class PathEnded(Exception):
    """A path ends at a state that is found to be unstable only after it was passed.

    Attributes:
        outcome: How it ended.
    """

    def __init__(self, outcome: Outcome) -> None:
        super().__init__(outcome.text)
        self.outcome = outcome


class HeldState(NamedTuple):
    """A state that is passed on once it is known that no harmonic was unstable before.

    Attributes:
        passed: Where the path passed it.
        state: As a record, on the first rank.
        stage: Its stage.
        parameter: Its stage parameter.
        modes: Its unstable axisymmetric modes.
        remarks: How many remarks there were before.
        unstable: Numbers of its unstable modes with waves around the axis, by m, as far as they are known.
    """

    passed: Passed
    state: Equilibrium | None
    stage: str
    parameter: float
    modes: UnstableModes
    remarks: int
    unstable: Mapping[int, int]


def with_modes(state: Equilibrium, harmonics: int) -> Equilibrium:
    """Return a state with further unstable modes, which no control holds."""
    if not harmonics:
        return state
    given, controlled = state.unstable_modes + harmonics, state.unstable_modes_controlled + harmonics
    numbers = {UNSTABLE_MODES.name: given, UNSTABLE_MODES_CONTROLLED.name: controlled}
    changed = {name: Measure(float(n), state.quantities[name].unit) for name, n in numbers.items()}
    quantities = {**state.quantities, **changed}
    return replace(state, unstable_modes=given, unstable_modes_controlled=controlled, quantities=quantities)
