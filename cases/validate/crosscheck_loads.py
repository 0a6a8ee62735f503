# SPDX-License-Identifier: MIT
"""Supports, sections and stages against the shape: what is held and loaded must be there."""

from collections.abc import Iterator

from annelid.cases.schema.case import Case
from annelid.cases.validate.extents import has_lumen, part_span, surfaces
from annelid.cases.validate.messages import one_of
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.stages import CONTROLS, Stage

__all__ = ["Problem", "edge_problems", "section_problems", "stage_problems", "surface_problems"]

Problem = tuple[tuple[str | int, ...], str]  # keys down to the culprit, and what is wrong
_AXIAL_HOLDS = ("all", "axial")  # these also can be moved


def edge_problems(
    span: tuple[float, float], keys: tuple[str | int, ...], start: float | None, end: float | None
) -> Iterator[Problem]:
    """Edges ``from`` and ``to`` that lie off the layers or the wrong way round."""
    low, high = span
    start, end = low if start is None else start, high if end is None else end
    for key, edge in (("from", start), ("to", end)):
        if not low - 1e-9 <= edge <= high + 1e-9:
            yield (*keys, key), f"{edge:g} mm is outside the layer; it must be from {low:g} mm to {high:g} mm"
    if start >= end:
        yield (*keys, "to"), f"{end:g} mm must be above from, which is {start:g} mm"


def surface_problems(case: Case) -> Iterator[Problem]:
    """Supports and tissue beds on surfaces that are not there, and a part that nothing holds."""
    known = surfaces(case.shape, case.mesh)
    named = [("supports", index, support.region) for index, support in enumerate(case.supports)]
    named += [("contacts", index, contact.surface) for index, contact in enumerate(case.contacts)]
    named += [("tissue_beds", index, bed.region) for index, bed in enumerate(case.tissue_beds)]
    for table, index, region in named:
        if region not in known:
            key = "surface" if table == "contacts" else "region"
            yield (table, index, key), one_of(region, known, what="a surface of this shape")
    yield from _shared_edges(case)
    beds = any(bed.direction == "all" for bed in case.tissue_beds)
    holds = (*_AXIAL_HOLDS, "symmetric", "floating")
    if not beds and not any(support.hold in holds for support in case.supports):
        text = "nothing keeps the part from drifting along its axis; hold one end, for example hold = "
        if any(name.startswith(("end_", "core_end_")) for name in known):
            text += '"axial", or let it float: region = "outer", hold = "floating"'
        else:
            text = (
                "nothing keeps the closed part from drifting; let it float, which takes no force: "
                'region = "outer", hold = "floating"'
            )
        yield ("supports",), text


def _shared_edges(case: Case) -> Iterator[Problem]:
    """A plate moves; what it shares an edge with may not be held along the axis in another way."""
    if not isinstance(case.shape, Sleeve) or case.shape.core_overhang > 0:
        return
    holds = {support.region: support.hold for support in case.supports}
    for index, support in enumerate(case.supports):
        other = (
            support.region.removeprefix("core_") if "core_" in support.region else f"core_{support.region}"
        )
        if support.hold.startswith("plate") and holds.get(other, "radial") != "radial":
            text = (
                f'"{support.hold}" meets "{other}", which is held "{holds[other]}", at their common edge; '
                f'put one of them on the plate and leave the other out, or hold both "axial"'
            )
            yield ("supports", index, "hold"), text


def section_problems(case: Case) -> Iterator[Problem]:
    """Sections outside the part."""
    if case.making is not None:
        return  # heights of the inflated shape, which is not known here
    low, high = part_span(case)
    for index, section in enumerate(case.sections):
        if not low <= section.at <= high:
            text = f"{section.at:g} mm is outside the part; it must be from {low:g} mm to {high:g} mm"
            yield ("sections", index, "at"), text


def stage_problems(case: Case) -> Iterator[Problem]:
    """Loads that have nothing to act on, or that contradict each other."""
    electrodes = [electrode.name for electrode in case.electrodes]
    for index, stage in enumerate(case.stages):
        keys = ("stages", index)
        for name in stage.voltage:
            if name not in electrodes and not (name == "all" and electrodes):
                yield (*keys, "voltage", name), one_of(name, electrodes, what="an electrode")
        yield from _stage_surfaces(case, keys, stage)
        for key in ("pressure", "volume"):
            if getattr(stage, key) is not None and not has_lumen(case.shape):
                yield (*keys, key), "this shape has no lumen to fill; leave it out"
        yield from _control(case, keys, stage)
        if stage.pressure or stage.volume is not None:
            yield from _closed_lumen(case, keys)
        if stage.volume is not None and stage.pressure is not None:
            yield (*keys, "volume"), "give a volume or a pressure, not both: one follows from the other"


