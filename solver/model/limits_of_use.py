# SPDX-License-Identifier: MIT
"""Limits beyond which a part cannot be used, or its model does not hold."""

from annelid.solver.model.quantities import BREAKDOWN_MARGIN, COMPRESSED_WALL, TEARING_MARGIN
from annelid.solver.model.stage_ends import EndCondition

LIMITS_OF_USE = {
    "electric breakdown": EndCondition(BREAKDOWN_MARGIN.name, "at most", 1.0),
    "tearing": EndCondition(TEARING_MARGIN.name, "at most", 1.0),
    "wrinkling": EndCondition(COMPRESSED_WALL.name, "at least", 1e-3),
}
"""By name. A wall wrinkles where more than a thousandth of it is compressed further than it carries."""
