# SPDX-License-Identifier: MIT
"""Critical points: located along a track between two states whose counts of unstable modes differ."""

from collections.abc import Callable
from dataclasses import dataclass

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from petsc4py import PETSc

from solver.errors import NoEquilibrium
from solver.modes import SoftMode, softest_modes
from solver.newton import Convergence
from solver.track import Track

MOST_SOLVES = 8
_ENOUGH = 1e-4  # share of the step to which the point is located; a limit load is then known to about 1e-8


@dataclass(frozen=True)
class Critical:
    """A critical point.

    Attributes:
        kind: ``"limit point"`` (the load has an extreme there) or ``"bifurcation"``.
        s: Position on the track.
        mode: The mode without stiffness.
        convergence: Of the state there, which is the present state of the system, factorised.
        solves: States solved to find it.
        x: Unknowns there.
        λ: Multiplier there (0 under load control).
    """

    kind: str
    s: float
    mode: SoftMode
    convergence: Convergence
    solves: int
    x: PETSc.Vec
    λ: float

    def restore(self, track: Track) -> None:
        """Make the critical state the present one again, factorised, and the mark of ``track``."""
        system = track.system
        self.x.copy(system.x)
        if track.control is None:
            system.apply(track.motion.at(self.s))
        else:
            track.set_target(self.s)
            track.control.λ = self.λ
            system.apply(track.control.loads)
        system.assemble_residual()
        system.factorise()
        track.newton.factorised = True
        system.x.copy(track.mark.x)
        track.mark.s, track.mark.λ, track.mark.loads = self.s, self.λ, track.loads()


@dataclass
class _Sample:
    s: float
    test: float
    x: PETSc.Vec
    λ: float


class Locator:
    """Root search for a critical point between the mark of a track and its present state."""

    def __init__(self, track: Track) -> None:
        self.track = track
        self.system = track.system
        self.newton = track.newton

    def locate(self, s: float) -> Critical:
        """Find the first critical point between the track's mark and the present state at ``s``.

        On return the critical state is the present one, factorised; the caller restores what it needs.

        Raises:
            NoEquilibrium: No state could be solved in between.
        """
        track = self.track
        folds = self._slope_changes()
        test = self._load_slope if folds else self._lowest_stiffness
        high = self._sample(s, test)
        end = high.λ
        low = self._at_mark(test)
        convergence = Convergence(0, 0.0)
        width = high.s - low.s
        solves = 0
        while solves < MOST_SOLVES:
            solves += 1
            trial = self._between(low, high)
            convergence = self._solve(trial, low, high)
            sample = self._sample(trial, test)
            if np.sign(sample.test) == np.sign(low.test):
                low = sample
                high.test /= 2  # Illinois: no end may stand still
            else:
                high = sample
                low.test /= 2
            if abs(high.s - low.s) < _ENOUGH * abs(width) or self._close(sample, low, high, width):
                break
        mode = self._critical_mode()
        # The load has an extreme at a limit point; a step may pass so much of the curve that dλ/ds hides it.
        extreme = (sample.λ - track.mark.λ) * (sample.λ - end) > 0
        kind = "limit point" if folds or extreme else "bifurcation"
        assert track.mark.s <= sample.s <= s
        return Critical(kind, sample.s, mode, convergence, solves, sample.x, sample.λ)

    def _close(self, sample: _Sample, low: _Sample, high: _Sample, width: float) -> bool:
        """Whether the next trial would move by less than the tolerance."""
        return abs(self._between(low, high) - sample.s) < _ENOUGH * abs(width)

    def _slope_changes(self) -> bool:
        """Whether dλ/ds changes its sign between the mark and the present state."""
        if self.track.control is None:
            return False
        here = self._load_slope()
        return here * self.track.mark.rate < 0

    def _load_slope(self) -> float:
        """Sign and size of dλ/ds at the present, factorised state."""
        assert self.track.control is not None
        if self.track.is_arc:
            return self.track.slope_now()
        _, pivot = self.newton.border(self.track.control)
        return self.track.wanted / pivot

    def _lowest_stiffness(self) -> float:
        return softest_modes(self.system)[0].stiffness

    def _sample(self, s: float, test: Callable[[], float]) -> _Sample:
        control = self.track.control
        x = self.system.vector()
        self.system.x.copy(x)
        return _Sample(s, test(), x, control.λ if control is not None else 0.0)

    def _at_mark(self, test: Callable[[], float]) -> _Sample:
        mark = self.track.mark
        if test == self._load_slope:
            return _Sample(mark.s, mark.rate, mark.x, mark.λ)
        kept = self.system.vector()
        self.system.x.copy(kept)
        present, λ = self.track.loads(), self.track.control.λ if self.track.control else 0.0
        self.track.go_back()
        self.system.assemble_residual()
        self.system.factorise()
        sample = _Sample(mark.s, test(), mark.x, mark.λ)
        kept.copy(self.system.x)
        if self.track.control is not None:
            self.track.control.λ = λ
        self.system.apply(present)
        return sample

    @staticmethod
    def _between(low: _Sample, high: _Sample) -> float:
        share = low.test / (low.test - high.test)
        return low.s + float(np.clip(share, 0.02, 0.98)) * (high.s - low.s)

    def _solve(self, s: float, low: _Sample, high: _Sample) -> Convergence:
        """State at ``s`` from the chord between two samples."""
        share = (s - low.s) / (high.s - low.s)
        x = self.system.x
        low.x.copy(x)
        x.scale(1 - share)
        x.axpy(share, high.x)
        control = self.track.control
        self.newton.factorised = False
        if control is None:
            convergence = self.newton.solve(self.track.motion.at(s))
        else:
            self.track.set_target(s)
            control.λ = (1 - share) * low.λ + share * high.λ
            convergence = self.newton.solve(control.loads, control)
        self.system.factorise()
        self.newton.factorised = True
        return convergence

    def _critical_mode(self) -> SoftMode:
        """The mode of smallest stiffness in size at the present state."""
        return min(softest_modes(self.system), key=lambda mode: abs(mode.stiffness))


def locate(track: Track, s: float) -> Critical:
    """Locate the first critical point between a track's mark and its present state; see ``Locator``."""
    try:
        return Locator(track).locate(s)
    except NoEquilibrium:
        track.newton.factorised = False
        raise
