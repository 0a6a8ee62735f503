# SPDX-License-Identifier: MIT
"""The model of a part to be meshed and its element sizes."""

import math
from dataclasses import dataclass
from itertools import pairwise

from annelid.geometry.checks import one_of, whole_number, within
from annelid.geometry.errors import InputError, InvalidValue, checking

MODELS = ("axisymmetric", "solid", "sector")
CELLS = ("hexahedra", "tetrahedra")
MOST_CELLS = 1_000_000
"""Largest number of cells of a mesh."""


def check_count(cells: float, sizes: str, remedy: str) -> None:
    """Refuse a mesh that could only exhaust the memory, before it is made.

    Args:
        cells: Expected number of cells.
        sizes: The sizes that lead to it, for the message.
        remedy: Which of them to change.

    Raises:
        InputError: There are too many cells.
    """
    if not cells <= MOST_CELLS:
        count = math.ceil(min(cells, 1e15))
        text = f"mesh: {sizes} would give about {count} cells, more than {MOST_CELLS}; {remedy}"
        raise InputError(text, key="mesh", cells=cells)


@dataclass(frozen=True, kw_only=True)
class MeshSize:
    """Model and element sizes of a mesh.

    Attributes:
        model: ``"axisymmetric"`` (meridian plane), ``"solid"`` (the whole part in 3-D) or ``"sector"``.
        along: Largest element length along the part and across caps, mm. Elements are shorter where the
            meridian bends, so that it turns by at most 30 degrees along each element.
        across_core: Largest element length across the radius of a core, mm; ``along`` if left out.
        through: Elements through the thickness of each layer.
        around: Elements around the full circumference (3-D models), at least 8. A sector has the
            corresponding fraction, at least one; if the part reaches the axis, the number is increased to
            the next one that an O-grid allows.
        sector: Angle of the sector, degrees, above 0 and at most 180.
        cells: ``"hexahedra"`` or ``"tetrahedra"`` (3-D models; each hexahedron is split into six).
        edges_along: Where element edges lie along the part, ascending, mm from the lower end of the meridian
            or as heights; replaces ``along``. Axisymmetric models only, as are the next two.
        edges_through: Where they lie through the wall, ascending, mm from the axis (tubes and sleeves) or
            from the inner face; replaces ``through`` and ``across_core``.
        divide: Pieces into which elements are then divided along and through the wall.

    Raises:
        InvalidValue: A value is outside its range.
    """

    along: float
    model: str = "axisymmetric"
    through: int = 2
    around: int = 32
    sector: float = 90.0
    cells: str = "hexahedra"
    across_core: float | None = None
    edges_along: tuple[float, ...] = ()
    edges_through: tuple[float, ...] = ()
    divide: tuple[int, int] = (1, 1)

    @property
    def is_graded(self) -> bool:
        """Whether element edges are given, or elements divided."""
        return bool(self.edges_along or self.edges_through) or self.divide != (1, 1)

    def __post_init__(self) -> None:
        with checking("mesh"):
            one_of("model", self.model, MODELS)
            one_of("cells", self.cells, CELLS)
            if self.model == "axisymmetric" and self.cells == "tetrahedra":
                raise InvalidValue(
                    "'tetrahedra' needs the solid or the sector model; an axisymmetric model is made of "
                    "quadrilaterals: leave it out",
                    key="cells",
                )
            within("along", self.along, above=0.0, unit="mm")
            if self.across_core is not None:
                within("across_core", self.across_core, above=0.0, unit="mm")
            whole_number("through", self.through, least=1)
            whole_number("around", self.around, least=8)
            within("sector", self.sector, above=0.0, most=180.0, unit="degrees")
            for key, edges in (("edges_along", self.edges_along), ("edges_through", self.edges_through)):
                _check_edges(key, edges, self.model)
            for count in self.divide:
                whole_number("divide", count, least=1)
            if self.divide != (1, 1) and self.model != "axisymmetric":
                raise InvalidValue("is for axisymmetric models: give smaller sizes instead", key="divide")


def _check_edges(key: str, edges: tuple[float, ...], model: str) -> None:
    if edges and model != "axisymmetric":
        raise InvalidValue("is for axisymmetric models: give along and through instead", key=key)
    if len(edges) == 1 or any(not low < high for low, high in pairwise(edges)):
        raise InvalidValue("must ascend from one end to the other", key=key)
