# SPDX-License-Identifier: MIT
"""The table of the mesh."""

from typing import Annotated

from pydantic import Field

from annelid.cases.schema.base import Angle, Choice, Length, Number, Table, Whole
from annelid.geometry.meshing.mesh_size import CELLS, MODELS

THROUGH = 2
"""Default number of elements through a layer."""


class MeshTable(Table):
    """Type and element sizes of the mesh."""

    model: Annotated[str, Choice(MODELS)] = "axisymmetric"
    """"axisymmetric" (a cut through the wall), "solid" (the whole part) or "sector" (a sector of it)."""
    accuracy: Number | None = None
    """Relative error that the required quantities may have, for example "1 %"; the mesh is chosen so. Default
    of axisymmetric models without sizes: "1 %"."""
    along: Length | None = None
    """Element size along the axis, for example "0.5 mm"."""
    through: Whole | None = None
    """Number of elements through each layer; default: 2."""
    across_core: Length | None = None
    """Element size across the radius of a core; default: along."""
    around: Whole = 32
    """Number of elements around the full circumference; not used by axisymmetric models."""
    sector: Angle = 90.0
    """Angle of the sector; only used by "sector" models."""
    cells: Annotated[str, Choice(CELLS)] = "hexahedra"
    """Element type of 3-D models."""
    edges_along: tuple[Length, ...] = ()
    """Where element edges lie along the meridian, in place of along; an adapted mesh is written so."""
    edges_through: tuple[Length, ...] = ()
    """Where element edges lie through the wall, in place of through and across_core."""
    divide: Whole | None = None
    """Number of pieces of each element along and through an axisymmetric wall; default: 1."""
    on_struts: Length | None = None
    """Element size on the struts of a lattice; default: half of their width. If it is larger than the width,
    there is one element across a strut."""
    through_struts: Whole = 1
    """Number of elements through the height of the struts of a lattice."""
    quadrature_degree: Annotated[int, Field(ge=5, le=12, strict=True)] | None = None
    """Degree of the polynomials that the integrals over an element integrate exactly; default: 5."""

    @property
    def given_sizes(self) -> list[str]:
        """Keys given that an accuracy would choose."""
        keys = ("along", "through", "across_core", "edges_along", "edges_through", "divide")
        return [key for key in keys if getattr(self, key)]

    @property
    def size(self) -> float:
        """Element size along the axis of a mesh whose sizes are given, mm."""
        assert self.along is not None
        return self.along

    @property
    def pieces(self) -> int:
        """Number of pieces of each element."""
        return 1 if self.divide is None else self.divide

    @property
    def elements(self) -> int:
        """Number of elements through each layer."""
        return THROUGH if self.through is None else self.through
