# SPDX-License-Identifier: MIT
"""The model of a part to be meshed and its element sizes."""

from dataclasses import dataclass

from annelid.geometry.checks import whole_number, within
from annelid.geometry.errors import InputError

MODELS = ("axisymmetric", "solid", "sector")
CELLS = ("hexahedra", "tetrahedra")


@dataclass(frozen=True, kw_only=True)
class MeshSize:
    """Model and element sizes of a mesh.

    Attributes:
        model: ``"axisymmetric"`` (meridian plane), ``"solid"`` (the whole part in 3-D) or ``"sector"``.
        along: Largest element length along the part and across cores and caps, mm. Elements are shorter
            where the meridian bends, so that it turns by at most 30 degrees along each element.
        through: Elements through the thickness of each layer.
        around: Elements around the full circumference (3-D models), at least 8. A sector has the
            corresponding fraction, at least one; if the part reaches the axis, the number is increased to
            the next one that an O-grid allows.
        sector: Angle of the sector, degrees, above 0 and at most 180.
        cells: ``"hexahedra"`` or ``"tetrahedra"`` (3-D models; each hexahedron is split into six).

    Raises:
        InputError: If a value is outside its range.
    """

    along: float
    model: str = "axisymmetric"
    through: int = 2
    around: int = 32
    sector: float = 90.0
    cells: str = "hexahedra"

    def __post_init__(self) -> None:
        if self.model not in MODELS:
            raise InputError(
                f"mesh.model = {self.model!r}: choose one of {', '.join(MODELS)}", model=self.model
            )
        if self.cells not in CELLS:
            raise InputError(
                f"mesh.cells = {self.cells!r}: choose one of {', '.join(CELLS)}", cells=self.cells
            )
        if self.model == "axisymmetric" and self.cells == "tetrahedra":
            raise InputError(
                "mesh.cells = 'tetrahedra': an axisymmetric model has quadrilaterals; leave cells out, "
                "or choose the solid or sector model",
                cells=self.cells,
            )
        within("mesh.along", self.along, above=0.0, unit="mm")
        whole_number("mesh.through", self.through, least=1)
        whole_number("mesh.around", self.around, least=8)
        within("mesh.sector", self.sector, above=0.0, most=180.0, unit="degrees")
