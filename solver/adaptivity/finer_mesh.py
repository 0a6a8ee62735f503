# SPDX-License-Identifier: MIT
"""States of a path solved again on a finer mesh, and what each row of elements changes in them."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc

from annelid.geometry.body import Body, FloatArray
from annelid.solver.adaptivity.prolongation import Prolongation
from annelid.solver.adaptivity.row_shares import RowShares
from annelid.solver.assembly.system import Snapshot, System
from annelid.solver.continuation.conditions import Condition
from annelid.solver.continuation.control import Control, LoadParameter
from annelid.solver.continuation.eigenmodes import lowest_eigenmodes
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.path import Path
from annelid.solver.continuation.reporter import Checkpoint
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.energy.problem import Problem
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.scales import scales_of
from annelid.solver.readout.evaluation import Evaluation, StateInfo

__all__ = ["FinerMesh", "Shares"]

_BUNDLES = 16  # of neighbouring rows whose effect is read together
_BACK = 1e-3  # of a stage: step back by which rates along it are found

Values = dict[str, float]


class Shares(NamedTuple):
    """What each row or column of elements adds.

    Attributes:
        energy: To the energy, shape (rows,); never negative.
        changes: To each quantity, shape (rows,).
    """

    energy: FloatArray
    changes: dict[str, FloatArray]


class FinerMesh:
    """A path's states on a mesh whose elements are pieces of those of the path, on one rank.

    Args:
        path: The path on the mesh to be judged.
        body: The same part with divided elements.
        pieces: Pieces of each element through the wall and along it, 1 or 2.
    """

    def __init__(self, path: Path, body: Body, pieces: tuple[int, int]) -> None:
        model = replace(path.problem.model, body=body)
        problem = Problem(model, comm=MPI.COMM_SELF)
        self.system = System(problem)
        self.newton = Newton(self.system, scales_of(model), path.newton.tolerance)
        # Whether walls touch was seen on the path.
        self.evaluation = Evaluation(self.system, self_crossing=True)
        self._prolongation = Prolongation(path.problem, problem, pieces)
        self._rows = RowShares(problem, pieces.index(max(pieces)))
        self._work = self.system.vector(), self.system.vector()
        self._control: Control | None = None
        self._end: tuple[StageContinuation, float] | None = None

    def carry(self, checkpoint: Checkpoint) -> None:
        """Make a state of the path the present one; the end of the stage before is the present state."""
        self._control = self._end = None
        state, continuation = checkpoint.state, checkpoint.continuation
        if continuation is not None and not continuation.is_arc:
            again = StageContinuation(self.newton, continuation.stage, continuation.ramp, self._read)
            if again.control is not None:
                again.set_target(checkpoint.s)
            self._control, self._end = again.control, (again, checkpoint.s)
        self._set(state)

    def _set(self, state: Snapshot) -> None:
        system = self.system
        system.x.array_w[:] = self._prolongation.carried(state.x.array_r)
        system.multiplier = state.multiplier
        system.apply(state.loads)
        system.forget_factor()

    def _read(self) -> None:
        """Read the fields of the present state, whatever they are."""
        self.evaluation.read_fields()

    def solve(self) -> None:
        """Solve the state that was carried.

        Raises:
            NoEquilibrium: There is none nearby.
        """
        system = self.system
        self.newton.solve(system.loads, self._control)
        system.read_x()
        self._read()

    def pass_on(self, checkpoint: Checkpoint) -> None:
        """Let later states be compared with the present one, as on a path."""
        info = StateInfo(0, checkpoint.stage, checkpoint.parameter, 0, 0.0, 0, 0, 0)
        self.evaluation.equilibrium(info)

    def values(self, names: Sequence[str]) -> Values:
        """Quantities of the present state, whose fields have been read."""
        return self.evaluation.quantities(names)

    def rates(self, names: Sequence[str]) -> Values:
        """Rates of quantities along the stage at the present, solved state, which is restored."""
        assert self._end is not None
        again, s = self._end
        here, state = self.values(names), self.system.snapshot()
        step = _BACK * again.length
        if self._control is not None:
            again.set_target(s - step)
            self.newton.solve(self._control.loads, self._control)
        else:
            self.newton.solve(again.ramp.at(s - step))
        self.system.read_x()
        self._read()
        before = self.values(names)
        self.system.restore(state)
        self.system.read_x()
        self._read()
        if self._control is not None:
            again.set_target(s)
        return {name: (here[name] - before[name]) / step for name in names}

    def shares(self, names: Sequence[str]) -> Shares:
        """What each row or column of the path's mesh changes in the state that was carried, if it is halved.

        These are the products of its residual with the dual solution of each quantity. They are found by one
        solve for each bundle of rows, which serves all quantities, also those that no form describes.
        """
        system = self.system
        system.read_x()
        self._read()
        base, carried = self.values(names), system.snapshot()
        residual = self._residual()
        correction, _ = self._correction(residual)
        energy = np.abs(self._rows.works(residual, correction))
        changes = {name: np.zeros(len(energy)) for name in names}
        for bundle in _bundles(energy) if names else ():
            dx, Δλ = self._correction(self._rows.of_rows(residual, bundle))
            system.x.array_w[:] = carried.x.array_r + dx
            system.multiplier = carried.multiplier + Δλ
            if self._control is not None:
                system.apply(self._control.loads)
            system.read_x()
            self._read()
            found, part = self.values(names), energy[bundle]
            part = part / part.sum() if part.sum() > 0 else np.full(len(bundle), 1 / len(bundle))
            for name in names:
                changes[name][bundle] = (found[name] - base[name]) * part
        system.restore(carried)
        return Shares(energy, changes)

    def _residual(self) -> FloatArray:
        """Residual of the present state, whose tangent is factorised."""
        self.system.assemble_residual()
        self.system.factorise()
        return self.system.reduced(self.system.residual).array_r.copy()

    def _correction(self, residual: FloatArray) -> tuple[FloatArray, float]:
        """First correction of unknowns and multiplier by a residual, with the tangent at hand."""
        rhs, dx = self._work
        rhs.array_w[:] = residual
        self.system.solve(rhs, dx)
        dx.scale(-1.0)
        Δλ = 0.0
        if self._control is not None:
            a, pivot = self.newton.border(self._control)
            Δλ = -self.newton.gradient_product(dx) / pivot
            dx.axpy(Δλ, a)
        return dx.array_r.copy(), Δλ

    def critical_shift(
        self, state: Snapshot, mode: PETSc.Vec, ramp: Ramp, s: float
    ) -> tuple[float, FloatArray]:
        """Change of the position of a limit point along a ramp of loads, and what each row adds to it.

        At a limit point the load does not change to first order along the path, so any state near it shows
        the critical load: the one with the same amplitude of the mode φ is solved. Rows add φᵀR/φᵀf to first
        order, with f = -∂R/∂s.

        Args:
            state: The critical state of the path.
            mode: Its mode.
            ramp: The loads.
            s: Their position.
        """
        self._control = None
        self._set(state)
        residual, rate = self._residual(), self.system.vector()
        own, _ = self._own_mode(mode)
        self.system.load_rate(ramp.rate_at(s), rate)
        works = self._rows.works(residual, own) / float(own @ rate.array_r)
        amplitude = _Amplitude(self.system, own)
        control = Control(amplitude, LoadParameter(ramp.at, ramp.rate_at(s)), amplitude.value())
        self.system.multiplier = s
        self.newton.solve(ramp.at(s), control)
        return self.system.multiplier - s, works

    def _own_mode(self, mode: PETSc.Vec) -> tuple[FloatArray, FloatArray]:
        """The soft mode here that is most like one of the path, and that mode as it was carried."""
        carried = self.system.vector()
        carried.array_w[:] = self._prolongation.carried(mode.array_r)
        self.system.zero_fixed(carried)
        image = self.system.vector()
        self.system.mass.product(carried, image)
        own = max(
            (found.vector for found in lowest_eigenmodes(self.system)),
            key=lambda v: abs(v.dot(image)) / v.norm(),
        )
        φ = own.array_r * (own.dot(image) / carried.dot(image))
        return φ, carried.array_r.copy()

    def mode_energy(self, state: Snapshot, mode: PETSc.Vec) -> FloatArray:
        """What each row adds to the energy of the error of a mode without stiffness, shape (rows,).

        Args:
            state: The critical state of the path.
            mode: Its mode.
        """
        self._control = None
        self._set(state)
        self._residual()
        own, carried = self._own_mode(mode)
        φ, defect = self._work
        φ.array_w[:] = carried
        self.system.tangent.matrix.mult(φ, defect)
        return np.abs(self._rows.works(self.system.reduced(defect).array_r.copy(), own - carried))


class _Amplitude(Condition):
    """Amplitude φᵀM x of a mode φ."""

    def __init__(self, system: System, mode: FloatArray) -> None:
        super().__init__(system)
        vector, self._weights = system.vector(), system.vector()
        vector.array_w[:] = mode
        system.mass.product(vector, self._weights)
        system.zero_fixed(self._weights)
        self._scale = max(abs(self.value()), np.finfo(float).tiny)

    def value(self) -> float:
        """The amplitude now."""
        return float(self._weights.dot(self.system.x))

    def gradient(self, out: PETSc.Vec) -> None:
        """M φ."""
        self._weights.copy(out)

    @property
    def scale(self) -> float:
        """The amplitude at the start."""
        return self._scale


def _bundles(energy: FloatArray) -> Iterator[list[int]]:
    """Neighbouring rows, so many together that each bundle has its share of the energy."""
    limit, held = energy.sum() / _BUNDLES, 0.0
    bundle: list[int] = []
    for row, part in enumerate(energy):
        if bundle and held + part > limit:
            yield bundle
            bundle, held = [], 0.0
        bundle.append(row)
        held += part
    if bundle:
        yield bundle
