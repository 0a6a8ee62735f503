# SPDX-License-Identifier: MIT
"""How a path is stepped, and when a state counts as converged."""

from dataclasses import dataclass, field

from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import InvalidValue, checking

NO_SEARCH = 1.0
BEYOND = ("stop", "follow", "jump", "branch")
MOST_HELD = 24
"""States of a path after which one is judged against waves around the axis in any case."""
JUDGED_STATES = NO_STATE, STAGE_ENDS, ALL_STATES = ("none", "stage ends", "all")


@dataclass(frozen=True)
class Tolerance:
    """When a state counts as converged.

    Attributes:
        force: Out-of-balance force relative to the forces at play.
        floor: The same relative to μ L², where no forces are at play.
        volume: Volume defect relative to the stress-free volume.
    """

    force: float = 1e-8
    floor: float = 1e-11
    volume: float = 1e-9

    @classmethod
    def of_force(cls, force: float) -> "Tolerance":
        """Return tolerances that are all tighter or looser than the defaults by the factor of the force."""
        factor = force / cls.force
        return cls(force, factor * cls.floor, factor * cls.volume)


@dataclass(frozen=True)
class Stepping:
    """How a path is stepped.

    Attributes:
        smallest: Step floor as a share of a stage; below it the path ends.
        easy: A step that takes at most this many iterations lets a halved step grow again.
        beyond_instability: ``"stop"`` ends the path at the critical point at which a mode becomes unstable
            under the control in force, or at the last state before it. ``"follow"`` goes on and marks such
            states, ``"jump"`` moves under given loads to the next stable state, as a real part would, and
            ``"branch"`` turns onto the buckled path at a bifurcation and follows it by arc length until the
            loads of the stage are reached.
        self_crossing: Whether a path goes on where walls of the part pass through each other; otherwise it
            ends where they touch, as the model has no contact of a part with itself.
        seek_limit: From the last state under load, look for the limits and the next critical point as each
            load grows, up to this multiple of it, and state the margins; 1 does not.
        harmonics: Which states of an axisymmetric model are judged against waves around the axis: ``"none"``,
            ``"all"``, or ``"stage ends"``, critical points, and states where the wall begins to be compressed
            or its compression has grown tenfold. The path ends at the first critical point of a harmonic, but
            with ``beyond_instability = "follow"``: its branch is not axisymmetric.
        tolerance: Convergence tolerances.
    """

    smallest: float = 1e-4
    easy: int = 8
    beyond_instability: str = "stop"
    self_crossing: bool = False
    seek_limit: float = NO_SEARCH
    harmonics: str = NO_STATE
    tolerance: Tolerance = field(default_factory=Tolerance)

    def __post_init__(self) -> None:
        with checking("path"):
            within("smallest_step", self.smallest, above=0.0, most=1.0)
            one_of("beyond_instability", self.beyond_instability, BEYOND)
            within("seek_limit", self.seek_limit, least=NO_SEARCH)
            one_of("harmonics", self.harmonics, JUDGED_STATES)

    def check_control(self, control: str) -> None:
        """Raise InvalidValue unless stages under a control can be followed beyond instabilities as set."""
        if control == "flow" and self.beyond_instability in ("jump", "branch"):
            raise InvalidValue(
                f"path.beyond_instability = '{self.beyond_instability}' does not act where a fluid or "
                "charges answer: take 'stop', which ends the path there, or 'follow', which goes on along "
                "unstable states; a stage with control = 'volume' or 'arc' passes a snap before the flow",
                key="control",
                value=control,
            )
        if self.beyond_instability == "branch" and control in ("volume", "charge"):
            raise InvalidValue(
                f"under {control} control the loads are found, but path.beyond_instability = 'branch' "
                "follows given loads: give the loads and an arc",
                key="control",
            )
