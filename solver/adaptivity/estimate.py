# SPDX-License-Identifier: MIT
"""Estimated errors of quantities of a path, from its states on the mesh with halved elements.

Embedded meshes and adjoint-weighted residuals after Venditti and Darmofal, J. Comput. Phys. 176, 40 (2002);
dual-weighted residuals after Becker and Rannacher, Acta Numerica 10, 1 (2001), both from memory.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from petsc4py import PETSc

from annelid.geometry.body import Body
from annelid.solver.adaptivity.finer_mesh import FinerMesh, Shares
from annelid.solver.adaptivity.quantity_error import QuantityError
from annelid.solver.assembly.system import Snapshot
from annelid.solver.continuation.eigenmodes import softest_mode
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.margins import acting_loads, margin_along
from annelid.solver.continuation.path import Path
from annelid.solver.continuation.reporter import Checkpoint
from annelid.solver.display import DisplayUnits
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stage_ends import EndCondition
from annelid.solver.records import Margin

__all__ = ["LOAD", "MARGIN", "MarginSearch", "Wanted", "estimated_errors"]

_BELIEVED = 0.3  # of a margin: larger first-order changes are sought again on the finer mesh
MARGIN = "stability margin "
"""Beginning of the names of margins."""
LOAD = "load at the limit point"
"""Name of the position of a limit point that ends a path, over the loads of its stage."""


class Wanted(NamedTuple):
    """Quantities of one state of a path whose errors are wanted."""

    checkpoint: Checkpoint
    names: tuple[str, ...]
    stage: str


class MarginSearch(NamedTuple):
    """How stability margins are sought: the multiple of the load up to which, and ``Stepping.harmonics``."""

    furthest: float
    harmonics: str


class _Meshes(NamedTuple):
    """The finer meshes: all elements halved, columns halved, rows halved."""

    all: FinerMesh
    through: FinerMesh
    along: FinerMesh


def estimated_errors(
    path: Path,
    checkpoints: Sequence[Checkpoint],
    wanted: Sequence[Wanted],
    values: Callable[[Checkpoint], Mapping[str, float]],
    body: Callable[[tuple[int, int]], Body],
    search: MarginSearch,
) -> list[QuantityError]:
    """Estimate the errors of quantities of a path that has been followed.

    Args:
        path: The path, on one rank; any state may be its present one afterwards.
        checkpoints: Its first state and the ends of its stages, in order, and the last state.
        wanted: What to judge; their checkpoints are among these.
        values: Quantities of a checkpoint as the path reported them.
        body: Makes the mesh with elements in so many pieces along and through the wall.
        search: How margins are sought.
    """
    meshes = _Meshes(*(FinerMesh(path, body(pieces[::-1]), pieces) for pieces in ((2, 2), (2, 1), (1, 2))))
    found: list[QuantityError] = []
    for checkpoint in checkpoints:
        here = [w for w in wanted if w.checkpoint is checkpoint]
        if checkpoint.critical:
            found += [_critical_load(path, meshes, checkpoint, w.stage) for w in here if LOAD in w.names]
            break
        names = sorted({name for w in here for name in w.names})
        errors = _state_errors(meshes, checkpoint, names, values(checkpoint))
        found += [_at(errors[name], w.stage) for w in here for name in w.names if name in errors]
        margins = [n for n in names if n.startswith(MARGIN)]
        for name in margins:
            error = _margin_error(path, meshes, checkpoint, name, search)
            found += [_at(error, w.stage) for w in here if name in w.names] if error else []
    return found


def _at(error: QuantityError, stage: str) -> QuantityError:
    """The same error under the name of another stage."""
    return replace(error, stage=stage)


def _state_errors(
    meshes: _Meshes, checkpoint: Checkpoint, names: Sequence[str], values: Mapping[str, float]
) -> dict[str, QuantityError]:
    """Errors of the quantities of a state; the states of the finer meshes become their present ones."""
    condition = _condition(checkpoint, values)
    read = [n for n in names if n in values and math.isfinite(values[n])]
    every = read + ([condition.quantity] if condition is not None and condition.quantity not in read else [])
    shares: list[Shares] = []
    changes: dict[str, float] = {}
    for finer in meshes:
        finer.carry(checkpoint)
        if read and finer is not meshes.all:
            shares.append(finer.shares(every))
        finer.solve()
        if finer is meshes.all and read:
            now = finer.values(every)
            changes = {name: now[name] - values[name] for name in every}
            if condition is not None:
                rates = finer.rates(every)
        finer.pass_on(checkpoint)
    if not read:
        return {}
    if condition is not None:  # the state moves along the stage until the condition is met again
        held = condition.quantity
        slopes = {name: rates[name] / rates[held] for name in read}
        changes = {name: changes[name] - slopes[name] * changes[held] for name in read}
        for share in shares:
            for name in read:
                if name != held:
                    share.changes[name][:] -= slopes[name] * share.changes[held]
        read = [name for name in read if name != held]
    through, along = shares
    return {
        name: QuantityError(
            name,
            "",
            values[name],
            changes[name],
            along.changes[name],
            through.changes[name],
        )
        for name in read
    }


def _condition(checkpoint: Checkpoint, values: Mapping[str, float]) -> EndCondition | None:
    """The condition that ended a stage before its loads were reached."""
    continuation = checkpoint.continuation
    if continuation is None or not continuation.stage.until:
        return None
    conditions = [c for c in continuation.stage.until if c.quantity in values]
    beyond = [c for c in conditions if c.beyond(values[c.quantity]) >= -2 * c.tolerance * abs(c.limit)]
    return beyond[0] if beyond else None


def _critical_load(path: Path, meshes: _Meshes, checkpoint: Checkpoint, stage: str) -> QuantityError:
    continuation = checkpoint.continuation
    assert continuation is not None
    path.system.restore(checkpoint.state, factorise=True)
    mode = softest_mode(path.system).vector
    return _limit_error(meshes, LOAD, stage, checkpoint.state, mode, continuation.ramp, checkpoint.parameter)


def _limit_error(
    meshes: _Meshes, name: str, stage: str, state: Snapshot, mode: PETSc.Vec, ramp: Ramp, s: float
) -> QuantityError:
    shifts = (finer.critical_shift(state, mode, ramp, s) for finer in meshes)
    (change, _), (_, through), (_, along) = shifts
    return QuantityError(name, stage, s, change, along, through)


def _margin_error(
    path: Path, meshes: _Meshes, checkpoint: Checkpoint, name: str, search: MarginSearch
) -> QuantityError | None:
    """Error of a stability margin at a state; ``None`` if it is only a bound, or not known."""
    load = name.removeprefix(MARGIN)
    without = acting_loads(checkpoint.state.loads).get(load)
    if without is None:
        return None
    ramp = Ramp(without, checkpoint.state.loads)
    path.system.restore(checkpoint.state, factorise=True)
    margin = _margin(search, path, load, ramp)
    if not margin.kind or not math.isfinite(margin.value):
        return None
    working = [finer.system.snapshot() for finer in meshes]
    critical = path.system.snapshot()
    path.system.restore(critical, factorise=True)
    mode = softest_mode(path.system).vector
    error = None
    if margin.kind == "limit point":
        error = _limit_error(meshes, name, "", critical, mode, ramp, margin.value)
    if error is None or abs(error.change) > _BELIEVED * margin.value:
        meshes.all.system.restore(working[0], factorise=True)
        again = _margin(search, meshes.all, load, ramp)
        change = again.value - margin.value if again.kind else 0.0
        # Of waves around the axis it is the softest mode without waves.
        parts = [finer.mode_energy(critical, mode) for finer in (meshes.along, meshes.through)]
        total = sum(float(part.sum()) for part in parts) or 1.0
        error = QuantityError(name, "", margin.value, change, *(abs(change) * part / total for part in parts))
    for finer, state in zip(meshes, working, strict=True):
        finer.system.restore(state)
    return error


def _margin(search: MarginSearch, at: Path | FinerMesh, load: str, ramp: Ramp) -> Margin:
    watch = HarmonicWatch(at.evaluation, search.harmonics)
    at.evaluation.read_fields()
    return margin_along(at.newton, load, ramp, search.furthest, at.evaluation, DisplayUnits(), watch)
