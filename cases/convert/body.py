# SPDX-License-Identifier: MIT
"""From a resolved case to its meshed body."""

from annelid.cases.convert.lattice import latticed_body_of
from annelid.cases.convert.shape import shape_of
from annelid.cases.schema.case import Case
from annelid.geometry.body import Body
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Band

__all__ = ["body_of"]


def body_of(case: Case) -> Body:
    """Mesh the drawing of a resolved case, with cell edges at electrode edges and sections.

    Raises:
        InputError: The drawing cannot be meshed, or not well enough.
    """
    if case.lattice is not None:
        return latticed_body_of(case)
    bands = [Band(e.name, e.region, e.start or 0.0, e.end or 0.0) for e in case.electrodes]
    mesh = case.mesh
    size = MeshSize(
        along=mesh.along,
        model=mesh.model,
        through=mesh.through,
        around=mesh.around,
        sector=mesh.sector,
        cells=mesh.cells,
    )
    return build(shape_of(case), size, bands, lines=[section.at for section in case.sections])
