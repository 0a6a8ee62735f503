# SPDX-License-Identifier: MIT
"""Past the end of a load-controlled stage: finding the limit ahead, jumping, taking a buckled branch."""

from dataclasses import dataclass, replace

import numpy as np
from petsc4py import PETSc

from annelid.solver.continuation.critical_points import Critical, locate
from annelid.solver.continuation.eigenmodes import SoftMode
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.relaxation import Landing, Relaxation
from annelid.solver.continuation.stage_continuation import Track
from annelid.solver.errors import NoEquilibrium

MOST_STEPS = 40  # arc steps in search of a limit
BRANCH_STEP = 0.01  # arc step on a branch over the size of the part: the way there moved it hardly at all
ENTRIES = 8  # ever smaller first steps onto a branch
_SMALLEST, _LARGEST = 1e-4, 0.02  # arc steps over the size of the part


@dataclass(frozen=True)
class Limit:
    """A critical point ahead of a load-controlled track.

    Attributes:
        critical: The point; the state there is the present one, factorised.
        share: Stage parameter there.
        arc: The arc track that passes it.
    """

    critical: Critical
    share: float
    arc: Track


@dataclass(frozen=True)
class Ahead:
    """What a search along the arc came to.

    Attributes:
        limit: The critical point, ``None`` if there is none.
        reached: Stage parameter up to which the path was followed.
        why: Why the search broke off before its goal, "" if it did not.
    """

    limit: Limit | None
    reached: float
    why: str


def arc_from(track: Track, share: float) -> Track:
    """An arc from the mark of a track whose loads stand at ``share`` of the stage.

    It is as long as what is left of an arc of the stage, else without end.

    Args:
        track: A track whose mark is the present state.
        share: Stage parameter of the mark.
    """
    length = track.newton.scales.length
    left = 100 * length if track.stage.arc is None else track.stage.arc - track.mark.s
    stage = replace(track.stage, control="arc", arc=left, volume=None, charges={}, point=None, opening=None)
    arc = Track(track.newton, stage, track.motion, track.upright)
    assert arc.control is not None
    arc.control.λ = share
    return arc


def arc_step(arc: Track, whole: float) -> float:
    """A step along an arc that moves the part about as far as a load step does, within bounds.

    The bounds go with the size of the part and how far it has moved: a film stretched fivefold is larger.
    """
    length = arc.newton.scales.length + arc.arc_condition.norm(arc.mark.x)
    per_load = 1 / max(abs(arc.mark.rate), 1e-300)
    return float(np.clip(per_load * whole / 4, _SMALLEST * length, _LARGEST * length))


def limit_ahead(track: Track, share: float, modes: int, *, furthest: float = 1.0) -> Limit | None:
    """The first critical point before the loads reach ``furthest`` of the stage; see ``search_ahead``."""
    return search_ahead(track, share, modes, furthest=furthest, step=1.0 / track.stage.steps).limit


def search_ahead(
    track: Track, share: float, modes: int, *, furthest: float, step: float, most_steps: int = MOST_STEPS
) -> Ahead:
    """Look along the arc for the first critical point before the loads reach ``furthest`` of the stage.

    Args:
        track: A load-controlled track at its mark.
        share: Stage parameter of the mark.
        modes: Unstable modes there.
        furthest: Where to give up.
        step: Step of the stage parameter; arc steps move the part about a quarter as far.
        most_steps: Arc steps after which to give up.

    Returns:
        The point, or how far there is none (the caller goes back to its mark in both cases).
    """
    arc = arc_from(track, share)
    assert arc.control is not None
    try:
        arc.start()
        ds = arc_step(arc, step)
        s = 0.0
        for _ in range(most_steps):
            s = _advance(arc, s, ds)
            track.system.factorise()
            found = track.system.unstable_modes()
            if found != modes:
                critical = locate(arc, s, modes, found)[0]
                critical.make_present(arc)
                return Ahead(Limit(critical, arc.control.λ, arc), arc.control.λ, "")
            if arc.control.λ >= furthest:
                return Ahead(None, arc.control.λ, "")
            arc.accept(s)
            ds = min(1.5 * ds, arc_step(arc, step))
    except NoEquilibrium as failure:
        return Ahead(None, arc.mark.λ, failure.message)
    return Ahead(None, arc.mark.λ, f"{most_steps} steps")


def _advance(arc: Track, s: float, step: float) -> float:
    """One arc step, halved up to six times."""
    for _ in range(6):
        try:
            arc.advance(s + step)
        except NoEquilibrium:
            step /= 2
            continue
        return s + step
    raise NoEquilibrium("the arc could not be followed", step=step)


def jump(track: Track, share: float, mode: SoftMode | None, onward: PETSc.Vec) -> Landing:
    """Let go: from the present state to the next stable one under the loads of ``share``.

    Args:
        track: The stage; its loads at ``share`` are held.
        share: Stage parameter.
        mode: Unstable or critical mode of the present state, ``None`` to push along ``onward``.
        onward: Direction in which the path was going; it decides the sense of the push.

    Raises:
        NoEquilibrium: No stable state was found.
    """
    system = track.system
    push = onward if mode is None else mode.vector
    sense = system.vector()
    system.mass.product(onward, sense)
    if sense.dot(push) < 0:
        push = push.copy()
        push.scale(-1.0)
    stiffness = _typical_stiffness(track, mode)
    return Relaxation(track.newton, track.upright).settle(track.motion.at(share), push, stiffness)


def _typical_stiffness(track: Track, mode: SoftMode | None) -> float:
    """Stiffness that sets the drag, MPa: the mode's over the length of the part, not less than μ / 100."""
    scales = track.newton.scales
    least = 1e-2 * scales.force / scales.length**2
    return max(abs(mode.stiffness) * scales.length**2 if mode is not None else 0.0, least)


def take_branch(arc: Track, critical: Critical, step: float) -> tuple[float, Convergence]:
    """Leave a bifurcation along its mode.

    Args:
        arc: An arc track; its present state is the bifurcation.
        critical: The point.
        step: First arc step, mm.

    Returns:
        Position on the arc, and convergence of the first state on the branch.

    Raises:
        NoEquilibrium: No state was found on the branch.
    """
    arc.accept(arc.mark.s)
    critical.mode.vector.copy(arc.mark.tangent)
    arc.mark.tangent.scale(1 / arc.arc_condition.norm(arc.mark.tangent))
    arc.mark.rate = 0.0
    for attempt in range(ENTRIES):
        arc.newton.factorised = False  # the factor of the bifurcation has no grip on the mode
        try:
            return arc.mark.s + step, arc.advance(arc.mark.s + step)
        except NoEquilibrium:
            if attempt == ENTRIES - 1:
                raise
        step /= 2
    raise AssertionError
