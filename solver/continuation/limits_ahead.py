# SPDX-License-Identifier: MIT
"""Limits of materials and of the model that a growing load passes before stability is lost."""

import math
from contextlib import suppress
from functools import partial

from annelid.solver.continuation.level_search import LevelSample, search_level
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.display import DisplayUnits
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.limits_of_use import LIMITS_OF_USE
from annelid.solver.model.loads import describe
from annelid.solver.readout.evaluation import Evaluation
from annelid.solver.records import LimitAhead

_TOLERANCE = 1e-3  # of the limit
_NARROW = 1e-2  # of a step, to which a jump is located


class LimitsAhead:
    """Watches the states of a search along one load, and locates the limits that they pass.

    Attributes:
        found: The limits passed so far, in the order of the load.

    Args:
        evaluation: Reads the states; the fields of the working point have been read.
        units: For the loads in sentences.
    """

    def __init__(self, evaluation: Evaluation, units: DisplayUnits) -> None:
        self._evaluation = evaluation
        self._units = units
        self._levels = self._read()
        now = self._loads()
        passed = [kind for kind, level in self._levels.items() if level >= 0]
        self.found = [LimitAhead(kind, 1.0, now, already=True) for kind in passed]

    def observe(self, arc: StageContinuation, s: float) -> None:
        """Locate the limits between the last accepted and the present state; collective.

        The present state stays as it is.

        Args:
            arc: The search: the growing load, or an arc.
            s: Position of the present, factorised state, whose fields have been read.
        """
        before, self._levels = self._levels, self._read()
        known = {limit.kind for limit in self.found}
        passed = [kind for kind, level in self._levels.items() if level >= 0 and kind not in known]
        if not passed:
            return
        present, none = arc.system.snapshot(), Convergence(0, 0.0)
        located = []
        for kind in passed:
            low = LevelSample(arc.last.s, before[kind], arc.last.state, none)
            high = LevelSample(s, self._levels[kind], present, none)
            with suppress(NoEquilibrium):  # the limit is known to be passed at the present state
                low, high = search_level(arc, low, high, partial(self._level, kind), _TOLERANCE, _NARROW)
            nearest = high if abs(high.level) <= abs(low.level) else low
            arc.system.restore(nearest.state)
            located.append(LimitAhead(kind, arc.parameter_at(nearest.s), self._loads()))
        self.found += sorted(located, key=lambda limit: limit.value)
        arc.system.restore(present, factorise=True)
        arc.read_fields()

    def _read(self) -> dict[str, float]:
        """How far the present state is beyond each limit, over the limit; infinite for one with jumps."""
        values = self._evaluation.quantities([limit.quantity for limit in LIMITS_OF_USE.values()])
        levels = {
            kind: limit.beyond(values[limit.quantity]) / limit.limit
            for kind, limit in LIMITS_OF_USE.items()
            if limit.quantity in values
        }
        if "wrinkling" in levels:  # nodes begin to be compressed one by one
            levels["wrinkling"] = math.copysign(math.inf, levels["wrinkling"])
        return levels

    def _level(self, kind: str) -> float:
        return self._read()[kind]

    def _loads(self) -> str:
        return describe(self._evaluation.system.loads, self._units)
