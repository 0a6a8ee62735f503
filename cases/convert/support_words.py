# SPDX-License-Identifier: MIT
"""The supports of a case in words."""

from annelid.cases.convert.twist import has_twist
from annelid.cases.schema.case import Case

_HOLDS = {
    "all": "clamped",
    "axial": "fixed along the axis, free to change its radius",
    "axial twist": "fixed along the axis and against rotation, free to change its radius",
    "radial": "keeps its radius, free along the axis",
    "symmetric": "a plane of symmetry",
    "plate": "on a stiff plate that can move along the axis",
    "plate all": "on a stiff plate that can move along the axis, with its radius fixed",
    "rigid motion": "fixed against rigid motions only, without a force",
    "free": "free; the pressure acts on the wall alone",
}
_ROTATION = {  # of supports in parts that twist, where their words do not state it yet
    "axial": " and to turn",
    "radial": ", fixed against rotation",
    "plate": " and turn",
    "plate all": ", and fixed against rotation",
    "free": "; it can turn",
}


def support_sentences(case: Case) -> tuple[str, ...]:
    """Return a sentence on each support, with what it does to the twist of a part that twists."""
    twists = has_twist(case)
    return tuple(
        f"{s.region}: {_HOLDS[s.hold]}{_ROTATION.get(s.hold, '') if twists else ''}." for s in case.supports
    )
