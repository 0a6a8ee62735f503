# SPDX-License-Identifier: MIT
"""Checks of supports, foundations, obstacles and stages against the surfaces of a part."""

from collections.abc import Iterator
from typing import NamedTuple

from annelid.cases.convert.model import contact_of
from annelid.cases.schema.case import Case
from annelid.cases.validate.findings import Findings
from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.inventory import Inventory
from annelid.solver.model import checks
from annelid.solver.model.boundary import Foundation, Section, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.load_checks import check_loaded_surfaces
from annelid.solver.model.parts import Part
from annelid.solver.model.ramp import check_wave_starts
from annelid.solver.model.shared_edges import check_shared_edges
from annelid.solver.model.stages import Stage
from annelid.solver.model.twist_checks import check_twist

__all__ = ["Boundary", "build_boundary", "check_boundary", "check_stages"]


class Boundary(NamedTuple):
    """The valid records of what holds a part and of where it is read.

    Attributes:
        supports: Supports.
        foundations: Elastic foundations.
        contacts: Contacts with obstacles.
        sections: Named sections.
    """

    supports: list[Support]
    foundations: list[Foundation]
    contacts: list[Contact]
    sections: list[Section]


def build_boundary(case: Case, findings: Findings) -> Boundary:
    """Build the records; errors are added to the findings."""
    build = findings.records
    return Boundary(
        build("supports", case.supports, lambda s: Support(s.region, s.hold)),
        build("foundations", case.foundations, lambda f: Foundation(f.region, f.stiffness, f.direction)),
        build("contacts", case.contacts, contact_of),
        build("sections", case.sections, lambda s: Section(s.name, s.at)),
    )


def check_boundary(boundary: Boundary, inventory: Inventory, findings: Findings) -> None:
    """Check that the surfaces exist, and that something holds the part along its axis."""
    supports, foundations, contacts, _ = boundary
    findings.check(checks.check_surfaces(supports, foundations, contacts, inventory))
    if findings.complete("supports", "foundations"):
        findings.check(_free_axial_motion(supports, foundations, inventory))


def check_stages(
    stages: list[Stage],
    boundary: Boundary,
    parts: list[Part],
    case: Case,
    inventory: Inventory,
    findings: Findings,
) -> None:
    """Check that the loads of the stages have something to act on, which no support takes."""
    supports, _, contacts, _ = boundary
    known, named = findings.complete("supports"), findings.named("supports", "region")
    names = checks.Names(
        findings.named("electrodes"),
        findings.named("contacts"),
        findings.named("sections"),
        tuple(s.region for s in supports if s.can_be_moved) if known else named,
        tuple(s.region for s in supports if s.fixes_rotation) if known else named,
    )
    findings.check(checks.check_stages(stages, names, inventory))
    findings.check(checks.check_obstacles(stages, contacts))
    if findings.complete("stages", "contacts"):
        early = {index for index, table in enumerate(case.stages) if table.until}
        findings.check(check_wave_starts(stages, contacts, early))
    if findings.complete("supports"):
        findings.check(checks.check_lumen(stages, supports, inventory))
        findings.check(check_loaded_surfaces(stages, supports, inventory))
        findings.check(
            check_shared_edges(stages, [s.region for s in supports if s.fixes_axial_motion], inventory)
        )
        findings.check(check_twist(stages, supports, parts, inventory))


def _free_axial_motion(
    supports: list[Support], foundations: list[Foundation], inventory: Inventory
) -> Iterator[Finding]:
    """Find out whether nothing fixes the part along its axis."""
    fixed = any(s.fixes_rigid_motion for s in supports) or any(f.direction == "all" for f in foundations)
    if fixed:
        return
    ends = any(name.removeprefix("core_").startswith("end_") for name in inventory.surfaces)
    text = "nothing prevents a rigid motion of the part along its axis: "
    text += "support one end with hold = 'axial', or " if ends else ""
    text += "add a support with region = 'outer' and hold = 'rigid motion', which exerts no force"
    yield Finding((), InvalidValue(text, key="supports"))
