# SPDX-License-Identifier: MIT
"""Whether pressures and dead forces on surfaces act on something."""

from collections.abc import Iterator, Mapping, Sequence

from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.inventory import SIDE_PLANES, Inventory
from annelid.solver.model.boundary import Support
from annelid.solver.model.stages import Stage


def check_loaded_surfaces(
    stages: Sequence[Stage], supports: Sequence[Support], inventory: Inventory
) -> Iterator[Finding]:
    """Pressures and dead forces act on surfaces that can move under them."""
    supported = {s.region: s for s in supports}
    for index, stage in enumerate(stages):
        loaded = [("force", s, _without_motion(supported.get(s), "axial")) for s in stage.forces]
        loaded += [
            ("radial_force", s, _without_motion(supported.get(s), "radial")) for s in stage.radial_forces
        ]
        loaded += [
            ("surface_pressure", s, _without_pressure(s, supported, inventory))
            for s in stage.surface_pressures
        ]
        for key, surface, why in loaded:
            if why:
                error = InvalidValue(why, key=f"{key}.{surface}", subject=f"stage '{stage.name}'")
                yield Finding(("stages", index), error)


def _without_motion(support: Support | None, direction: str) -> str:
    """Why a dead force on a surface does nothing; "" if it does something."""
    if support is None or support.hold == "symmetric":  # its plane may hold another direction
        return ""
    fixed = support.fixes_axial_motion if direction == "axial" else support.fixes_radial_motion
    return _taken(support, f"{direction} force") if fixed else ""


def _taken(support: Support, load: str) -> str:
    return (
        f"the support of '{support.region}' (hold = '{support.hold}') takes the whole {load}: leave it out, "
        "or let the surface move"
    )


def _without_pressure(surface: str, supported: Mapping[str, Support], inventory: Inventory) -> str:
    """Why a pressure cannot act on a surface; "" if it can."""
    if surface == "lumen":
        return "the pressure in the lumen has a key of its own: give it as pressure"
    own = supported.get(surface)
    if own is not None and own.is_plate:
        return (
            f"a plate covers '{surface}' (hold = '{own.hold}'): give the force on the plate as "
            f"force.{surface}"
        )
    if own is not None and (own.hold == "symmetric" or _without_motion(own, _normal_to(surface))):
        return _taken(own, "pressure")
    edges = [s for s in inventory.surfaces if s not in SIDE_PLANES and inventory.meet(s, surface)]
    plates = [s for s in edges if s in supported and supported[s].is_plate]
    loose = [s for s in edges if s not in plates and not _is_held(supported.get(s))]
    if plates and loose:
        return (
            f"the plate at '{plates[0]}' closes one end of '{surface}', but its edge at '{loose[0]}' moves "
            "freely along the axis, so the thrust of the fluid is not known: hold that edge (hold = 'axial' "
            "or 'all'), or close it with a plate"
        )
    return ""


def _normal_to(surface: str) -> str:
    """Direction across a surface."""
    return "axial" if "end_" in surface else "radial"


def _is_held(support: Support | None) -> bool:
    return support is not None and support.fixes_axial_motion
