# SPDX-License-Identifier: MIT
"""The model: which body, of what, held how, with which electrodes; checked as a whole on creation."""

from dataclasses import dataclass
from functools import cached_property

from annelid.geometry.body import Body, IntArray
from annelid.geometry.checks import one_of, whole_number
from annelid.geometry.errors import InvalidValue, raise_first
from annelid.geometry.inventory import Inventory, inner_heights, inventory_of, walls_of
from annelid.solver.fluid.flow import Flow
from annelid.solver.model.boundary import BareStroke, Electrode, Foundation, Section, Support
from annelid.solver.model.checks import (
    Names,
    check_electrodes,
    check_parts,
    check_sections,
    check_surfaces,
    names_for_stages,
)
from annelid.solver.model.contact import Contact
from annelid.solver.model.fold_checks import check_folds
from annelid.solver.model.parts import Part
from annelid.solver.model.quantity import Scope, scope_of_flow

ELECTRICS = ("layered", "solved")
QUADRATURE_DEGREE = 5  # three points a direction; 4 gives the same on hexahedra, fewer on tetrahedra


@dataclass(frozen=True)
class Model:
    """Everything that defines what is solved, apart from the loads.

    Attributes:
        body: The meshed part.
        parts: One for each region of the body.
        supports: How surfaces are held.
        electrodes: One for each electrode band.
        foundations: Elastic foundations on outer surfaces.
        sections: Heights at which radii are reported.
        contacts: Rigid obstacles that outer surfaces may touch.
        drawn_pressure: Lumen pressure under which the body in its reference shape is in equilibrium with its
            natural stretch (a skin drawn as inflated), MPa; the path starts there. ``None``: the path starts
            without loads and applies the natural stretch with the first stage.
        deposited: Regions added stress-free to the others once these are in equilibrium with
            ``drawn_pressure``: a lattice printed on an inflated skin.
        bare_stroke: Stroke of the bare skin, to compare with; ``None``: no amplification is reported.
        electrics: ``"layered"`` (E0 = V/t along the wall normal) or ``"solved"`` (the potential is unknown).
        smooth_compression: Compression in their plane over the shear modulus that walls carry without folds.
        twist: Whether loads turn the part about its axis. An axisymmetric model then has its rotation as an
            unknown. ``Path`` sets it for stages that need it.
        timed: Whether some stage takes time; ``Path`` sets it.
        fluid_density: Density of a fluid in and around the part, whose buoyancy reduces its weight, t/mm³.
        pressed: Surfaces other than the lumen on which a pressure may act; a path adds those of its stages.
        flow: Fluid, circuit or feeds that answer in stages with ``control = "flow"``.
        quadrature_degree: Degree of polynomials that the rule of the integrals integrates exactly.

    Raises:
        InvalidValue: Parts, electrodes or supports do not match the body.
    """

    body: Body
    parts: tuple[Part, ...]
    supports: tuple[Support, ...] = ()
    electrodes: tuple[Electrode, ...] = ()
    foundations: tuple[Foundation, ...] = ()
    sections: tuple[Section, ...] = ()
    electrics: str = "layered"
    contacts: tuple[Contact, ...] = ()
    drawn_pressure: float | None = None
    bare_stroke: BareStroke | None = None
    deposited: tuple[str, ...] = ()
    smooth_compression: float = 0.0
    fluid_density: float = 0.0
    twist: bool = False
    timed: bool = False
    pressed: tuple[str, ...] = ()
    flow: Flow | None = None
    quadrature_degree: int = QUADRATURE_DEGREE

    def __post_init__(self) -> None:
        body = self.inventory
        raise_first(check_parts(self.parts, body.regions))
        raise_first(check_surfaces(self.supports, self.foundations, self.contacts, body))
        raise_first(check_sections(self.sections, inner_heights(self.body)))
        one_of("electrics", self.electrics, ELECTRICS)
        whole_number("quadrature_degree", self.quadrature_degree, least=QUADRATURE_DEGREE)
        names = [e.name for e in self.electrodes]
        if sorted(names) != sorted(body.bands):
            raise InvalidValue(
                f"{names} do not match the body's bands {sorted(body.bands)}", key="electrodes"
            )
        raise_first(
            check_electrodes(self.electrodes, self.parts, body.bands.items(), self.electrics == "solved")
        )
        if self.drawn_pressure is not None and not self.has_lumen:
            raise InvalidValue("a pressure under which the part is drawn needs a lumen", key="drawn_pressure")
        _check_deposited(self)
        raise_first(check_folds(self.parts, body, deposited=self.deposited))

    @cached_property
    def inventory(self) -> Inventory:
        """Names of the body."""
        return inventory_of(self.body)

    @cached_property
    def walls(self) -> dict[str, tuple[IntArray, IntArray]]:
        """Nodes of the inner face and facets of the outer face of each region that has both."""
        return walls_of(self.body)

    @property
    def names(self) -> Names:
        """What stages can refer to."""
        return names_for_stages(self.electrodes, self.contacts, self.sections, self.supports)

    @cached_property
    def scope(self) -> Scope:
        """What decides which quantities are reported."""
        return Scope(
            sections=tuple(s.name for s in self.sections),
            supports=tuple(s.region for s in self.supports),
            electrodes=tuple(e.name for e in self.electrodes),
            contacts=tuple(c.name for c in self.contacts),
            parts=tuple(p.region for p in self.parts),
            walls=tuple(self.walls),
            surfaces=self.pressed,
            has_lumen=self.has_lumen,
            has_open_ends=self.inventory.has_open_ends,
            has_seal=self.inventory.has_open_ends and bool(self.seals),
            has_strength=any(p.material.breakdown is not None and p.sheets is not None for p in self.parts),
            has_tearing_limit=any(p.material.tearing is not None for p in self.parts),
            has_folds=bool(self.folding),
            has_bare_stroke=self.bare_stroke is not None,
            ends=self.inventory.ends,
            has_twist=self.has_twist,
            has_time=self.timed,
            **scope_of_flow(self.flow),
        )

    @property
    def folding(self) -> tuple[Part, ...]:
        """Walls that carry no compression in their plane."""
        return tuple(part for part in self.parts if part.folds)

    def contact_stiffness(self, contact: Contact) -> float:
        """Stiffness k of a contact: largest shear modulus over its tolerance, MPa/mm."""
        return max(p.material.initial_shear_modulus() for p in self.parts) / contact.tolerance

    @property
    def axisymmetric(self) -> bool:
        """Whether the body is a meridian mesh."""
        return self.body.model == "axisymmetric"

    @property
    def has_twist(self) -> bool:
        """Whether the part turns about its axis under its loads, or because its fibres wind one way."""
        return self.twist or any(part.fibres is not None and part.fibres.twist for part in self.parts)

    @property
    def solved_twist(self) -> bool:
        """Whether the rotation about the axis is an unknown of an axisymmetric model."""
        return self.axisymmetric and self.has_twist

    @property
    def has_lumen(self) -> bool:
        """Whether there is an inner surface that a fluid wets."""
        return "lumen" in self.body.surfaces

    @property
    def wetted(self) -> tuple[str, ...]:
        """Surfaces on which a pressure may act, the lumen first."""
        return (*(["lumen"] if self.has_lumen else []), *self.pressed)

    def has_plates_at(self, surface: str) -> bool:
        """Whether plates close the ends of a surface, so that a pressure on it also acts on them."""
        plates = [s.region for s in self.supports if s.is_plate]
        return bool(plates) if surface == "lumen" else any(self.inventory.meet(p, surface) for p in plates)

    @property
    def seals(self) -> tuple[Contact, ...]:
        """Contacts that can shut the lumen."""
        return tuple(contact for contact in self.contacts if contact.surface == "lumen")

    @property
    def solved_potential(self) -> bool:
        """Whether the electric potential is an unknown."""
        return bool(self.electrodes) and self.electrics == "solved"

    @property
    def sections_of_flow(self) -> int:
        """Sections of the lumen with pressures of their own."""
        return 0 if self.flow is None else self.flow.sections

    @property
    def has_weight(self) -> bool:
        """Whether any part has a known mass."""
        return any(part.material.density for part in self.parts)

    def part_of(self, region: str) -> Part:
        """The part that fills a region."""
        return next(part for part in self.parts if part.region == region)


def _check_deposited(model: Model) -> None:
    unknown = [region for region in model.deposited if region not in model.body.regions]
    if unknown or (model.deposited and len(model.deposited) == len(model.body.regions)):
        raise InvalidValue(
            f"{list(model.deposited)}: name some, not all, of the body's regions: "
            f"{', '.join(model.body.regions)}",
            key="deposited",
        )
    if model.deposited and (model.drawn_pressure is None or model.body.base_node is None):
        raise InvalidValue(
            "deposited parts need drawn_pressure, the pressure under which the others are drawn, and "
            "body.base_node, the nodes on which they are added",
            key="deposited",
        )
    if model.deposited and model.solved_potential:
        raise InvalidValue("with deposited parts, electrics must be layered", key="electrics")
