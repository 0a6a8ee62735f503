# SPDX-License-Identifier: MIT
"""Which states of a path are judged against waves around the axis, and their unstable harmonics."""

import math
from collections.abc import Iterable, Mapping

import numpy as np

from annelid.solver.errors import NoEquilibrium
from annelid.solver.harmonics.amplitudes import why_not
from annelid.solver.harmonics.last_harmonic import LEAST, harmonics_to
from annelid.solver.harmonics.stability import HarmonicStability
from annelid.solver.model.stepping import ALL_STATES, MOST_HELD, NO_STATE
from annelid.solver.readout.evaluation import Evaluation

_STRESS = "least in-plane stress"
_BEGINS = 1e-4  # of the shear modulus: compression below this is round-off
_GROWN = 10.0  # times the compression of the state judged last


class HarmonicWatch:
    """Judges states of an axisymmetric model against m = 1, 2, ... waves around the axis.

    By default these are ends of stages, critical points, states where the wall begins to be compressed or
    its compression has grown tenfold since the last one, and one in ``MOST_HELD``; where a path goes on with
    an unstable harmonic every state, until it is stable. Forms are compiled with the first state that is
    judged.

    Attributes:
        acts: Whether states are judged.

    Args:
        evaluation: Reads the states.
        which: ``"none"``, ``"stage ends"`` or ``"all"``, as in ``Stepping``.
    """

    def __init__(self, evaluation: Evaluation, which: str) -> None:
        self._evaluation = evaluation
        self._problem = evaluation.problem
        self._every = which == ALL_STATES
        asked = which != NO_STATE and self._problem.model.axisymmetric
        self._why_not = why_not(self._problem.model) if asked else ""
        self.acts = asked and not self._why_not
        self._harmonics: HarmonicStability | None = None
        self._compression = 0.0
        self._judged, self._last, self._failed = 0, 0, set[int]()

    @property
    def harmonics(self) -> HarmonicStability:
        """Judges the present state."""
        if self._harmonics is None:
            self._harmonics = HarmonicStability(self._evaluation.system)
        return self._harmonics

    def is_due(self, *, important: bool, held: int) -> bool:
        """Whether the present state, whose fields have been read, is to be judged; collective.

        Args:
            important: Whether it is the end of a stage, a critical point, or follows an unstable state.
            held: States since the last one that was judged.
        """
        compression = self._compressed()
        grown = compression > max(_BEGINS, _GROWN * self._compression)
        due = self._every or important or grown or held >= MOST_HELD
        if due:
            self._compression = compression
        return due

    def unstable(self) -> Mapping[int, int]:
        """Numbers of unstable modes of the present state, whose fields have been read, by m; collective."""
        fields = self._evaluation.fields
        last = self.harmonics.most_needed(None if fields is None else fields[_STRESS])
        self._judged, self._last = self._judged + 1, max(self._last, last)
        return self.counts(harmonics_to(last))

    def counts(self, harmonics: Iterable[int]) -> dict[int, int]:
        """Numbers of unstable modes of the present state for some m, where there are any; collective.

        Of slack walls only those up to the last one of the states judged: the finest waves are their folds.
        """
        found = {}
        last = max(self._last, LEAST) if self._problem.model.folding else math.inf
        for m in harmonics:
            if m > last:
                continue
            try:
                found[m] = self.harmonics.count(m)
            except NoEquilibrium:
                self._failed.add(m)
        return {m: count for m, count in found.items() if count}

    def remarks(self) -> list[str]:
        """What was judged, or why nothing was."""
        if self._why_not:
            return [f"stability around the axis was not judged: {self._why_not}"]
        if not self._judged:
            return []
        states = "1 state" if self._judged == 1 else f"{self._judged} states"
        text = f"stability around the axis was judged in {states}, against 1 to {self._last} waves"
        failed = ", ".join(map(str, sorted(self._failed)))
        return [f"{text}; the factorisation failed for {failed}" if failed else text]

    def _compressed(self) -> float:
        """Largest compression in the plane of a wall over its shear modulus."""
        largest, fields, model = 0.0, self._evaluation.fields, self._problem.model
        if fields is not None:
            for part in model.parts:
                if part.region in model.walls:
                    least = fields[_STRESS][model.body.regions[part.region]]
                    largest = max(largest, -float(np.min(least)) / part.material.initial_shear_modulus())
        return float(self._problem.comm.bcast(largest))
