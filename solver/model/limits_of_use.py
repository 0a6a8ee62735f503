# SPDX-License-Identifier: MIT
"""Limits beyond which a part cannot be used, or its model does not hold, and their names."""

from annelid.solver.model.quantities import BREAKDOWN_MARGIN, COMPRESSED_WALL, PERCENTILE, TEARING_MARGIN
from annelid.solver.model.stage_ends import EndCondition

LIMITS_OF_USE = {
    "electric breakdown": EndCondition(BREAKDOWN_MARGIN.name, "at most", 1.0),
    "tearing": EndCondition(TEARING_MARGIN.name, "at most", 1.0),
    "wrinkling": EndCondition(COMPRESSED_WALL.name, "at least", 1 - PERCENTILE / 100),
}
"""By name. As in the margins, the most loaded 0.5 % of the volume is left out: clamps compress the wall."""

_WORDS = {
    ("limit point", "voltage"): "pull-in (limit point)",
    ("limit point", "pressure"): "snap at the pressure maximum (limit point)",
    ("limit point", ""): "snap (limit point)",
    ("bifurcation", ""): "buckling, bulging or necking (bifurcation)",
    ("wrinkling", ""): "wrinkling of the wall",
    ("self-contact", ""): "contact of walls with each other",
}


def limit_words(kind: str, load: str) -> str:
    """Return the name of a limit, one of ``LIMITS_OF_USE`` or a critical point, as one load grows."""
    return _WORDS.get((kind, load), _WORDS.get((kind, ""), kind))
