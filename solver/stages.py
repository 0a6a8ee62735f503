# SPDX-License-Identifier: MIT
"""Stages: how the loads move along one parameter from 0 to 1."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from geometry.errors import InputError
from solver.loads import Loads
from solver.model import Model

CONTROLS = ("load", "volume")


@dataclass(frozen=True)
class Stage:
    """Moves loads from their present values to targets; what is not named stays as it is.

    Attributes:
        name: For the path table.
        pressure: Lumen pressure, MPa.
        voltages: kV by electrode.
        forces: Axial force along +Z by surface, N.
        displacements: Axial motion of a support, mm.
        volume: Enclosed volume of the lumen, mm³; only with ``control="volume"``.
        control: ``"load"``, or ``"volume"`` (the pressure is then found).
        steps: Number of equal steps wanted; they are halved where the solution is hard to follow.

    Raises:
        InputError: Unknown control, no steps, or a volume without volume control (or the reverse).
    """

    name: str
    pressure: float | None = None
    voltages: Mapping[str, float] = field(default_factory=dict)
    forces: Mapping[str, float] = field(default_factory=dict)
    displacements: Mapping[str, float] = field(default_factory=dict)
    volume: float | None = None
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
        if (self.volume is not None) != (self.control == "volume"):
            raise InputError(
                f"stage '{self.name}': control = 'volume' and a volume go together; give both or neither",
                key="volume",
            )
        if self.control == "volume" and self.pressure is not None:
            raise InputError(
                f"stage '{self.name}': under volume control the pressure is found; leave it out",
                key="pressure",
            )


@dataclass(frozen=True)
class Motion:
    """Loads as functions of the parameter s of one stage, linear from ``start`` to ``end``.

    Attributes:
        start: Loads at s = 0.
        end: Loads at s = 1 (its pressure means nothing under volume control).
        volumes: Enclosed volume at s = 0 and 1 under volume control, mm³.
    """

    start: Loads
    end: Loads
    volumes: tuple[float, float] | None = None

    def at(self, s: float) -> Loads:
        """Loads at s."""
        return Loads(
            pressure=_mix(self.start.pressure, self.end.pressure, s),
            voltages=_mix_all(self.start.voltages, self.end.voltages, s),
            forces=_mix_all(self.start.forces, self.end.forces, s),
            displacements=_mix_all(self.start.displacements, self.end.displacements, s),
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
            natural=b.natural - a.natural,
        )

    def volume_at(self, s: float) -> float | None:
        """Enclosed volume asked for at s, mm³; ``None`` under load control."""
        return None if self.volumes is None else _mix(self.volumes[0], self.volumes[1], s)


def motion_of(stage: Stage, present: Loads, volume: float | None) -> Motion:
    """Loads of a stage that starts from the present ones.

    Args:
        stage: The stage.
        present: Loads in force.
        volume: Volume enclosed at present, mm³.
    """
    end = replace(
        present,
        pressure=present.pressure if stage.pressure is None else stage.pressure,
        voltages={**present.voltages, **stage.voltages},
        forces={**present.forces, **stage.forces},
        displacements={**present.displacements, **stage.displacements},
        natural=1.0,
    )
    volumes = None if stage.volume is None or volume is None else (volume, stage.volume)
    return Motion(present, end, volumes)


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
        _known(stage, "move", stage.displacements, movable, "supports that hold the axial motion")
        if stage.pressure or stage.volume is not None:
            _check_lumen(model, stage)


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
                    f"the pressure would act on nothing there; hold it (hold = 'axial' or 'all') or close it "
                    f"with a plate (hold = 'plate')",
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
    return a + (b - a) * s


def _mix_all(a: Mapping[str, float], b: Mapping[str, float], s: float) -> dict[str, float]:
    return {k: _mix(a.get(k, 0.0), v, s) for k, v in b.items()}
