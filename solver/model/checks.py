# SPDX-License-Identifier: MIT
"""What records of a model must agree on: names that exist, loads that act on something.

Each check yields every finding, so that all errors of a case can be reported together. A model and a path
raise the first one.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.inventory import SIDE_PLANES, Inventory
from annelid.solver.model.boundary import Electrode, Foundation, Section, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.loads import LOAD_KINDS
from annelid.solver.model.material import Material
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage


class Names(NamedTuple):
    """Entries that stages refer to."""

    electrodes: tuple[str, ...] = ()
    contacts: tuple[str, ...] = ()
    sections: tuple[str, ...] = ()
    movable: tuple[str, ...] = ()
    turnable: tuple[str, ...] = ()


def check_parts(
    parts: Sequence[Part], regions: Sequence[str], optional: Sequence[str] = ()
) -> Iterator[Finding]:
    """Every region has one part, and every part a region.

    Args:
        parts: The parts.
        regions: Regions of the body.
        optional: Regions that may be left without a part.
    """
    given = [part.region for part in parts]
    for index, name in enumerate(given):
        yield from _unknown(
            "parts", index, f"part '{name}'", "region", name, regions, "a region of this shape"
        )
        if name in given[:index]:
            error = InvalidValue(f"'{name}' has two parts: give each region one", key="region")
            yield Finding(("parts", index), error.about(f"part '{name}'"))
    if not set(given) <= set(regions):
        return  # a misspelt region is reported as unknown
    for region in regions:
        if region not in given and region not in optional:
            yield Finding((), InvalidValue(f"missing: the part of region '{region}'", key="parts"))


def check_surfaces(
    supports: Sequence[Support],
    foundations: Sequence[Foundation],
    contacts: Sequence[Contact],
    inventory: Inventory,
) -> Iterator[Finding]:
    """Supports, foundations and contacts are on surfaces that exist, and plates can move."""
    used = [("supports", i, f"support '{s.region}'", "region", s.region) for i, s in enumerate(supports)]
    used += [
        ("foundations", i, f"foundation '{f.region}'", "region", f.region) for i, f in enumerate(foundations)
    ]
    used += [("contacts", i, f"contact '{c.name}'", "surface", c.surface) for i, c in enumerate(contacts)]
    for table, index, subject, key, name in used:
        yield from _unknown(table, index, subject, key, name, inventory.surfaces, "a surface of this shape")
    yield from _check_plates(supports, inventory)


def _check_plates(supports: Sequence[Support], inventory: Inventory) -> Iterator[Finding]:
    """A plate moves along the axis: what shares an edge with it may not be held along the axis."""
    for index, plate in enumerate(supports):
        for other in supports if plate.is_plate else ():
            if other.fixes_axial_motion and inventory.meet(plate.region, other.region):
                error = InvalidValue(
                    f"the plate shares an edge with '{other.region}', which is held along the axis "
                    f"(hold = '{other.hold}'), so it could not move: give both the same hold",
                    key="hold",
                )
                yield Finding(("supports", index), error.about(f"support '{plate.region}'"))


def check_electrodes(
    electrodes: Sequence[Electrode],
    parts: Sequence[Part],
    bands: Iterable[tuple[str, Sequence[str]]],
    solved: bool,
) -> Iterator[Finding]:
    """Electrodes are on parts of dielectric sheets.

    Args:
        electrodes: The electrodes.
        parts: The parts.
        bands: Name of each electrode band, and the regions it covers.
        solved: Whether the potential is solved for.
    """
    covered, missing = dict(bands), set()
    by_region = {part.region: (index, part) for index, part in enumerate(parts)}
    for electrode in electrodes:
        for region in covered.get(electrode.name, ()):
            if region not in by_region:
                continue
            index, part = by_region[region]
            try:
                part.check_electrode(electrode.name, solved=solved)
            except InvalidValue as refused:
                yield Finding(("parts", index), refused)
                del by_region[region]  # once is enough
                continue
            name = part.material.name
            if part.sheets is not None and not part.material.permittivity > 0 and name not in missing:
                missing.add(name)
                text = f"missing: electrode '{electrode.name}' is in this material"
                error = InvalidValue(text, key="permittivity", subject=f"material '{name}'")
                yield Finding(("materials", name), error)


def check_sections(sections: Sequence[Section], heights: tuple[float, float]) -> Iterator[Finding]:
    """Sections are between the lowest and the highest point of the inner surface, mm."""
    low, high = heights
    for index, section in enumerate(sections):
        try:
            within("at", section.height, least=low, most=high, unit="mm", why="where the inner surface is")
        except InvalidValue as error:
            yield Finding(("sections", index), error.about(f"section '{section.name}'"))


def check_weight(stages: Sequence[Stage], materials: Iterable[Material]) -> Iterator[Finding]:
    """Where gravity acts, every material has a density."""
    heavy = next((stage.name for stage in stages if any(stage.gravity.values())), None)
    for name in dict.fromkeys(m.name for m in materials if heavy is not None and not m.density):
        error = InvalidValue(
            f"missing: gravity acts in stage '{heavy}'", key="density", subject=f"material '{name}'"
        )
        yield Finding(("materials", name), error)


def names_for_stages(
    electrodes: Sequence[Electrode],
    contacts: Sequence[Contact],
    sections: Sequence[Section],
    supports: Sequence[Support],
) -> Names:
    """Collect what stages can refer to."""
    return Names(
        tuple(e.name for e in electrodes),
        tuple(c.name for c in contacts),
        tuple(s.name for s in sections),
        tuple(s.region for s in supports if s.can_be_moved),
        tuple(s.region for s in supports if s.fixes_rotation),
    )


def check_stages(stages: Sequence[Stage], names: Names, inventory: Inventory) -> Iterator[Finding]:
    """What the stages refer to exists."""
    flat = inventory.model == "axisymmetric"
    entries = {
        "electrode": (names.electrodes, "an electrode"),
        "contact": (names.contacts, "a contact"),
        "surface": (tuple(s for s in inventory.surfaces if s not in SIDE_PLANES), "a surface of this shape"),
        "end surface": (inventory.ends, "an end surface"),
        "support": (names.movable, "a support that holds the axial motion"),
        "support against rotation": (names.turnable, "a support that holds the rotation about the axis"),
        "direction": (("axial",) if flat else ("axial", "x", "y"), "a direction of this model"),
    }
    for index, stage in enumerate(stages):
        subject = f"stage '{stage.name}'"
        for kind in LOAD_KINDS:
            if kind.acts_on:
                allowed, what = entries[kind.acts_on]
                for name in stage.target(kind):
                    yield from _unknown("stages", index, subject, f"{kind.key}.{name}", name, allowed, what)
        for name in stage.charges:
            yield from _unknown(
                "stages", index, subject, f"charge.{name}", name, names.electrodes, "an electrode"
            )
        if stage.opening is not None:
            name = stage.opening[0]
            yield from _unknown(
                "stages", index, subject, f"opening.{name}", name, names.sections, "a section"
            )
        given = None if stage.point is None else stage.point.positions.shape[1]
        if given not in (None, 2 if flat else 3):
            text = f"must have {2 if flat else 3} coordinates in this model, got {given}"
            yield Finding(("stages", index), InvalidValue(text, key="point.at", subject=subject))


def check_obstacles(stages: Sequence[Stage], contacts: Sequence[Contact]) -> Iterator[Finding]:
    """The radius of an obstacle is not negative in any stage."""
    round_ones = {contact.name for contact in contacts if contact.has_radius}
    for index, stage in enumerate(stages):
        for name in round_ones & set(stage.obstacles):
            try:
                within(f"obstacle.{name}", stage.obstacles[name], least=0.0, unit="mm", why="a radius")
            except InvalidValue as error:
                yield Finding(("stages", index), error.about(f"stage '{stage.name}'"))


def check_lumen(
    stages: Sequence[Stage], supports: Sequence[Support], inventory: Inventory
) -> Iterator[Finding]:
    """A pressure acts on nothing where an open end of the lumen is free along the axis."""
    held = {s.region for s in supports if s.hold != "radial"}
    free = [end for end in inventory.open_ends if end not in held]
    for index, stage in enumerate(stages):
        pressed = stage.pressure or stage.follows_wave("pressure")
        if not pressed and stage.volume is None:
            continue
        if not inventory.has_lumen:
            text = "this shape has no lumen to fill: leave it out"
        elif free:
            ends = " and ".join(f"'{end}'" for end in free)
            text = (
                f"the lumen is open at {ends}, free along the axis, so the pressure would act on nothing "
                "there: hold the end (hold = 'axial' or 'all'), close it with a plate (hold = 'plate'), or "
                "set hold = 'free' if the pressure shall act on the wall alone"
            )
        else:
            continue
        key, subject = "pressure" if pressed else "volume", f"stage '{stage.name}'"
        yield Finding(("stages", index), InvalidValue(text, key=key, subject=subject))


def _unknown(
    table: str, index: int, subject: str, key: str, name: str, allowed: Sequence[str], what: str
) -> Iterator[Finding]:
    try:
        one_of(key, name, allowed, what=what)
    except InvalidValue as error:
        yield Finding((table, index), error.about(subject))
