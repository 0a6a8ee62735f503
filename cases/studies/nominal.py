# SPDX-License-Identifier: MIT
"""The nominal case of a tolerance study: the one in the middle of all its distributions."""

from annelid.cases.schema.case import Case
from annelid.cases.schema.units import show
from annelid.cases.studies.keys import set_keys
from annelid.cases.studies.reading import StudyFile
from annelid.cases.studies.schema import Vary
from annelid.cases.studies.values import Value, internal_unit, to_internal
from annelid.cases.validate.reading import case_from_tables
from annelid.geometry.errors import InputError

__all__ = ["nominal_case"]


def nominal_case(file: StudyFile) -> Case | None:
    """Return the case around which parts scatter, so that the scatter belongs to it.

    Returns:
        The resolved case; ``None`` if the study has lists or derived keys, so that there is no single one, or
        if the case is not valid.
    """
    study = file.study
    if any(entry.key for entry in study.derive):
        return None
    keys: dict[str, Value] = dict(study.fixed)
    for variable in study.vary:
        middle = _middle(variable)
        if variable.key is None or middle is None:
            return None
        keys[variable.key] = middle
    try:
        return case_from_tables(set_keys(file.base, keys), source=str(file.path), folder=file.folder)
    except InputError:
        return None


def _middle(variable: Vary) -> Value | None:
    """The mean of a distribution; ``None`` for a list."""
    if variable.distribution != "uniform":
        return variable.mean
    if variable.start is None or variable.end is None:
        return None
    low, high, unit = to_internal(variable.start), to_internal(variable.end), internal_unit(variable.start)
    return None if unit is None or low is None or high is None else show((low + high) / 2, unit)
