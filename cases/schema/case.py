# SPDX-License-Identifier: MIT
"""The tables of a case file as one tree."""

from typing import Annotated, Any

from pydantic import Field

from annelid.cases.schema.base import Name, Table
from annelid.cases.schema.comparison import ComparisonTable
from annelid.cases.schema.contact import ContactTable
from annelid.cases.schema.fabrication import FabricationTable
from annelid.cases.schema.flow import CircuitTable, FeedTable, FluidTable
from annelid.cases.schema.imperfection import ImperfectionTable
from annelid.cases.schema.lattice import LatticeTable
from annelid.cases.schema.making import MakingTable
from annelid.cases.schema.material import MaterialTable, PartTable
from annelid.cases.schema.mesh import MeshTable
from annelid.cases.schema.shape import ShapeTable
from annelid.cases.schema.stage import (
    ElectricsTable,
    ElectrodeTable,
    FoundationTable,
    OutputTable,
    RequirementTable,
    SectionTable,
    StageTable,
    SteppingTable,
    SupportTable,
    SurroundingsTable,
)

__all__ = ["Case", "json_schema"]


class Case(Table):
    """A part with its shape, materials, supports, electrodes, loads and requirements."""

    title: Annotated[str, Field(min_length=1)]
    """Short description of the case."""
    notes: str = ""
    """Remarks on the case; they are printed in the report."""
    shape: ShapeTable
    """The shape as drawn."""
    lattice: LatticeTable | None = None
    """A printed lattice on the wall."""
    making: MakingTable | None = None
    """How the part is made: the skin is inflated, printed on and released."""
    imperfection: ImperfectionTable | None = None
    """A small deviation of the drawn part from its shape of revolution, in 3-D models."""
    mesh: MeshTable = MeshTable()
    """Element sizes of the mesh, or the accuracy for which they are chosen."""
    materials: Annotated[dict[Name, MaterialTable], Field(min_length=1)]
    """Materials by name."""
    parts: Annotated[tuple[PartTable, ...], Field(min_length=1)]
    """Materials of the regions."""
    electrics: ElectricsTable = ElectricsTable()
    """How the electric field is computed."""
    electrodes: tuple[ElectrodeTable, ...] = ()
    """Electrodes."""
    supports: tuple[SupportTable, ...] = ()
    """Supports of surfaces."""
    foundations: tuple[FoundationTable, ...] = ()
    """Elastic foundations, such as surrounding tissue."""
    contacts: tuple[ContactTable, ...] = ()
    """Rigid obstacles that surfaces may touch."""
    surroundings: SurroundingsTable = SurroundingsTable()
    """What surrounds the part."""
    sections: tuple[SectionTable, ...] = ()
    """Named heights at which the radius is reported."""
    circuit: CircuitTable | None = None
    """A circuit that the lumen is connected to."""
    fluid: FluidTable | None = None
    """A viscous fluid that flows along the lumen."""
    feeds: tuple[FeedTable, ...] = ()
    """Electrodes that are fed through a resistance."""
    stages: Annotated[tuple[StageTable, ...], Field(min_length=1)]
    """Changes of the loads, in order."""
    fabrication: FabricationTable | None = None
    """How the maker casts, cuts and connects the part, for its fabrication sheet."""
    comparison: ComparisonTable | None = None
    """How scans of the part are compared with a run, and what is required of measured parts."""
    requirements: tuple[RequirementTable, ...] = ()
    """Limits on quantities; the report states whether they are met."""
    path: SteppingTable = SteppingTable()
    """How the path of equilibria is followed."""
    output: OutputTable = OutputTable()
    """What is written in addition to the tables."""

    @property
    def cover(self) -> tuple[str, ...]:
        """Layers that are cast over a printed lattice."""
        return () if self.making is None else self.making.cover


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of case files, for completion and checks in editors."""
    schema = Case.model_json_schema(by_alias=True)
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "annelid case"}
    return head | _without_null(schema)


def _without_null(entry: Any) -> Any:
    """Remove null from the allowed values of optional keys, because TOML has no null."""
    if isinstance(entry, list):
        return [_without_null(item) for item in entry]
    if not isinstance(entry, dict):
        return entry
    plain = {key: _without_null(item) for key, item in entry.items() if item is not None}
    choices = [choice for choice in plain.pop("anyOf", []) if choice != {"type": "null"}]
    if len(choices) == 1:
        return plain | choices[0]
    return plain | {"anyOf": choices} if choices else plain
