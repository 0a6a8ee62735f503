# SPDX-License-Identifier: MIT
"""Meshing a resolved case."""

from annelid.cases.convert.lattice import latticed_body_of
from annelid.cases.convert.shape import band_of, mesh_size_of, shape_of
from annelid.cases.schema.case import Case
from annelid.geometry.body import Body
from annelid.geometry.meshing.build import build

__all__ = ["body_of"]


def body_of(case: Case) -> Body:
    """Mesh the shape of a resolved case, with element edges at electrode edges and sections.

    Raises:
        InputError: The shape cannot be meshed, or the mesh quality is too low.
    """
    if case.lattice is not None:
        return latticed_body_of(case)
    shape, bands = shape_of(case), [band_of(electrode) for electrode in case.electrodes]
    lines = [] if shape.bands_by_radius else [section.at for section in case.sections]
    return build(shape, mesh_size_of(case), bands, lines=lines)
