# SPDX-License-Identifier: MIT
"""Models of the circulation behind a vessel, as elements of a circuit."""

from annelid.geometry.checks import one_of
from annelid.geometry.errors import InvalidValue, checking
from annelid.solver.fluid.conductors import Inertance, Resistance
from annelid.solver.fluid.elements import GROUND, Element
from annelid.solver.fluid.stores import Compliance

ARRANGEMENTS = ("series", "parallel")


def windkessel(
    name: str,
    node: str,
    resistance: float,
    compliance: float,
    *,
    characteristic: float | None = None,
    inertance: float | None = None,
    arrangement: str = "series",
    outlet: str = GROUND,
) -> tuple[Element, ...]:
    """Windkessel of two, three or four elements behind a node.

    Args:
        name: Begins the names of the elements and of the inner nodes.
        node: Where it begins.
        resistance: Peripheral resistance in MPa s/mm³.
        compliance: Of the vessels in mm³/MPa.
        characteristic: Characteristic resistance in MPa s/mm³; makes it one of three elements.
        inertance: Of the blood in MPa s²/mm³; makes it one of four elements.
        arrangement: "series" or "parallel": how the inertance lies to the characteristic resistance.
        outlet: Node behind the peripheral resistance.

    Raises:
        InvalidValue: A value is not positive, or an inertance has no characteristic resistance.
    """
    with checking(f"windkessel '{name}'"):
        one_of("arrangement", arrangement, ARRANGEMENTS)
        if inertance is not None and characteristic is None:
            raise InvalidValue(
                "needs a characteristic resistance: give 'characteristic' as well",
                key="inertance",
                value=inertance,
            )
        distal, between = (node if characteristic is None else f"{name} distal"), node
        elements: list[Element] = []
        if inertance is not None:
            between = f"{name} proximal" if arrangement == "series" else node
            end = between if arrangement == "series" else distal
            elements.append(Inertance(f"{name} inertance", node, end, inertance))
        if characteristic is not None:
            elements.append(Resistance(f"{name} characteristic", between, distal, characteristic))
        elements.append(Compliance(f"{name} compliance", distal, compliance))
        elements.append(Resistance(f"{name} peripheral", distal, outlet, resistance))
        return tuple(elements)
