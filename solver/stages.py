# SPDX-License-Identifier: MIT
"""Stages: how the loads move along one parameter from 0 to 1."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations
from math import isnan, nan

import numpy as np

from geometry.errors import InputError
from solver.loads import Loads
from solver.model import Model
from solver.supports import moved_together

CONTROLS = ("load", "volume", "charge", "displacement", "opening", "arc")


@dataclass(frozen=True)
class PointMotion:
    """Motion asked of one point: the node nearest to a drawn position.

    Attributes:
        position: Drawn position, (R, Z) or (X, Y, Z), mm.
        component: 0-based component of the displacement; the last one is axial.
        motion: Displacement to reach, mm.
    """

    position: tuple[float, ...]
    component: int
    motion: float


@dataclass(frozen=True)
class Stage:
    """Moves loads from their present values to targets; what is not named stays as it is.

    Attributes:
        name: For the path table.
        pressure: Lumen pressure, MPa.
        voltages: kV by electrode.
        forces: Axial force along +Z by surface, N.
        displacements: Axial motion of a support, mm.
        obstacles: Position of obstacles by contact name, mm.
        volume: Enclosed volume of the lumen, mm³ (``control="volume"``; the pressure is found).
        charges: Charge by electrode, uC (``control="charge"``; the electrodes named share one voltage, which
            is found, and their charges are added).
        point: Motion of a point (``control="displacement"``; the loads of the stage are scaled to it).
        opening: Section and mean inner radius, mm (``control="opening"``; the loads are scaled to it).
        arc: Length of path to follow, as root mean square motion, mm (``control="arc"``; the loads of the
            stage say in which proportion they move; the stage also ends where they are reached).
        backward: Under arc control, set out with falling loads.
        control: One of ``CONTROLS``.
        steps: Number of equal steps wanted; they are halved where the solution is hard to follow.

    Raises:
        InputError: Unknown control, no steps, or a control without its target (or the reverse).
    """

    name: str
    pressure: float | None = None
    voltages: Mapping[str, float] = field(default_factory=dict)
    forces: Mapping[str, float] = field(default_factory=dict)
    displacements: Mapping[str, float] = field(default_factory=dict)
    obstacles: Mapping[str, float] = field(default_factory=dict)
    volume: float | None = None
    charges: Mapping[str, float] = field(default_factory=dict)
    point: PointMotion | None = None
    opening: tuple[str, float] | None = None
    arc: float | None = None
    backward: bool = False
    control: str = "load"
    steps: int = 10

    def __post_init__(self) -> None:
        if self.control not in CONTROLS:
            raise InputError(
                f"stage '{self.name}': control = '{self.control}' is not one of: {', '.join(CONTROLS)}",
                key="control",
            )
        if self.steps < 1:
            raise InputError(f"stage '{self.name}': steps is {self.steps}; it must be 1 or more", key="steps")
        targets = {
            "volume": self.volume is not None,
            "charge": bool(self.charges),
            "displacement": self.point is not None,
            "opening": self.opening is not None,
            "arc": self.arc is not None,
        }
        for control, given in targets.items():
            if given != (self.control == control):
                raise InputError(
                    f"stage '{self.name}': control = '{control}' and its target ({_TARGETS[control]}) go "
                    f"together; give both or neither",
                    key=_TARGETS[control],
                )
        self._check_found()

    def _check_found(self) -> None:
        """A load that the control finds is not given as well; one that scales loads needs some."""
        if self.control == "volume" and self.pressure is not None:
            raise InputError(
                f"stage '{self.name}': under volume control the pressure is found; leave it out",
                key="pressure",
            )
        both = [name for name in self.charges if name in self.voltages]
        if both:
            raise InputError(
                f"stage '{self.name}': under charge control the voltage of '{both[0]}' is found; leave it "
                f"out",
                key="voltage",
            )
        if self.control in ("displacement", "opening", "arc") and not self.moves_loads:
            raise InputError(
                f"stage '{self.name}': control = '{self.control}' scales the loads of the stage; name at "
                f"least one (pressure, voltage, force or move)",
                key="control",
            )
        if self.arc is not None and not self.arc > 0:
            raise InputError(f"stage '{self.name}': arc is {self.arc} mm; it must be positive", key="arc")

    @property
    def moves_loads(self) -> bool:
        """Whether the stage names a load to move."""
        named = self.voltages or self.forces or self.displacements or self.obstacles
        return self.pressure is not None or bool(named)


_TARGETS = {
    "volume": "volume",
    "charge": "charge",
    "displacement": "point",
    "opening": "opening",
    "arc": "arc",
}


@dataclass(frozen=True)
class Motion:
    """Loads as functions of the parameter s of one stage, linear from ``start`` to ``end``.

    Attributes:
        start: Loads at s = 0.
        end: Loads at s = 1.
    """

    start: Loads
    end: Loads

    def at(self, s: float) -> Loads:
        """Loads at s."""
        return Loads(
            pressure=_mix(self.start.pressure, self.end.pressure, s),
            voltages=_mix_all(self.start.voltages, self.end.voltages, s),
            forces=_mix_all(self.start.forces, self.end.forces, s),
            displacements=_mix_all(self.start.displacements, self.end.displacements, s),
            obstacles=_mix_all(self.start.obstacles, self.end.obstacles, s),
            natural=_mix(self.start.natural, self.end.natural, s),
        )

    @property
    def rate(self) -> Loads:
        """Derivative of the loads by s."""
        a, b = self.start, self.end
        return Loads(
            pressure=b.pressure - a.pressure,
            voltages={k: v - a.voltages.get(k, 0.0) for k, v in b.voltages.items()},
            forces={k: v - a.forces.get(k, 0.0) for k, v in b.forces.items()},
            displacements={k: v - a.displacements.get(k, 0.0) for k, v in b.displacements.items()},
            obstacles={k: v - a.obstacles[k] for k, v in b.obstacles.items()},
            natural=b.natural - a.natural,
        )


def motion_of(stage: Stage, present: Loads) -> Motion:
    """Loads of a stage that starts from the present ones."""
    end = replace(
        present,
        pressure=present.pressure if stage.pressure is None else stage.pressure,
        voltages={**present.voltages, **stage.voltages},
        forces={**present.forces, **stage.forces},
        displacements={**present.displacements, **stage.displacements},
        obstacles={**present.obstacles, **stage.obstacles},
        natural=1.0,
    )
    return Motion(present, end)


def check_stages(model: Model, stages: tuple[Stage, ...]) -> None:
    """Check that every load of the stages has something to act on.

    Raises:
        InputError: Unknown electrode, surface or support; a pressure without a lumen, or a lumen whose open
            end is neither held along the axis nor closed by a plate.
    """
    electrodes = [e.name for e in model.electrodes]
    movable = [s.region for s in model.supports if s.hold in ("all", "axial")]
    ends = [s for s in ("end_low", "end_high") if s in model.body.surfaces]
    for stage in stages:
        _known(stage, "voltage", stage.voltages, electrodes, "electrodes")
        _known(stage, "force", stage.forces, ends, "end surfaces")
        _known(stage, "obstacle", stage.obstacles, [c.name for c in model.contacts], "contacts")
        _known(stage, "charge", stage.charges, electrodes, "electrodes")
        if stage.opening is not None:
            sections = [section.name for section in model.sections]
            _known(stage, "opening", {stage.opening[0]: 0.0}, sections, "sections")
        if stage.point is not None and len(stage.point.position) != model.body.points.shape[1]:
            raise InputError(
                f"stage '{stage.name}': point.position has {len(stage.point.position)} coordinates; this "
                f"model has {model.body.points.shape[1]}",
                key="point.position",
            )
        _known(stage, "move", stage.displacements, movable, "supports that hold the axial motion")
        if stage.pressure or stage.volume is not None:
            _check_lumen(model, stage)
    _check_shared_edges(model, stages)
    if model.solved_potential:
        _check_shared_faces(model, stages)


def _check_shared_edges(model: Model, stages: tuple[Stage, ...]) -> None:
    """Nodes at the edge of two supports cannot follow two motions."""
    if not any(stage.displacements for stage in stages):
        return
    moves: dict[str, float] = {}
    pairs = moved_together(model.body, model.supports)
    for stage in stages:
        moves |= stage.displacements
        for a, b in pairs:
            one, two = moves.get(a, 0.0), moves.get(b, 0.0)
            if one != two:
                raise InputError(
                    f"stage '{stage.name}': supports '{a}' and '{b}' share an edge but are moved along the "
                    f"axis by {one:g} and {two:g} mm; move both alike, or let one of them go along the axis "
                    f"(hold = 'radial' or 'free')",
                    key=f"move.{a if a in stage.displacements else b}",
                    value=moves.get(a if a in stage.displacements else b),
                )


def _check_shared_faces(model: Model, stages: tuple[Stage, ...]) -> None:
    """Hot faces that meet are one conductor when the potential is solved: they carry one voltage."""
    body = model.body
    nodes = {
        e.name: np.unique(body.facets[body.surfaces[f"{e.name}.{e.hot_face}"]]) for e in model.electrodes
    }
    pairs = [
        (a, b)
        for a, b in combinations(nodes, 2)
        if np.intersect1d(nodes[a], nodes[b], assume_unique=True).size
    ]
    voltages = dict.fromkeys(nodes, 0.0)
    for stage in stages:
        voltages |= stage.voltages
        if stage.charges:
            _check_charged_faces(stage, pairs)
            voltages |= dict.fromkeys(stage.charges, nan)
        for a, b in pairs:
            if isnan(voltages[a]) and isnan(voltages[b]):
                continue  # they share the voltage that is found
            if voltages[a] != voltages[b]:
                raise InputError(
                    f"stage '{stage.name}': electrodes '{a}' and '{b}' touch but are set to {voltages[a]:g} "
                    f"and {voltages[b]:g} kV; leave a gap between them, or give them one voltage",
                    key=f"voltage.{b}",
                    value=voltages[b],
                )


def _check_charged_faces(stage: Stage, pairs: list[tuple[str, str]]) -> None:
    for a, b in pairs:
        alone = {a, b} & set(stage.charges)
        if len(alone) == 1:
            raise InputError(
                f"stage '{stage.name}': electrodes '{a}' and '{b}' touch and carry one charge; name both "
                f"under charge",
                key=f"charge.{alone.pop()}",
            )


def _check_lumen(model: Model, stage: Stage) -> None:
    body = model.body
    if "lumen" not in body.surfaces:
        raise InputError(
            f"stage '{stage.name}': a pressure or volume needs a lumen; this body has none", key="lumen"
        )
    rim = set(body.facets[body.surfaces["lumen"]].ravel().tolist())
    held = {s.region for s in model.supports if s.hold != "radial"}
    for end in ("end_low", "end_high"):
        if end in body.surfaces and end not in held:
            nodes = body.facets[body.surfaces[end]].ravel().tolist()
            if rim.intersection(nodes):
                raise InputError(
                    f"stage '{stage.name}': the lumen is open at '{end}', which is free along the axis, so "
                    f"the pressure would act on nothing there; hold it (hold = 'axial' or 'all'), close it "
                    f"with a plate (hold = 'plate'), or say hold = 'free' if the pressure is to act on the "
                    f"wall alone",
                    key=end,
                )


def _known(stage: Stage, key: str, given: Mapping[str, float], known: list[str], what: str) -> None:
    for name in given:
        if name not in known:
            raise InputError(
                f"stage '{stage.name}': {key} names '{name}'; the {what} are: {', '.join(known) or 'none'}",
                key=f"{key}.{name}",
            )


def _mix(a: float, b: float, s: float) -> float:
    return (1 - s) * a + s * b  # exact at both ends


def _mix_all(a: Mapping[str, float], b: Mapping[str, float], s: float) -> dict[str, float]:
    return {k: _mix(a.get(k, 0.0), v, s) for k, v in b.items()}
