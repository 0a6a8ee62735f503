# SPDX-License-Identifier: MIT
"""Records that the Run folder keeps in addition to those of the solver."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, NamedTuple

from annelid.solver.display import DisplayUnit, DisplayUnits


@dataclass(frozen=True)
class Verdict:
    """One requirement of the case and whether the run meets it.

    Attributes:
        quantity: Name of the quantity, as in ``path.csv``.
        condition: ``"at least"`` or ``"at most"``.
        limit: The limit, in ``unit``.
        value: The value found, in ``unit``.
        unit: Unit of limit and value (``"1"``: dimensionless).
        met: Whether the condition holds.
        where: Where it was evaluated, in words (stage, state).
        is_bound: Whether ``value`` is only a lower bound, because the search ended there.
    """

    quantity: str
    condition: str
    limit: float
    value: float
    unit: str
    met: bool
    where: str = ""
    is_bound: bool = False

    @property
    def is_floor(self) -> bool:
        """Whether values above the limit are the safe ones."""
        return self.condition == "at least"


class Statement(NamedTuple):
    """One entry of the description of a case: a heading and sentences."""

    heading: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class CaseDescription:
    """What a report needs of the case; written when the run starts.

    Attributes:
        title: Title of the case.
        notes: Remarks of the user.
        units: Units in which numbers are shown.
        statements: The case in words.
        targets: By stage, the loads that it requests, by their names in ``path.csv``, in internal units.
        controls: What drives each stage.
        skin: Layers of the skin of a part that is made by inflation; empty for others.
    """

    title: str = ""
    notes: str = ""
    units: DisplayUnits = field(default_factory=DisplayUnits)
    statements: tuple[Statement, ...] = ()
    targets: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    controls: Mapping[str, str] = field(default_factory=dict)
    skin: tuple[str, ...] = ()

    def to_mapping(self) -> dict[str, Any]:
        """The content of ``description.json``."""
        data = asdict(self)
        return data | {
            "units": units_to_mapping(self.units),
            "statements": [statement._asdict() for statement in self.statements],
        }

    @classmethod
    def from_mapping(cls, data: Mapping[str, Any]) -> "CaseDescription":
        """Read the content of ``description.json``."""
        statements = tuple(Statement(s["heading"], tuple(s["sentences"])) for s in data["statements"])
        changed = {"units": units_from_mapping(data["units"]), "statements": statements}
        return cls(**{**data, **changed, "skin": tuple(data["skin"])})


def units_to_mapping(units: DisplayUnits) -> dict[str, list[list[Any]]]:
    """Display units as they are written to a JSON file: pairs of name and factor by kind."""
    return {kind: [list(unit) for unit in chosen] for kind, chosen in units.chosen.items()}


def units_from_mapping(data: Mapping[str, Any]) -> DisplayUnits:
    """Display units from a JSON file."""
    return DisplayUnits({kind: tuple(DisplayUnit(*unit) for unit in chosen) for kind, chosen in data.items()})
