# SPDX-License-Identifier: MIT
"""Mesh sizes: which model of the part is meshed, and how finely."""

from dataclasses import dataclass

from annelid.geometry.checks import one_of, whole_number, within
from annelid.geometry.errors import InvalidValue, checking

MODELS = ("axisymmetric", "solid", "sector")
CELLS = ("hexahedra", "tetrahedra")


@dataclass(frozen=True, kw_only=True)
class MeshSize:
    """How a shape is meshed.

    Attributes:
        model: ``"axisymmetric"`` (meridian), ``"solid"`` (the whole part in 3-D) or ``"sector"``.
        along: Largest element length along the part, and across cores and caps, mm. Where a meridian
            bends, elements are shorter still: none turns by more than 30 degrees.
        through: Elements through the thickness of each layer.
        around: Elements around the full circumference (3-D models), at least 8. A sector takes its share, at
            least one; where the part reaches the axis the number grows to the next that an O-grid can hold.
        sector: Opening angle of the sector, degrees, above 0 and at most 180.
        cells: ``"hexahedra"`` or ``"tetrahedra"`` (3-D models; each hexahedron is split in six).

    Raises:
        InvalidValue: A value is outside its range.
    """

    along: float
    model: str = "axisymmetric"
    through: int = 2
    around: int = 32
    sector: float = 90.0
    cells: str = "hexahedra"

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
            whole_number("through", self.through, least=1)
            whole_number("around", self.around, least=8)
            within("sector", self.sector, above=0.0, most=180.0, unit="degrees")
