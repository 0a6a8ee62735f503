# SPDX-License-Identifier: MIT
"""Fixed unknowns and ties between unknowns, in terms of body nodes."""

from dataclasses import dataclass, field

from annelid.geometry.body import FloatArray, IntArray


@dataclass(frozen=True)
class Fixed:
    """Displacement components of nodes that are prescribed together.

    Attributes:
        support: Surface whose prescribed motion they follow; ``""`` where they stay at zero.
        component: 0-based component of the displacement.
        nodes: Body nodes, sorted.
        floating: Surface that floats by them, for which they shall need no force; ``""`` for none.
    """

    support: str
    component: int
    nodes: IntArray
    floating: str = ""


@dataclass(frozen=True)
class Tie:
    """Slave unknowns that follow a master: u_slave = factor u_master.

    Attributes:
        slaves: Pairs (body node, component), shape (k, 2).
        masters: Pairs (body node, component), shape (k, 2).
        factor: One number for all.
    """

    slaves: IntArray
    masters: IntArray
    factor: float = 1.0


@dataclass(frozen=True)
class Shared:
    """One unknown that many displacement components share, each by its own factor: u_i = ... + factor_i h.

    Attributes:
        name: For messages.
        rows: Pairs (body node, component), shape (k, 2); slaves of ties or unknowns of their own.
        factors: Shape (k,).
    """

    name: str
    rows: IntArray
    factors: FloatArray


@dataclass(frozen=True)
class Constraints:
    """All fixed components, ties and shared unknowns of a model, in terms of body nodes."""

    fixed: tuple[Fixed, ...] = ()
    ties: tuple[Tie, ...] = field(default=())
    shared: tuple[Shared, ...] = ()
