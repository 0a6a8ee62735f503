# SPDX-License-Identifier: MIT
"""Conditions on reported quantities that end a stage before its loads are reached."""

import math
from dataclasses import dataclass

from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import InvalidValue, checking
from annelid.solver.model.quantities import (
    STABILITY_MARGIN_OF,
    UNSTABLE_MODES,
    UNSTABLE_MODES_CONTROLLED,
    Quantity,
    quantity_of,
)

SENSES = ("at least", "at most")
TOLERANCE = 1e-3


@dataclass(frozen=True)
class EndCondition:
    """A limit of a quantity at which a stage ends.

    Attributes:
        quantity: Name of a quantity that is reported for every state.
        sense: One of ``SENSES``: from which side of the limit on the condition holds.
        limit: In the internal unit of the quantity.
        tolerance: Largest distance of the state found from the limit, over the limit; over the change of the
            quantity in one step if the limit is zero.

    Raises:
        InvalidValue: A quantity that is no number of a single state, or a value out of its range.
    """

    quantity: str
    sense: str
    limit: float
    tolerance: float = TOLERANCE

    def __post_init__(self) -> None:
        with checking(f"until {self.quantity}"):
            one_of("sense", self.sense, SENSES)
            check_end_quantity(self.quantity)
            if not math.isfinite(self.limit):
                raise InvalidValue(f"must be finite, got {self.limit:g}", key=self.sense.replace(" ", "_"))
            within("until_tolerance", self.tolerance, least=1e-8, most=0.1)

    @property
    def definition(self) -> Quantity:
        """The quantity."""
        return quantity_of(self.quantity)

    @property
    def keeps_limit(self) -> bool:
        """Whether the limit is to be kept, as values beyond it are the worse ones; otherwise it is an aim."""
        return self.definition.larger_is_better is (self.sense == "at most")

    def beyond(self, value: float) -> float:
        """How far a value is beyond the limit, negative short of it; minus infinity if there is no value."""
        if math.isnan(value):
            return -math.inf
        return value - self.limit if self.sense == "at least" else self.limit - value


def check_end_quantity(name: str) -> None:
    """Check that a stage can end at a limit of a quantity.

    Raises:
        InvalidValue: There is no such quantity, or it cannot be located along a stage.
    """
    try:
        quantity = quantity_of(name)
    except KeyError:
        raise InvalidValue(f"'{name}' is not a quantity", key="quantity") from None
    if quantity is STABILITY_MARGIN_OF:
        raise InvalidValue(
            f"'{name}' is searched at the end of a run only, so no stage can end at a limit of it: write it "
            "into [[requirements]]",
            key="quantity",
        )
    if quantity.of_path:
        raise InvalidValue(
            f"'{name}' belongs to the whole path, so no stage can end at a limit of it: write it into "
            "[[requirements]]",
            key="quantity",
        )
    if quantity in (UNSTABLE_MODES, UNSTABLE_MODES_CONTROLLED):
        raise InvalidValue(
            f"'{name}' is a count, which has no limit to approach: path.beyond_instability decides what "
            "happens where stability is lost",
            key="quantity",
        )
