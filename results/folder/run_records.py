# SPDX-License-Identifier: MIT
"""Records of a Run folder in addition to those of the solver: verdicts and the description of the case."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, NamedTuple

from annelid.solver.display import DisplayUnit, DisplayUnits
from annelid.solver.model.contact import Contact


@dataclass(frozen=True)
class Verdict:
    """A requirement of the case, and whether the run meets it.

    Attributes:
        quantity: Name of the quantity, as in ``path.csv``.
        condition: ``"at least"`` or ``"at most"``.
        limit: The limit, in ``unit``.
        value: The computed value, in ``unit``.
        unit: Unit of limit and value (``"1"``: dimensionless).
        met: Whether the condition holds.
        where: Stage and state in which it was evaluated, as text.
        is_bound: Whether ``value`` is only a lower bound, because the search ended at this value.
        stage: Stage at whose end it was evaluated, "" for the last state.
    """

    quantity: str
    condition: str
    limit: float
    value: float
    unit: str
    met: bool
    where: str = ""
    is_bound: bool = False
    stage: str = ""

    @property
    def is_lower_limit(self) -> bool:
        """Whether values above the limit are safe."""
        return self.condition == "at least"


NOT_JUDGED = "Not judged"
"""Heading of the statement on what a case or its model leaves open."""


class CycleWindow(NamedTuple):
    """When the loads of a stage repeat.

    Attributes:
        stage: Name of the stage.
        period: s.
        start: Time from which on every load of the wave repeats, s.
        end: Time until which it does, s.
        stage_start: Time at which the stage starts if those before take their durations, s; ``None`` if that
            is not known.
    """

    stage: str
    period: float
    start: float
    end: float
    stage_start: float | None = None

    @property
    def cycles(self) -> int:
        """Number of whole cycles."""
        return int((self.end - self.start) / self.period + 1e-6)


class Statement(NamedTuple):
    """A section of the description of a case: a heading and sentences."""

    heading: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class CaseDescription:
    """The information about the case that a report needs; written when the run starts.

    Attributes:
        title: Title of the case.
        notes: Remarks of the user.
        units: Units in which numbers are shown.
        statements: Description of the case as text.
        targets: Target loads by stage and by name in ``path.csv``, in internal units.
        controls: Control of each stage, for instance ``"load"`` or ``"volume"``.
        obstacles: The rigid obstacles.
        symmetry_plane: Surface at an end about which a half is modelled; empty for whole parts.
        cycles: When loads that follow waves repeat.
        skin: Layers of the skin if the part is made by inflation; empty for other parts.
        features: Features of the program that the case uses, of which some are checked.
    """

    title: str = ""
    notes: str = ""
    units: DisplayUnits = field(default_factory=DisplayUnits)
    statements: tuple[Statement, ...] = ()
    targets: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    controls: Mapping[str, str] = field(default_factory=dict)
    obstacles: tuple[Contact, ...] = ()
    symmetry_plane: str = ""
    cycles: tuple[CycleWindow, ...] = ()
    skin: tuple[str, ...] = ()
    features: tuple[str, ...] = ()

    @property
    def not_judged(self) -> tuple[str, ...]:
        """Sentences on what the case or its model leaves open."""
        return tuple(t for s in self.statements if s.heading == NOT_JUDGED for t in s.sentences)

    def to_mapping(self) -> dict[str, Any]:
        """Return the content of ``description.json``."""
        data = asdict(self)
        return data | {
            "units": units_to_mapping(self.units),
            "statements": [statement._asdict() for statement in self.statements],
            "cycles": [list(window) for window in self.cycles],
        }

    @classmethod
    def from_mapping(cls, data: Mapping[str, Any]) -> "CaseDescription":
        """Read the content of ``description.json``."""
        statements = tuple(Statement(s["heading"], tuple(s["sentences"])) for s in data["statements"])
        obstacles = tuple(Contact(**contact) for contact in data.get("obstacles", ()))
        changed = {
            "units": units_from_mapping(data["units"]),
            "statements": statements,
            "obstacles": obstacles,
            "cycles": tuple(CycleWindow(*window) for window in data.get("cycles", ())),
            "features": tuple(data.get("features", ())),
        }
        return cls(**{**data, **changed, "skin": tuple(data["skin"])})


def units_to_mapping(units: DisplayUnits) -> dict[str, list[list[Any]]]:
    """Convert display units for a JSON file: pairs of name and factor by kind of number."""
    return {kind: [list(unit) for unit in chosen] for kind, chosen in units.chosen.items()}


def units_from_mapping(data: Mapping[str, Any]) -> DisplayUnits:
    """Read display units from the content of a JSON file."""
    return DisplayUnits({kind: tuple(DisplayUnit(*unit) for unit in chosen) for kind, chosen in data.items()})