def _control(case: Case, keys: tuple[str | int, ...], stage: Stage) -> Iterator[Problem]:
    """Targets and controls that do not belong together, and controls without anything to find."""
    given = [control for control, key in CONTROLS.items() if getattr(stage, key)]
    if len(given) > 1:
        names = " and ".join(f'"{CONTROLS[control]}"' for control in given)
        yield (*keys, CONTROLS[given[1]]), f"{names} both drive the stage; give one of them"
        return
    control = given[0] if given else stage.control
    if control != "load" and not given:
        text = f'"{control}" needs a target ({CONTROLS[control]}) in the same stage; give it or leave it out'
        yield (*keys, "control"), text
    if given and stage.control not in ("load", control):
        yield (*keys, "control"), f'"{stage.control}" does not go with {CONTROLS[control]}; leave it out'
    loads = stage.pressure is not None or stage.voltage or stage.force or stage.move or stage.obstacle
    if control in ("displacement", "opening", "arc") and not loads:
        text = f'"{control}" scales the loads of the stage and it has none; give a pressure or another load'
        yield (*keys, CONTROLS[control]), text
    if control in ("volume", "charge") and case.path.beyond_instability == "branch":
        text = 'does not go with path.beyond_instability = "branch", which follows given loads; give an arc'
        yield (*keys, CONTROLS[control]), text
    if stage.backward and control != "arc":
        yield (*keys, "backward"), "only an arc can set out backward; leave it out"
    yield from _control_names(case, keys, stage)


def _control_names(case: Case, keys: tuple[str | int, ...], stage: Stage) -> Iterator[Problem]:
    electrodes = [electrode.name for electrode in case.electrodes]
    for name in stage.charge:
        if name not in electrodes:
            yield (*keys, "charge", name), one_of(name, electrodes, what="an electrode")
        elif name in stage.voltage or "all" in stage.voltage:
            yield (*keys, "charge", name), "its voltage follows from the charge; leave the voltage out"
    sections = [section.name for section in case.sections]
    for name in stage.opening:
        if name not in sections:
            yield (*keys, "opening", name), one_of(name, sections, what="a section")
    if len(stage.opening) > 1:
        yield (*keys, "opening"), "names more than one section; give one"
    contacts = [contact.name for contact in case.contacts]
    for name in stage.obstacle:
        if name not in contacts:
            yield (*keys, "obstacle", name), one_of(name, contacts, what="a contact")
    if stage.point is not None:
        flat = case.mesh.model == "axisymmetric"
        if len(stage.point.at) != (2 if flat else 3):
            yield (*keys, "point", "at"), f"must have {2 if flat else 3} coordinates in this model"
        allowed = ["radial", "axial"] if flat else ["axial", "x", "y", "z"]
        if stage.point.direction not in allowed:
            text = one_of(stage.point.direction, allowed, what="a direction of this model")
            yield (*keys, "point", "direction"), text


def _stage_surfaces(case: Case, keys: tuple[str | int, ...], stage: Stage) -> Iterator[Problem]:
    ends = [name for name in ("end_low", "end_high") if name in surfaces(case.shape, case.mesh)]
    held = [support.region for support in case.supports if support.hold in _AXIAL_HOLDS]
    for name in stage.force:
        if name not in ends:
            yield (*keys, "force", name), one_of(name, ends, what="a surface that takes a force")
    for name in stage.move:
        if name not in held:
            yield (*keys, "move", name), one_of(name, held, what="a surface held along the axis")


def _closed_lumen(case: Case, keys: tuple[str | int, ...]) -> Iterator[Problem]:
    """A pressure acts on nothing where an open end of the lumen is free along the axis."""
    if not has_lumen(case.shape):
        return
    ends = ("core_end_low", "core_end_high") if isinstance(case.shape, Sleeve) else ("end_low", "end_high")
    held = {support.region for support in case.supports if support.hold != "radial"}
    if isinstance(case.shape, Tube) and case.shape.ends == "capped":
        return
    for end in ends:
        if end in surfaces(case.shape, case.mesh) and end not in held:
            text = (
                f'the lumen is open at "{end}", which is free along the axis, so pressure would act on '
                'nothing there; hold it (hold = "axial" or "all"), close it with a plate (hold = "plate"), '
                'or say hold = "free" if the pressure is to act on the wall alone'
            )
            yield keys, text
