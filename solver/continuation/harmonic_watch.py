# SPDX-License-Identifier: MIT
"""Which states of a path are judged against waves around the axis, and their unstable harmonics."""

import math
from collections.abc import Container, Iterable, Mapping

import numpy as np

from annelid.solver.errors import NoEquilibrium
from annelid.solver.harmonics.amplitudes import why_not
from annelid.solver.harmonics.stability import HarmonicStability
from annelid.solver.harmonics.survey import Survey
from annelid.solver.model.harmonic_words import NOT_JUDGED
from annelid.solver.model.stepping import ALL_STATES, MOST_HELD, NO_STATE
from annelid.solver.readout.evaluation import Evaluation

_STRESS = "least in-plane stress"
_BEGINS = 1e-4  # of the shear modulus: compression below this is round-off
_GROWN = 10.0  # times the compression of the state judged last


class HarmonicWatch:
    """Judges states of an axisymmetric model against m = 1, 2, ... waves around the axis.

    By default these are ends of stages, critical points, states where the wall begins to be compressed or
    its compression has grown tenfold since the last one, and one in ``MOST_HELD``. Where a path goes on with
    unstable harmonics, these and their neighbours are counted in every state. Forms are compiled with the
    first state that is judged.

    Attributes:
        acts: Whether states are judged.
        last: Largest number of waves judged so far.

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
        self.last, self._judged, self._may_twist, self._failed = 0, 0, 0, set[int]()

    @property
    def harmonics(self) -> HarmonicStability:
        """Judges the present state."""
        if self._harmonics is None:
            self._harmonics = HarmonicStability(self._evaluation.system)
        return self._harmonics

    def is_due(self, *, important: bool, held: int) -> bool:
        """Whether the present state, whose fields have been read, is to be judged; collective.

        Args:
            important: Whether it is the end of a stage or a critical point.
            held: States since the last one that was judged.
        """
        compression = self._compressed()
        grown = compression > max(_BEGINS, _GROWN * self._compression)
        due = self._every or important or grown or held >= MOST_HELD
        if due:
            self._compression = compression
        return due

    def unstable(self, *, first_only: bool = False) -> Mapping[int, int]:
        """Numbers of unstable modes of the present state, whose fields have been read, by m; collective.

        Args:
            first_only: Whether some unstable harmonics are enough, if there are any.
        """
        fields = self._evaluation.fields
        last = self.harmonics.most_needed(None if fields is None else fields[_STRESS])
        self.last, self._judged = max(self.last, last), self._judged + 1
        self._may_twist += not self.harmonics.resists_torsion()
        return self._survey(last, first_only=first_only)

    def others(self, known: Container[int]) -> Mapping[int, int]:
        """Some of the unstable harmonics of a state on the way to one that was judged; collective.

        Args:
            known: Harmonics that are left out.
        """
        return self._survey(self.last, known, first_only=True)

    def still(self, unstable: Iterable[int]) -> dict[int, int]:
        """Those of some harmonics and their neighbours that are unstable at the present state; collective.

        Of slack walls none beyond the last one judged: the finest waves are their folds.
        """
        last = self.last if self._problem.model.folding else math.inf
        near = {n for m in unstable for n in (m - 1, m, m + 1) if 0 < n <= max(m, last)}
        return {m: count for m in sorted(near) if (count := self.count(m))}

    def count(self, m: int) -> int:
        """Number of unstable modes of the present state with m waves, 0 if it is not known; collective."""
        try:
            return self.harmonics.count(m)
        except NoEquilibrium:
            self._failed.add(m)
            return 0

    def _survey(self, last: int, known: Container[int] = (), *, first_only: bool) -> Mapping[int, int]:
        survey = Survey(self.harmonics.count, self.harmonics.count_around, known)
        survey.judge(last, first_only=first_only)
        self._failed.update(survey.failed)
        return survey.unstable

    def remarks(self) -> list[str]:
        """What was judged, or why nothing was."""
        if self._why_not:
            return [f"{NOT_JUDGED}: {self._why_not}"]
        if not self._judged:
            return []
        text = (
            f"stability around the axis was judged in {_states(self._judged)}, against every number of waves "
        )
        text += f"from 1 to {self.last}"
        failed = ", ".join(map(str, sorted(self._failed)))
        remarks = [f"{text}; the factorisation failed for {failed}" if failed else text]
        if self._may_twist:
            remarks.append(
                f"torsion was not judged in {_states(self._may_twist)}, where a part is compressed so far "
                "that it may turn about its axis by itself: judge a 3-D model"
            )
        return remarks

    def _compressed(self) -> float:
        """Largest compression in the plane of a wall over its shear modulus."""
        largest, fields, model = 0.0, self._evaluation.fields, self._problem.model
        if fields is not None:
            for part in model.parts:
                if part.region in model.walls:
                    least = fields[_STRESS][model.body.regions[part.region]]
                    largest = max(largest, -float(np.min(least)) / part.material.initial_shear_modulus())
        return float(self._problem.comm.bcast(largest))


def _states(number: int) -> str:
    return "1 state" if number == 1 else f"{number} states"
