# SPDX-License-Identifier: MIT
"""Whether the stages, the supports and the obstacles of a part suit the flow that answers to it."""

from collections.abc import Iterator, Sequence

from annelid.geometry.checks import nearest
from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.inventory import Inventory
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.lubrication import Closed, Lubrication
from annelid.solver.model.boundary import Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.stages import Stage


def check_flow_stages(stages: Sequence[Stage], flow: Flow | None) -> Iterator[Finding]:
    """A flow and stages in which it answers go together; what it finds is not given as well."""
    flowing = False
    for index, stage in enumerate(stages):
        for key, problem in _problems(stage, flow, flowing):
            yield Finding(("stages", index), InvalidValue(problem, key=key, subject=f"stage '{stage.name}'"))
        flowing = flowing or stage.control == "flow"
    if flow is not None and not flowing:
        text = "answer in no stage: add one with control = 'flow' and a duration"
        yield Finding((), InvalidValue(f"the circuit, the fluid or the feeds {text}", key="stages"))


def _problems(stage: Stage, flow: Flow | None, flowing: bool) -> Iterator[tuple[str, str]]:
    """Keys of a stage that do not suit a flow, and why."""
    if stage.control != "flow":
        if flowing:
            yield (
                "control",
                f"'{stage.control}' follows a stage with control = 'flow': put it before that stage",
            )
        return
    if flow is None:
        yield (
            "control",
            "'flow' needs a circuit, a fluid or feeds: add a table [circuit], [fluid] or [[feeds]]",
        )
        return
    if flow.lumen is not None and (stage.pressure is not None or stage.follows_wave("pressure")):
        yield "pressure", "the pressure in the lumen is found: leave it out"


def check_flow_parts(
    flow: Flow | None,
    electrodes: Sequence[str],
    supports: Sequence[Support],
    contacts: Sequence[Contact],
    inventory: Inventory,
) -> Iterator[Finding]:
    """The flow has a lumen and electrodes to act on, and the lumen ends in planes."""
    if flow is None:
        return
    for name in flow.fed:
        if name not in electrodes:
            text = f"'{name}' is not an electrode{nearest(name, electrodes)}"
            yield Finding((), InvalidValue(text, key="feeds", value=name))
    if flow.lumen is None:
        return
    table = "fluid" if flow.sections else "circuit"
    if not inventory.has_lumen:
        yield Finding((), InvalidValue("this shape has no lumen: leave it out", key=table))
        return
    yield from _shut_ends(flow, inventory)
    held = {s.region for s in supports if s.fixes_axial_motion or s.is_plate}
    for end in inventory.open_ends:
        if end not in held:
            text = (
                f"needs ends of the lumen that do not move freely along the axis, but '{end}' does: hold it "
                "(hold = 'axial' or 'all'), or close it with a plate"
            )
            yield Finding((), InvalidValue(text, key=table))
    if flow.sections:
        yield from _obstacles(contacts, supports, inventory)


def _obstacles(
    contacts: Sequence[Contact], supports: Sequence[Support], inventory: Inventory
) -> Iterator[Finding]:
    """A fluid flows around cylinders on the axis alone, between ends that keep their place."""
    inside = [contact for contact in contacts if contact.surface == "lumen"]
    for contact in inside:
        if contact.kind != "cylinder" or contact.part_is != "outside":
            text = (
                f"flows around a cylinder on the axis, but '{contact.name}' is none that the lumen "
                "surrounds: write kind = 'cylinder', take a circuit, or leave the obstacle out"
            )
            yield Finding((), InvalidValue(text, key="fluid"))
    held = {s.region for s in supports if s.fixes_axial_motion}
    loose = [end for end in inventory.open_ends if end not in held]
    if inside and loose:
        text = (
            f"flows around '{inside[0].name}' between ends that keep their place, but '{loose[0]}' moves: "
            "hold it (hold = 'axial' or 'all')"
        )
        yield Finding((), InvalidValue(text, key="fluid"))


def _shut_ends(flow: Flow, inventory: Inventory) -> Iterator[Finding]:
    """Nothing flows through an end at which the shape is closed."""
    if not isinstance(flow.lumen, Lubrication):
        return
    for key, surface, end in (
        ("lower", "end_low", flow.lumen.lower),
        ("upper", "end_high", flow.lumen.upper),
    ):
        if not isinstance(end, Closed) and not any(name.endswith(surface) for name in inventory.open_ends):
            text = "the lumen of this shape is closed there: write kind = 'closed'"
            yield Finding(("fluid",), InvalidValue(text, key=f"{key}.kind"))
