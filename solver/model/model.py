# SPDX-License-Identifier: MIT
"""The model: which body, of what, held how, with which electrodes; checked as a whole on creation."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import Body, IntArray
from annelid.geometry.errors import InputError
from annelid.solver.model.contact import Contact
from annelid.solver.model.parts import BareStroke, Electrode, Part, Section, Support, TissueBed


@dataclass(frozen=True)
class Model:
    """Everything that says what is solved, apart from the loads.

    Attributes:
        body: The meshed part.
        parts: One for each region of the body.
        supports: How surfaces are held.
        electrodes: One for each electrode band.
        beds: Tissue beds on outer surfaces.
        sections: Heights at which radii are reported.
        contacts: Rigid obstacles that outer surfaces may touch.
        drawn_pressure: Lumen pressure under which the body, as drawn, is in balance with its natural stretch
            (a skin drawn as inflated), MPa; the path starts there. ``None``: the path starts without loads
            and brings the natural stretch in with the first stage.
        deposited: Regions deposited stress-free on the others once these are in balance with
            ``drawn_pressure``: a lattice printed on an inflated skin.
        bare_stroke: Stroke of the bare skin, to compare with; ``None``: no amplification is reported.
        electrics: ``"layered"`` (E0 = V/t along the wall normal) or ``"solved"`` (the potential is unknown).

    Raises:
        InputError: Parts, electrodes or supports do not match the body.
    """

    body: Body
    parts: tuple[Part, ...]
    supports: tuple[Support, ...] = ()
    electrodes: tuple[Electrode, ...] = ()
    beds: tuple[TissueBed, ...] = ()
    sections: tuple[Section, ...] = ()
    electrics: str = "layered"
    contacts: tuple[Contact, ...] = ()
    drawn_pressure: float | None = None
    bare_stroke: BareStroke | None = None
    deposited: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _check_parts(self)
        if self.drawn_pressure is not None and not self.has_lumen:
            raise InputError("a pressure under which the part is drawn needs a lumen", key="drawn_pressure")
        _check_laid(self)
        _check_electrodes(self)
        touched = (c.surface for c in self.contacts)
        for region in (*(s.region for s in self.supports), *(b.region for b in self.beds), *touched):
            self.body.facet_numbers(region)

    def contact_stiffness(self, contact: Contact) -> float:
        """Stiffness k of a contact: largest shear modulus over its tolerance, MPa/mm."""
        return max(p.material.initial_shear_modulus() for p in self.parts) / contact.tolerance

    @property
    def axisymmetric(self) -> bool:
        """Whether the body is a meridian mesh."""
        return self.body.model == "axisymmetric"

    @property
    def has_lumen(self) -> bool:
        """Whether there is an inner surface that a fluid wets."""
        return "lumen" in self.body.surfaces

    @property
    def solved_potential(self) -> bool:
        """Whether the electric potential is an unknown."""
        return bool(self.electrodes) and self.electrics == "solved"

    def part_of(self, region: str) -> Part:
        """The part that fills a region."""
        return next(part for part in self.parts if part.region == region)


def _check_parts(model: Model) -> None:
    regions = list(model.body.regions)
    given = [part.region for part in model.parts]
    for region in given:
        if region not in regions:
            raise InputError(
                f"part '{region}': no such region; the body has: {', '.join(regions)}", key=region
            )
    missing = [region for region in regions if region not in given]
    if missing or len(set(given)) != len(given):
        raise InputError(
            f"each region needs exactly one part; missing: {', '.join(missing) or 'none'}", key="parts"
        )


def _check_laid(model: Model) -> None:
    unknown = [region for region in model.deposited if region not in model.body.regions]
    if unknown or (model.deposited and len(model.deposited) == len(model.body.regions)):
        raise InputError(
            f"deposited = {list(model.deposited)}: name some, not all, of the body's regions: "
            f"{', '.join(model.body.regions)}",
            key="deposited",
        )
    if model.deposited and (model.drawn_pressure is None or model.body.base_node is None):
        raise InputError(
            "deposited parts need drawn_pressure, the pressure under which the others are drawn, and "
            "body.base_node, the nodes on which they stand",
            key="deposited",
        )
    if model.deposited and model.solved_potential:
        raise InputError("with parts that are deposited, electrics must be layered", key="electrics")


def _check_electrodes(model: Model) -> None:
    names = [e.name for e in model.electrodes]
    if sorted(names) != sorted(model.body.bands):
        raise InputError(
            f"electrodes {names} do not match the body's bands {sorted(model.body.bands)}", key="electrodes"
        )
    if model.electrics not in ("layered", "solved"):
        raise InputError(f"electrics = '{model.electrics}' must be layered or solved", key="electrics")
    for name in names:
        for region in regions_of_band(model.body, name):
            part = model.part_of(region)
            if part.sheets is None:
                raise InputError(f"electrode '{name}' lies on '{region}', which has no sheets", key=name)
            if not part.material.permittivity > 0:
                raise InputError(
                    f"electrode '{name}': material '{part.material.name}' has permittivity "
                    f"{part.material.permittivity}; it must be positive",
                    key=name,
                )
            if model.electrics == "solved" and part.sheets.count != 1:
                raise InputError(
                    f"electrics = 'solved' draws every sheet as a layer of its own; '{region}' has "
                    f"{part.sheets.count} sheets, use 1 (or electrics = 'layered')",
                    key=name,
                )


def regions_of_band(body: Body, band: str) -> list[str]:
    """Regions in which an electrode band has cells."""
    cells: IntArray = body.bands[band]
    return [region for region, members in body.regions.items() if np.isin(members, cells).any()]
