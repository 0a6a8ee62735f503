# SPDX-License-Identifier: MIT
"""Critical points: located along a track between two states whose counts of unstable modes differ."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from petsc4py import PETSc

from annelid.solver.continuation.eigenmodes import SoftMode, softest_modes
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import Track
from annelid.solver.errors import NoEquilibrium

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
        modes: How many modes lose their stiffness there, as far as they can be told apart.
    """

    kind: str
    s: float
    mode: SoftMode
    convergence: Convergence
    solves: int
    x: PETSc.Vec
    λ: float
    modes: int = 1

    def make_present(self, track: Track) -> None:
        """Make the critical state the present one again, factorised."""
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

    def restore(self, track: Track) -> None:
        """Make the critical state the present one again, factorised, and the mark of ``track``."""
        self.make_present(track)
        track.system.x.copy(track.mark.x)
        track.mark.s, track.mark.λ, track.mark.loads = self.s, self.λ, track.loads()


@dataclass
class _Sample:
    s: float
    test: float
    x: PETSc.Vec
    λ: float


class Locator:
    """Root search for the critical points between the mark of a track and its present state."""

    def __init__(self, track: Track) -> None:
        self.track = track
        self.system = track.system
        self.newton = track.newton

    def locate(self, s: float, before: int, after: int) -> list[Critical]:
        """Find the critical points between the track's mark and the present state at ``s``, in that order.

        The i-th smallest stiffness passes zero where the i-th mode changes; where the load has an extreme on
        the way its slope, which is smoother, takes the place of one of them. On return the last point
        searched is the present state, factorised; the caller restores what it needs.

        Args:
            s: Position of the present, factorised state.
            before: Unstable modes at the mark.
            after: Unstable modes at the present state.

        Raises:
            NoEquilibrium: No state could be solved in between.
        """
        numbers = set(range(min(before, after), max(before, after)))
        end, λ = self.system.x.copy(), self._λ
        found = []
        if self._slope_changes():
            found = [self._find(s, self._load_slope, self.track.mark.rate, "limit point")]
            numbers.discard(self._softest_number())
        single = not found and len(numbers) == 1
        for number in sorted(numbers):
            self._go_to(end, λ, s)
            point = self._find(s, partial(self._stiffness, number), None, "bifurcation")
            # A step may pass so much of the curve that the load's slope hides an extreme.
            found.append(replace(point, kind="limit point") if single and self._extreme(point, λ) else point)
        return _merged(sorted(found, key=lambda critical: critical.s), abs(s - self.track.mark.s))

    def _extreme(self, point: Critical, end: float) -> bool:
        """Whether the load at a point lies beyond those at both ends."""
        return self.track.control is not None and (point.λ - self.track.mark.λ) * (point.λ - end) > 0

    def _find(self, s: float, test: Callable[[], float], at_mark: float | None, kind: str) -> Critical:
        """The zero of a test function between the mark and the present state."""
        mark = self.track.mark
        high = self._sample(s, test)
        low = self._at_mark(test) if at_mark is None else _Sample(mark.s, at_mark, mark.x, mark.λ)
        width, solves = high.s - low.s, 0
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
        assert mark.s <= sample.s <= s
        return Critical(kind, sample.s, self._critical_mode(), convergence, solves, sample.x, sample.λ)

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
        return self.track.asked.wanted / pivot

    def _stiffness(self, number: int) -> float:
        """The stiffness with so many smaller ones, at the present, factorised state.

        The inertia tells how many are negative, the eigensolver gives those nearest to zero.
        """
        negative = self.system.unstable_modes()
        values = np.array([mode.stiffness for mode in softest_modes(self.system)])
        if number < negative:
            below = np.sort(values[values < 0])[::-1]
            rank = negative - 1 - number
            return float(below[min(rank, len(below) - 1)]) if len(below) else -np.finfo(float).tiny
        above = np.sort(values[values >= 0])
        rank = number - negative
        return float(above[min(rank, len(above) - 1)]) if len(above) else np.finfo(float).tiny

    def _softest_number(self) -> int:
        """Number of the stiffness nearest to zero at the present, factorised state."""
        below = self._critical_mode().stiffness < 0
        return self.system.unstable_modes() - (1 if below else 0)

    @property
    def _λ(self) -> float:
        return self.track.control.λ if self.track.control is not None else 0.0

    def _sample(self, s: float, test: Callable[[], float]) -> _Sample:
        x = self.system.vector()
        self.system.x.copy(x)
        return _Sample(s, test(), x, self._λ)

    def _at_mark(self, test: Callable[[], float]) -> _Sample:
        mark = self.track.mark
        kept = self.system.x.copy()
        present, λ = self.track.loads(), self._λ
        self.track.go_back()
        self.system.assemble_residual()
        self.system.factorise()
        sample = _Sample(mark.s, test(), mark.x, mark.λ)
        kept.copy(self.system.x)
        if self.track.control is not None:
            self.track.control.λ = λ
        self.system.apply(present)
        return sample

    def _go_to(self, x: PETSc.Vec, λ: float, s: float) -> None:
        """Make a state of the track the present one, factorised."""
        track = self.track
        x.copy(self.system.x)
        if track.control is None:
            self.system.apply(track.motion.at(s))
        else:
            track.set_target(s)
            track.control.λ = λ
            self.system.apply(track.control.loads)
        self.system.assemble_residual()
        self.system.factorise()

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


def locate(track: Track, s: float, before: int, after: int) -> list[Critical]:
    """Locate the critical points between a track's mark and its present state; see ``Locator``."""
    try:
        return Locator(track).locate(s, before, after)
    except NoEquilibrium:
        track.newton.factorised = False
        raise


def _merged(points: list[Critical], width: float) -> list[Critical]:
    """Points nearer to each other than they are located, as one of several modes."""
    merged: list[Critical] = []
    for point in points:
        if merged and abs(point.s - merged[-1].s) < 2 * _ENOUGH * width:
            first = merged.pop()
            kind = "limit point" if "limit point" in (first.kind, point.kind) else first.kind
            point = replace(first, kind=kind, modes=first.modes + point.modes)
        merged.append(point)
    return merged
