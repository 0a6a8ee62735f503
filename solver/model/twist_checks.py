# SPDX-License-Identifier: MIT
"""Whether a part can turn about its axis as its loads and fibres demand; every finding is reported."""

from collections.abc import Iterator, Sequence

from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.inventory import Inventory
from annelid.solver.model.boundary import Support
from annelid.solver.model.parts import Part
from annelid.solver.model.shared_edges import TURNED, check_shared_edges
from annelid.solver.model.stages import Stage

_SECTOR = (
    "a sector has planes of symmetry, which prevent rotation about the axis: set mesh.model = "
    "'axisymmetric' or 'solid'"
)


def check_twist(
    stages: Sequence[Stage], supports: Sequence[Support], parts: Sequence[Part], inventory: Inventory
) -> Iterator[Finding]:
    """Torques act on ends that can turn; supports that turn do not share edges; sectors do not twist."""
    if inventory.model == "sector":
        yield from _check_sector(stages, parts)
    if inventory.model == "solid":
        yield from _check_solid(stages, parts)
    for index, support in enumerate(supports):
        if support.hold == "axial twist" and inventory.model != "axisymmetric":
            text = "'axial twist' needs an axisymmetric model: choose 'all', 'plate all' or 'axial'"
            yield Finding(("supports", index), _about(text, "hold", f"support '{support.region}'"))
    held = {s.region: s.hold for s in supports if s.fixes_rotation}
    for index, stage in enumerate(stages):
        for end in (end for end in stage.torques if end in held):
            text = (
                f"the support of '{end}' (hold = '{held[end]}') takes the torque, so nothing would turn: "
                "prescribe its rotation with twist, or let the end turn (hold = 'axial', 'plate' or 'free')"
            )
            yield Finding(("stages", index), _about(text, f"torque.{end}", f"stage '{stage.name}'"))
    yield from check_shared_edges(stages, list(held), inventory, TURNED)


def _check_sector(stages: Sequence[Stage], parts: Sequence[Part]) -> Iterator[Finding]:
    for index, stage in enumerate(stages):
        for key, entries in (("torque", stage.torques), ("twist", stage.twists)):
            if entries:
                yield Finding(("stages", index), _about(_SECTOR, key, f"stage '{stage.name}'"))
    for index, part in enumerate(parts):
        if part.fibres is not None and part.fibres.twist:
            text = f"one family twists the part, but {_SECTOR}"
            yield Finding(("parts", index), _about(text, "fibres.families", f"part '{part.region}'"))


def _check_solid(stages: Sequence[Stage], parts: Sequence[Part]) -> Iterator[Finding]:
    """A radial dead force keeps its direction in space, so it would turn a twisted part back."""
    turning = any(stage.torques or stage.twists for stage in stages)
    if not (turning or any(part.fibres is not None and part.fibres.twist for part in parts)):
        return
    for index, stage in enumerate(stages):
        for surface in stage.radial_forces:
            text = (
                "a radial force keeps its direction in 3-D while this part turns about its axis: set "
                "mesh.model = 'axisymmetric', where it stays radial"
            )
            yield Finding(("stages", index), _about(text, f"radial_force.{surface}", f"stage '{stage.name}'"))


def _about(text: str, key: str, subject: str) -> InvalidValue:
    return InvalidValue(text, key=key, subject=subject)
