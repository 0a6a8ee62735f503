# SPDX-License-Identifier: MIT
"""The features of the program that a case uses, as words; published checks name those that they cover."""

from collections.abc import Iterator

from annelid.cases.convert.path import NO_SEARCH, seek_limit_of
from annelid.cases.convert.twist import has_twist
from annelid.cases.schema.case import Case
from annelid.solver.model.stepping import NO_STATE

__all__ = ["features_of"]


def features_of(case: Case) -> tuple[str, ...]:
    """Return the features of a resolved case, each once."""
    return tuple(dict.fromkeys(_features(case)))


def _features(case: Case) -> Iterator[str]:
    yield case.mesh.model if case.mesh.model == "axisymmetric" else "3-D"
    yield case.shape.kind
    yield from (case.materials[part.material].law for part in case.parts)
    yield from _tables(case)
    yield from _loads(case)
    if case.electrodes:
        yield from ("dielectric", f"{case.electrics.model} field")
    if any(part.sheets is not None and part.sheet_count > 1 for part in case.parts):
        yield "sheets"
    if any(part.fibres is not None for part in case.parts):
        yield "fibres"
    if any({part.natural_stretch.hoop, part.natural_stretch.axial} != {1.0} for part in case.parts):
        yield "natural stretch"
    if has_twist(case):
        yield "twist"
    if case.mesh.model == "axisymmetric" and case.path.harmonics != NO_STATE:
        yield "harmonics"
    if case.path.beyond_instability != "stop" or seek_limit_of(case) != NO_SEARCH:
        yield "limit points"


def _tables(case: Case) -> Iterator[str]:
    """Features that have a table of their own."""
    given = {
        "lattice": case.lattice,
        "inflated skin": case.making,
        "contact": case.contacts,
        "foundation": case.foundations,
        "flow along a lumen": case.fluid,
        "circuit": case.circuit,
        "charging through a resistance": case.feeds,
    }
    yield from (word for word, table in given.items() if table)


def _loads(case: Case) -> Iterator[str]:
    for stage in case.stages:
        if stage.pressure is not None or any(wave.load == "pressure" for wave in stage.waves):
            yield "pressure"
        if stage.surface_pressure:
            yield "pressure on other surfaces"
        if stage.force or stage.radial_force:
            yield "force"
        if stage.gravity:
            yield "gravity"
        if stage.waves:
            yield "waves"
        if stage.control not in ("load", "flow"):
            yield f"{stage.control} control"
