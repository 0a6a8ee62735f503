# SPDX-License-Identifier: MIT
"""Edges that two supports share: their nodes cannot follow two prescribed motions."""

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.inventory import Inventory
from annelid.solver.model.stages import Stage


class Motion(NamedTuple):
    """A motion that stages prescribe of supports.

    Attributes:
        attribute: Attribute of a stage.
        key: Key of a stage in a case file.
        words: What is done to the supports, with both values.
        remedy: What to do.
    """

    attribute: str
    key: str
    words: str
    remedy: str


MOVED = Motion(
    "displacements",
    "move",
    "moved along the axis by {:g} and {:g} mm",
    "move both alike, or let one of them free along the axis (hold = 'radial' or 'free')",
)
TURNED = Motion(
    "twists",
    "twist",
    "turned by {:g} and {:g} deg",
    "turn both alike, or let one of them turn freely (hold = 'axial' or 'free')",
)


def check_shared_edges(
    stages: Sequence[Stage], supported: Sequence[str], inventory: Inventory, motion: Motion = MOVED
) -> Iterator[Finding]:
    """Find the first stage that prescribes two values at a shared edge.

    Args:
        stages: The stages.
        supported: Surfaces whose supports fix the motion.
        inventory: The surfaces of the body.
        motion: The motion.
    """
    pairs = [pair for pair in combinations(supported, 2) if inventory.meet(*pair)]
    values: dict[str, float] = {}
    for index, stage in enumerate(stages):
        changed = getattr(stage, motion.attribute)
        values |= changed
        for a, b in pairs:
            one, two = values.get(a, 0.0), values.get(b, 0.0)
            if one != two:
                words = motion.words.format(one, two)
                text = f"supports '{a}' and '{b}' share an edge but are {words}: {motion.remedy}"
                key, subject = f"{motion.key}.{a if a in changed else b}", f"stage '{stage.name}'"
                yield Finding(("stages", index), InvalidValue(text, key=key, subject=subject))
                return
