# SPDX-License-Identifier: MIT
"""What a case does not say about the limits of its materials, so that they are not judged."""

from annelid.cases.convert.path import NO_SEARCH, seek_limit_of
from annelid.cases.convert.twist import has_twist
from annelid.cases.schema.case import Case
from annelid.solver.model.stepping import NO_STATE

__all__ = ["has_tearing_limit", "missing_limits", "not_judged"]


def has_tearing_limit(case: Case, material: str) -> bool:
    """Return whether a material has a stretch or a stress at which it tears."""
    table = case.materials[material]
    return table.tearing_stretch is not None or table.tensile_strength is not None


def missing_limits(case: Case) -> dict[str, str]:
    """Return the materials with their missing keys, by the limit (breakdown, tearing) not judged in them."""
    energised = {electrode.region for electrode in case.electrodes}
    sheets = [part.material for part in case.parts if part.region in energised]
    weak = [name for name in sheets if case.materials[name].breakdown_field is None]
    tearing = [part.material for part in case.parts if not has_tearing_limit(case, part.material)]
    missing = {
        "breakdown": _text(weak, "no breakdown_field"),
        "tearing": _text(tearing, "neither tearing_stretch nor tensile_strength"),
    }
    return {limit: text for limit, text in missing.items() if text}


def not_judged(case: Case) -> list[str]:
    """Return what a run of the case leaves open: limits without a value, shapes that the model excludes."""
    texts = [f"{limit} is not judged: {text}" for limit, text in missing_limits(case).items()]
    mesh = case.mesh
    if mesh is not None and mesh.model == "axisymmetric":
        texts.append(_around_the_axis(case))
    if mesh is not None and mesh.model == "sector":
        texts.append("shapes that do not repeat from sector to sector are not judged")
    if seek_limit_of(case) == NO_SEARCH:
        texts.append("limits above the requested loads are not searched: set path.seek_limit")
    return texts


def _around_the_axis(case: Case) -> str:
    unknown = (
        "an axisymmetric model stays round and straight, so that bending as a column, lobes and folds "
        "around the axis are not judged"
    )
    if case.fluid is not None or has_twist(case):
        return unknown
    if case.path.harmonics == NO_STATE:
        return f"{unknown}: set path.harmonics"
    return (
        "an axisymmetric model finds where a part bends sideways, goes oval or folds, but not its shape "
        "after that"
    )


def _text(materials: list[str], missing: str) -> str:
    names = [f"'{name}'" for name in dict.fromkeys(materials)]
    if not names:
        return ""
    noun, verb = ("material", "gives") if len(names) == 1 else ("materials", "give")
    return f"{noun} {' and '.join(names)} {verb} {missing}"
