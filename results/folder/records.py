# SPDX-License-Identifier: MIT
"""Small records that the Run folder keeps besides those of the solver."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Verdict:
    """One requirement of the case and whether the run meets it.

    Attributes:
        quantity: Name of the quantity, as in ``path.csv``.
        condition: The condition in words, beginning ``"at least"`` or ``"at most"``.
        limit: The limit, in ``unit``.
        value: The value found, in ``unit``.
        unit: Unit of limit and value (``"1"``: dimensionless).
        met: Whether the condition holds.
        where: Where it was evaluated, in words (stage, state).
        is_bound: Whether the true value may be larger than ``value``, which is as far as was looked.
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
        return not self.condition.strip().lower().startswith("at most")

    @classmethod
    def from_mapping(cls, data: Mapping[str, Any]) -> "Verdict":
        """Make a verdict from its entry in ``summary.json``."""
        return cls(
            quantity=data["quantity"],
            condition=data["condition"],
            limit=float(data["limit"]),
            value=float(data["value"]),
            unit=data["unit"],
            met=bool(data["met"]),
            where=data.get("where", ""),
            is_bound=bool(data.get("is_bound", False)),
        )
