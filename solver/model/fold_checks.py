# SPDX-License-Identifier: MIT
"""Whether parts can be walls that carry no compression; every finding is reported."""

from collections.abc import Iterator, Mapping, Sequence

from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.inventory import Inventory
from annelid.solver.model.parts import Part

SLENDER = 10.0
"""Least radius over thickness of a wall that folds; thicker walls hold compression as shells do."""

NO_WALL = ("core", "cap", "lattice", "end ring")
"""Regions that are no walls."""

_KEY = "compression"


def check_folds(
    parts: Sequence[Part],
    inventory: Inventory,
    *,
    charged: bool = False,
    deposited: Sequence[str] = (),
    slenderness: Mapping[str, float] | None = None,
    lattice: bool = False,
) -> Iterator[Finding]:
    """Walls that carry no compression are thin, and no lattice is bonded to them.

    Args:
        parts: The parts.
        inventory: Of the body.
        charged: Whether charges are prescribed, or fed, in a layered model.
        deposited: Regions that are added to the others under pressure.
        slenderness: Largest radius over least thickness of regions, where known.
        lattice: Whether a lattice is added to the body later.
    """
    for index, part in enumerate(parts):
        if not part.folds:
            continue
        thick = (slenderness or {}).get(part.region, SLENDER)
        text = ""
        if part.region in NO_WALL:
            text = f"'none' is for walls, and '{part.region}' is none: leave it out"
        elif charged and part.sheets is not None:
            text = (
                "'none' of sheets whose charge is prescribed or fed needs the solved potential: the response "
                "of the folds to a charge is known only there; set electrics.model = 'solved'"
            )
        elif part.region in deposited:
            text = "'none' is not possible for a part that is added to an inflated skin: leave it out"
        elif lattice or "lattice" in inventory.regions:
            text = (
                "'none' is not possible for a wall with a lattice: the bonded struts hold the wall, so that "
                "it wrinkles between them only, and the theory of slack walls is for walls that fold freely; "
                "leave it out"
            )
        elif thick < SLENDER:
            text = (
                f"'none' is for thin walls, whose radius is at least {SLENDER:g} times their thickness; here "
                f"it is {thick:.3g} times"
            )
        if text:
            yield Finding(("parts", index), InvalidValue(text, key=_KEY, subject=f"part '{part.region}'"))
