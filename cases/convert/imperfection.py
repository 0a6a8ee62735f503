# SPDX-License-Identifier: MIT
"""Conversion of the imperfection of a resolved case into a record of the geometry."""

import numpy as np

from annelid.cases.schema.case import Case
from annelid.cases.schema.imperfection import ImperfectionPointsTable
from annelid.geometry.errors import InvalidValue
from annelid.geometry.meshing.imperfection import Imperfection

__all__ = ["imperfection_of"]

_LISTS = ("radius", "height", "outwards", "around", "along")


def imperfection_of(case: Case) -> Imperfection | None:
    """Return the imperfection of a resolved case; ``None`` if it has none.

    Raises:
        InvalidValue: A value is not allowed, or the lists differ in length.
    """
    table = case.imperfection
    if not isinstance(table, ImperfectionPointsTable):
        return None
    lists = {key: np.array(getattr(table, key)) for key in _LISTS}
    for key, values in lists.items():
        if len(values) != len(lists["radius"]):
            text = f"has {len(values)} entries, but radius has {len(lists['radius'])}: give one per point"
            raise InvalidValue(text, key=key)
    places, mode = (np.column_stack([lists[key] for key in keys]) for keys in (_LISTS[:2], _LISTS[2:]))
    return Imperfection(places, mode, table.waves, table.size)
