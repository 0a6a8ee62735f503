# SPDX-License-Identifier: MIT
"""Limits on the quantities of a comparison, and the verdicts on them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from annelid.compare.deviation.quantity_names import RADIUS_AT, UNITS, unit_of
from annelid.geometry.errors import InvalidValue

if TYPE_CHECKING:
    from annelid.compare.deviation.quantities import Uncertain

type Condition = Literal["at least", "at most"]
type Answer = Literal["met", "not met", "undecided"]
COVERAGE_FACTOR = 2.0
"""Expanded over standard uncertainty: about 95 % of a normal distribution."""
RULE = (
    "A requirement is met, or not met, only if that is so for every value within the expanded uncertainty "
    f"(coverage factor {COVERAGE_FACTOR:g}); in between it is undecided (decision rule in the sense of "
    "ISO 14253-1, from memory)."
)


@dataclass(frozen=True)
class MeasuredLimit:
    """A limit on a quantity.

    Attributes:
        quantity: Its name.
        condition: ``"at least"`` or ``"at most"``.
        value: The limit, in the unit of the quantity.

    Raises:
        InvalidValue: There is no such quantity, or the value is not finite.
    """

    quantity: str
    condition: Condition
    value: float

    def __post_init__(self) -> None:
        if not self.quantity.startswith(RADIUS_AT) and self.quantity not in UNITS:
            known = ", ".join([*UNITS, f"{RADIUS_AT}<height>"])
            text = f"'{self.quantity}' is not a quantity of a comparison; allowed: {known}"
            raise InvalidValue(text, key="quantity")
        if not np.isfinite(self.value):
            raise InvalidValue(f"{self.value} is not finite", key=self.condition.replace(" ", "_"))

    @property
    def height(self) -> float | None:
        """Height at which a radius is limited, mm; None for other quantities."""
        if not self.quantity.startswith(RADIUS_AT):
            return None
        return float(self.quantity.removeprefix(RADIUS_AT).removesuffix(" mm"))


class Judgement(NamedTuple):
    """A limit and whether a scan keeps it; numbers are in the unit.

    Attributes:
        quantity: Name of the quantity.
        condition: ``"at least"`` or ``"at most"``.
        limit: The limit.
        value: The measured value, ``nan`` if it was not measured.
        expanded_uncertainty: Of the value.
        unit: Unit.
        verdict: ``"met"``, ``"not met"`` or ``"undecided"``.
    """

    quantity: str
    condition: str
    limit: float
    value: float
    expanded_uncertainty: float
    unit: str
    verdict: Answer


def judged(measures: "Mapping[str, Uncertain]", limits: Sequence[MeasuredLimit]) -> tuple[Judgement, ...]:
    """Judge the quantities of a comparison by the rule ``RULE``.

    Args:
        measures: Quantities by name.
        limits: The limits; quantities that were not measured are undecided.
    """
    return tuple(_judgement(measures.get(limit.quantity), limit) for limit in limits)


def _judgement(found: "Uncertain | None", limit: MeasuredLimit) -> Judgement:
    value = np.nan if found is None else found.value
    uncertainty = np.nan if found is None else COVERAGE_FACTOR * found.standard_deviation
    inside = value - limit.value if limit.condition == "at least" else limit.value - value
    verdict: Answer = "undecided"
    if inside >= uncertainty:
        verdict = "met"
    elif -inside > uncertainty:
        verdict = "not met"
    unit = unit_of(limit.quantity)
    return Judgement(limit.quantity, limit.condition, limit.value, value, uncertainty, unit, verdict)
