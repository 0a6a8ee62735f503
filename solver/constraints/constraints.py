# SPDX-License-Identifier: MIT
"""Fixed unknowns and linear constraints between unknowns, in terms of body nodes."""

from dataclasses import dataclass

from annelid.geometry.body import FloatArray, IntArray


@dataclass(frozen=True)
class FixedComponent:
    """One displacement component of nodes that is prescribed.

    Attributes:
        support: Surface whose prescribed motion it follows; ``""`` where it stays at zero.
        component: 0-based component of the displacement.
        nodes: Body nodes, sorted.
        reaction_free: Surface with ``hold = "rigid motion"`` that these nodes keep in place, without any
            force if the loads are balanced; ``""`` for other supports.
        turned: Surface whose prescribed rotation about the axis it follows; ``""`` where it does not turn.
    """

    support: str
    component: int
    nodes: IntArray
    reaction_free: str = ""
    turned: str = ""


@dataclass(frozen=True)
class LinearConstraint:
    """Dependent unknowns that follow others: u_dependent = factor u_independent.

    Attributes:
        dependent: Pairs (body node, component), shape (k, 2).
        independent: Pairs (body node, component), shape (k, 2).
        factor: One number for all.
    """

    dependent: IntArray
    independent: IntArray
    factor: float = 1.0


@dataclass(frozen=True)
class SharedUnknown:
    """One unknown h in which many displacement components share: u_i = ... + factor_i h.

    Attributes:
        name: For messages.
        rows: Pairs (body node, component), shape (k, 2); dependent or independent unknowns.
        factors: Shape (k,).
    """

    name: str
    rows: IntArray
    factors: FloatArray


@dataclass(frozen=True)
class Constraints:
    """All fixed components, linear constraints and shared unknowns of a model."""

    fixed: tuple[FixedComponent, ...] = ()
    linear: tuple[LinearConstraint, ...] = ()
    shared: tuple[SharedUnknown, ...] = ()
