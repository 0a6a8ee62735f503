# SPDX-License-Identifier: MIT
"""What a reported quantity is, and to which models it applies."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from annelid.solver.display import KINDS
from annelid.solver.fluid.flow import Flow


class Scope(NamedTuple):
    """What decides which quantities a model reports; known from a case before it is meshed.

    Attributes:
        sections: Names of the sections.
        supports: Names of the supported surfaces.
        electrodes: Names of the electrodes.
        contacts: Names of the contacts.
        parts: Regions of the parts.
        walls: Regions of a structured mesh that have an inner and an outer face.
        surfaces: Surfaces other than the lumen on which a pressure acts in some stage.
        has_lumen: Whether a fluid can fill the part.
        has_open_ends: Whether the lumen is open at both ends.
        has_seal: Whether obstacles can shut such a lumen.
        has_strength: Whether a dielectric strength is known where there are sheets.
        has_tearing_limit: Whether a stretch or stress is known at which a part tears.
        has_folds: Whether some wall carries no compression.
        has_bare_stroke: Whether the stroke of the bare skin is known.
        ends: Names of the end surfaces of the wall.
        has_twist: Whether the part turns about its axis.
        has_time: Whether some stage takes time.
        nodes: Nodes of the circuit that the lumen is connected to.
        elements: Its elements.
        feds: Electrodes that are fed through a resistance.
        has_channel: Whether a viscous fluid flows along the lumen.
    """

    sections: tuple[str, ...] = ()
    supports: tuple[str, ...] = ()
    electrodes: tuple[str, ...] = ()
    contacts: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    walls: tuple[str, ...] = ()
    surfaces: tuple[str, ...] = ()
    has_lumen: bool = True
    has_open_ends: bool = True
    has_seal: bool = False
    has_strength: bool = False
    has_tearing_limit: bool = False
    has_folds: bool = False
    has_bare_stroke: bool = False
    ends: tuple[str, ...] = ()
    has_twist: bool = False
    has_time: bool = False
    nodes: tuple[str, ...] = ()
    elements: tuple[str, ...] = ()
    feds: tuple[str, ...] = ()
    has_channel: bool = False

    def entries(self, placeholder: str) -> tuple[str, ...]:
        """Names that take the place of a placeholder; a single part is the whole."""
        if placeholder in ("part", "wall") and len(self.parts) == 1:
            return ()
        return () if placeholder == "load" else getattr(self, f"{placeholder}s")

    def has(self, feature: str) -> bool:
        """Whether the model has a feature that a quantity needs."""
        match feature:
            case "electrodes":
                return bool(self.electrodes)
            case "circuit":
                return bool(self.elements)
            case "feeds":
                return bool(self.feds)
            case "lumen_flow":
                return self.has_channel or bool(self.elements)
            case "flow":
                return self.has("lumen_flow") or bool(self.feds)
        return bool(getattr(self, f"has_{feature}"))


def scope_of_flow(flow: Flow | None) -> dict[str, Any]:
    """What a flow adds to a scope."""
    if flow is None:
        return {}
    circuit = flow.circuit
    return {
        "nodes": () if circuit is None else circuit.nodes,
        "elements": () if circuit is None else circuit.carriers,
        "feds": flow.fed,
        "has_channel": bool(flow.sections),
    }


@dataclass(frozen=True)
class Quantity:
    """A reported quantity, or a family of them with one for each section, support, electrode and so on.

    Attributes:
        name: As in tables; of a family with a placeholder, ``"charge <electrode>"``.
        kind: Kind of number, a key of ``display.KINDS``.
        formula: As text, symbols as in the solver's README.
        meaning: In words, with the reference state.
        needs: Features that a model must have, as in ``Scope.has``.
        needs_voltage: Whether it has a meaning only while a voltage acts.
        larger_is_better: Whether larger values are the better ones; ``None`` where neither is.
        plot_limit: Value above which a curve need not be drawn; ``None`` draws all of it.
        reference: A value that is marked in figures, and the word beside it.
        beside: Of a largest or smallest value at a point, which may have no limit under mesh refinement: the
            quantity beside it that has one, "" if there is none; ``None`` for all others.
        of_path: Whether it belongs to the whole path, so that single states do not report it.
    """

    name: str
    kind: str
    formula: str
    meaning: str
    needs: tuple[str, ...] = ()
    needs_voltage: bool = False
    larger_is_better: bool | None = None
    plot_limit: float | None = None
    reference: tuple[float, str] | None = None
    of_path: bool = False
    beside: str | None = None

    @property
    def unit(self) -> str:
        """Internal unit, as in column names; ``"1"`` for ratios."""
        return KINDS[self.kind].unit

    @property
    def placeholder(self) -> str:
        """What the entries of a family are named after; "" for a single quantity."""
        return self.name.partition("<")[2].rstrip(">")

    @property
    def stem(self) -> str:
        """The name up to the placeholder."""
        return self.name.partition("<")[0]

    def of(self, entry: str) -> str:
        """Name of the quantity of one entry of a family."""
        return self.stem + entry

    def names(self, scope: Scope) -> Iterator[str]:
        """Names under which a model reports the quantity for a state; none where it does not apply."""
        return iter(()) if self.of_path else self.in_scope(scope)

    def in_scope(self, scope: Scope) -> Iterator[str]:
        """The same, also of quantities of the whole path."""
        if all(scope.has(feature) for feature in self.needs):
            yield from map(self.of, scope.entries(self.placeholder)) if self.placeholder else (self.name,)

    def matches(self, name: str) -> bool:
        """Whether a reported name is this quantity, or one of the family."""
        if not self.placeholder:
            return name == self.name
        return name.startswith(self.stem) and len(name) > len(self.stem)
