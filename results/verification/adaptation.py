# SPDX-License-Identifier: MIT
"""The record of how the mesh of a run was chosen: errors estimated on it, and the meshes before it."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

__all__ = ["Adaptation", "AdaptedQuantity", "MeshPass", "adaptation_of"]


@dataclass(frozen=True)
class AdaptedQuantity:
    """The estimated error of a quantity on the chosen mesh; all numbers but the share in ``unit``.

    Attributes:
        quantity: Name.
        stage: Stage at whose end it was judged.
        unit: Internal unit.
        value: Value on this mesh.
        error: Estimated exact value less this one.
        bar: Half of the width of the error bar.
        share: The bar over the size to which the accuracy refers.
    """

    quantity: str
    stage: str
    unit: str
    value: float
    error: float
    bar: float
    share: float


@dataclass(frozen=True)
class MeshPass:
    """One mesh on the way.

    Attributes:
        rows: Elements along the part.
        columns: Elements through it.
        unknowns: Unknowns.
        share: Largest share of ``AdaptedQuantity``, ``nan`` if no error could be estimated.
        quantity: Quantity that has it.
    """

    rows: int
    columns: int
    unknowns: int
    share: float
    quantity: str


@dataclass(frozen=True)
class Adaptation:
    """How the mesh of a run was chosen.

    Attributes:
        accuracy: Relative error that was allowed.
        reached: Whether the bars of all quantities are below it.
        text: The result in one sentence.
        quantities: The quantities.
        passes: The meshes, the last one being that of the run.
        edges_along: Element edges along the part, mm.
        edges_through: Element edges through it, mm.
        lines: Those of them at ends of the part and edges of electrodes, along it, mm.
        notes: Sentences on what was not judged.
    """

    accuracy: float
    reached: bool
    text: str
    quantities: tuple[AdaptedQuantity, ...]
    passes: tuple[MeshPass, ...]
    edges_along: tuple[float, ...]
    edges_through: tuple[float, ...]
    lines: tuple[float, ...]
    notes: tuple[str, ...] = ()

    def to_mapping(self) -> dict[str, Any]:
        """Return it as a table of a summary."""
        return asdict(self)


def adaptation_of(summary: Mapping[str, Any]) -> Adaptation | None:
    """Return how the mesh of a run was chosen; ``None`` if its sizes were given."""
    data = summary.get("adaptation")
    if not data:
        return None
    return Adaptation(
        float(data["accuracy"]),
        bool(data["reached"]),
        str(data["text"]),
        tuple(AdaptedQuantity(**{**entry, "share": float(entry["share"])}) for entry in data["quantities"]),
        tuple(MeshPass(**{**entry, "share": float(entry["share"])}) for entry in data["passes"]),
        edges_along=tuple(map(float, data["edges_along"])),
        edges_through=tuple(map(float, data["edges_through"])),
        lines=tuple(map(float, data["lines"])),
        notes=tuple(data["notes"]),
    )
