# SPDX-License-Identifier: MIT
"""Meshing a resolved case."""

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from annelid.cases.convert.imperfection import imperfection_of
from annelid.cases.convert.lattice import angle_note, lattice_mesh_size_of, lattice_of, v_at
from annelid.cases.convert.making import inflated_wall
from annelid.cases.convert.shape import band_of, mesh_size_of, shape_of
from annelid.cases.convert.skin import skin_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.mesh import MeshTable
from annelid.geometry.body import Body
from annelid.geometry.errors import InvalidValue, checking
from annelid.geometry.lattice.chart import Chart
from annelid.geometry.lattice.measured_chart import MeasuredChart
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.lattice_mesh.capped_body import EndCaps
from annelid.geometry.lattice_mesh.core_surface import Core
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import RingElectrode
from annelid.geometry.lattice_mesh.measured_wall import MeasuredWall
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.grid_lines import pieces
from annelid.geometry.meshing.imperfection import deformed
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Shape
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube

if TYPE_CHECKING:
    from annelid.solver.records import Equilibrium

__all__ = ["MeshedPart", "bands_and_lines_of", "body_of", "divided_body_of", "meshed_part_of"]


class MeshedPart(NamedTuple):
    """A meshed part and how its skin was inflated before.

    Attributes:
        body: The mesh.
        inflation: States of the bare skin up to the one on which the lattice is printed, which is meshed
            under its last pressure; empty for a part without loads in the reference configuration.
    """

    body: Body
    inflation: "tuple[Equilibrium, ...]" = ()


def body_of(case: Case) -> Body:
    """Mesh the shape of a resolved case; see ``meshed_part_of``."""
    return meshed_part_of(case).body


def divided_body_of(case: Case, divide: tuple[int, int]) -> Body:
    """Mesh an axisymmetric case with its elements divided along and through the wall."""
    size = mesh_size_of(case)
    bands, lines = bands_and_lines_of(case)
    pieces = (size.divide[0] * divide[0], size.divide[1] * divide[1])
    return build(shape_of(case), replace(size, divide=pieces), bands, lines=lines)


def bands_and_lines_of(case: Case) -> tuple[list[Band], list[float]]:
    """Return the electrodes and the heights of sections, at which a mesh has element edges."""
    shape, bands = shape_of(case), [band_of(electrode) for electrode in case.electrodes]
    return bands, [] if shape.bands_by_radius else [section.at for section in case.sections]


def meshed_part_of(case: Case) -> MeshedPart:
    """Mesh the shape of a resolved case, with element edges at electrode edges and sections.

    Raises:
        InputError: The shape cannot be meshed, or the mesh quality is too low.
    """
    if case.lattice is not None:
        return _part_with_lattice(case)
    bands, lines = bands_and_lines_of(case)
    body, imperfection = build(shape_of(case), mesh_size_of(case), bands, lines=lines), imperfection_of(case)
    return MeshedPart(body if imperfection is None else deformed(body, imperfection))


def _part_with_lattice(case: Case) -> MeshedPart:
    """Mesh the wall of a case with its lattice.

    Raises:
        InputError: The mesh model is axisymmetric, or the mesh quality is too low.
    """
    wall, inflation = inflated_wall(case) if case.making is not None else (None, ())
    lattice, shape, mesh = lattice_of(case, wall), shape_of(case), case.mesh
    if mesh.model == "axisymmetric":
        text = "'axisymmetric' cannot mesh a lattice: choose 'solid' or 'sector', or remove [lattice]"
        raise InvalidValue(text, key="model", subject="mesh")
    assert case.lattice is not None
    size = lattice_mesh_size_of(case)
    if wall is not None:
        size = replace(size, edge_zone=3 * _edge_length(shape, lattice))
    body = lattice_body(
        lattice,
        skin_of(case).layers,
        size,
        electrodes=_rings_of(case, lattice.chart, wall),
        depth=case.lattice.depth,
        place=wall.place if wall is not None else None,
        stress_free_gradient=wall.stress_free_gradient if wall is not None else None,
        stress_free_points=wall.stress_free_points if wall is not None else None,
        cover=tuple(layer for layer in shape.layers if layer.name in case.cover),
        core=_core_of(shape, mesh.across_core or mesh.size),
        ends=_caps_of(skin_of(case), mesh, wall),
    )
    return MeshedPart(replace(body, notes=dict(_notes(lattice, wall))), inflation)


def _notes(lattice: Lattice, wall: InflatedWall | MeasuredWall | None) -> Iterator[tuple[str, str]]:
    """Describe the deviation of a measured surface and the angles of its cells."""
    if isinstance(wall, MeasuredWall):
        deviation = wall.deviation
        text = (
            "the measured face deviates from the computed inflated skin by "
            f"{deviation.root_mean_square:.3f} mm (root mean square) and by at most {deviation.maximum:.3f} "
            f"mm; its length differs by {deviation.length_difference:+.3f} mm"
        )
        yield "measured face", text
    if isinstance(lattice.chart, MeasuredChart):
        yield "angles", angle_note(lattice.chart)


def _core_of(shape: Shape, along: float) -> Core | None:
    """Return the core inside a sleeve."""
    if not isinstance(shape, Sleeve):
        return None
    top = shape.length + 2 * shape.core_overhang
    return Core(
        radius=shape.core_radius, inner_radius=shape.core_inner_radius, low=0.0, high=top, along=along
    )


def _caps_of(skin: Shape, mesh: MeshTable, inflated: InflatedWall | MeasuredWall | None) -> EndCaps | None:
    """Return the discs that close the ends of a capped tube."""
    if not isinstance(skin, Tube) or skin.ends == "open":
        return None
    wall = sum(layer.thickness for layer in skin.layers)
    thickness = skin.cap_thickness or wall
    drawn = None
    if isinstance(inflated, InflatedWall):
        low, high = inflated.caps
        drawn = low, high
    return EndCaps(
        radius=skin.inner_radius + wall,
        thickness=thickness,
        length=skin.length,
        along=mesh.size,
        elements=max(mesh.elements, pieces(thickness, mesh.size)),
        inflated=drawn,
    )


def _edge_length(shape: Shape, lattice: Lattice) -> float:
    """Return the length sqrt(R t) over which the disturbance at an end of the wall decays, mm."""
    ends = np.array([[0.0, lattice.chart.low], [0.0, lattice.chart.high]])
    thickness = sum(layer.thickness for layer in shape.layers)
    return float(np.sqrt(lattice.chart.scale(ends).max() * thickness))


def _rings_of(
    case: Case, chart: Chart, wall: InflatedWall | MeasuredWall | None = None
) -> list[RingElectrode]:
    """Return the ring electrodes of a case in a chart.

    Their edges are heights of the stress-free skin, or radii on a dome. On a measured surface an edge is the
    line of constant v whose mean height is the given one.
    """
    shape = shape_of(case)

    def at(place: float, key: str) -> float:
        if isinstance(wall, InflatedWall) and shape.bands_by_radius:
            return wall.v_at_radius(place)
        return wall.v_at_height(place) if wall is not None else v_at(shape, chart, place, key)

    rings = []
    for e in case.electrodes:
        with checking(f"electrode '{e.name}'"):
            edges = at(e.start or 0.0, "from"), at(e.end or 0.0, "to")
        rings.append(RingElectrode(e.name, e.region, min(edges), max(edges)))
    return rings
