# SPDX-License-Identifier: MIT
"""The case: all that a case file may say, in one tree of tables."""

from typing import Annotated, Any

from pydantic import Field

from annelid.cases.schema.base import Name, Table
from annelid.cases.schema.contact import Contact
from annelid.cases.schema.lattice import Lattice
from annelid.cases.schema.making import Making
from annelid.cases.schema.material import Material, Part
from annelid.cases.schema.shape import Mesh, Shape
from annelid.cases.schema.stage import (
    Electrics,
    Electrode,
    Output,
    Path,
    Requirement,
    Section,
    Stage,
    Support,
    TissueBed,
)

__all__ = ["Case", "json_schema"]


class Case(Table):
    """One part, what it is made of, how it is held, what is done to it and what it must do."""

    title: Annotated[str, Field(min_length=1)]
    """What the case is, in a few words."""
    notes: str = ""
    """Anything worth saying about the case; it is printed in the report."""
    shape: Shape
    """The drawing."""
    lattice: Lattice | None = None
    """A printed lattice on the wall."""
    making: Making | None = None
    """How the part is made: inflated, printed on, released."""
    mesh: Mesh
    """How finely the drawing is meshed."""
    materials: Annotated[dict[Name, Material], Field(min_length=1)]
    """Materials by name."""
    parts: Annotated[tuple[Part, ...], Field(min_length=1)]
    """What each region is made of."""
    electrics: Electrics = Electrics()
    """How the electric field is found."""
    electrodes: tuple[Electrode, ...] = ()
    """Ring electrodes."""
    supports: tuple[Support, ...] = ()
    """How surfaces are held."""
    tissue_beds: tuple[TissueBed, ...] = ()
    """Elastic surroundings."""
    contacts: tuple[Contact, ...] = ()
    """Rigid obstacles that surfaces may touch."""
    sections: tuple[Section, ...] = ()
    """Named heights at which the radius is reported."""
    stages: Annotated[tuple[Stage, ...], Field(min_length=1)]
    """What is done, in order."""
    requirements: tuple[Requirement, ...] = ()
    """What the part must do; judged in the report."""
    path: Path = Path()
    """How the path of equilibria is followed."""
    output: Output = Output()
    """What is written beside the tables."""


def json_schema() -> dict[str, Any]:
    """JSON Schema of a case file, for completion and checks in editors."""
    schema = Case.model_json_schema(by_alias=True)
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "annelid case"}
    return head | _without_null(schema)


def _without_null(entry: Any) -> Any:
    """TOML has no word for nothing, so what may be left out need not be allowed to be null."""
    if isinstance(entry, list):
        return [_without_null(item) for item in entry]
    if not isinstance(entry, dict):
        return entry
    plain = {key: _without_null(item) for key, item in entry.items() if item is not None}
    choices = [choice for choice in plain.pop("anyOf", []) if choice != {"type": "null"}]
    if len(choices) == 1:
        return plain | choices[0]
    return plain | {"anyOf": choices} if choices else plain
