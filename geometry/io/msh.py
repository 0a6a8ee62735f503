# SPDX-License-Identifier: MIT
"""Bodies in the format .msh 4.1 of gmsh, with names as physical groups and the wall normal as a view."""

import errno
import os
from pathlib import Path
from typing import Any

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import ELEMENT_NODES, FACETS
from annelid.geometry.errors import InputError
from annelid.geometry.io.recovery import FileMesh
from annelid.geometry.meshing.plane_mesh import gmsh_session

BAND_PREFIX = "band "
"""Prefix of the names of physical groups of cells that are bands; all others are regions."""

_END = b"$EndNodeData\n"  # of the last section
_FAMILIES = {
    "line3": "Line",
    "triangle6": "Triangle",
    "quad9": "Quadrangle",
    "tetra10": "Tetrahedron",
    "hexahedron27": "Hexahedron",
}
_CELL_OF_DIMENSION = {2: ("quad9",), 3: ("hexahedron27", "tetra10")}


def write_msh(body: Body, path: Path) -> None:
    """Write a body as a binary .msh file.

    Raises:
        OSError: The disk is full.
    """
    dimension = 2 if body.cell_type == "quad9" else 3
    tags = np.arange(1, len(body.points) + 1)
    with gmsh_session() as gmsh:
        groups = {**body.regions} | {BAND_PREFIX + name: members for name, members in body.bands.items()}
        last = _add_entities(gmsh, dimension, body.cell_type, body.cells, groups, _in_space(body.points), 0)
        facet_type = FACETS[body.cell_type][0]
        _add_entities(gmsh, dimension - 1, facet_type, body.facets, dict(body.surfaces), None, last)
        gmsh.option.setNumber("Mesh.MshFileVersion", 4.1)
        gmsh.option.setNumber("Mesh.Binary", 1)
        gmsh.option.setNumber("PostProcessing.SaveMesh", 0)
        gmsh.write(str(path))
        view = gmsh.view.add("normal")
        normal = _in_space(body.normal)
        gmsh.view.addHomogeneousModelData(view, 0, "part", "NodeData", tags, normal.ravel(), 0.0, 3)
        gmsh.view.write(view, str(path), True)
    if not path.read_bytes().endswith(_END):  # gmsh does not report errors of writing
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))


def read_msh(path: Path) -> FileMesh:
    """Read a second-order mesh with physical names.

    Raises:
        InputError: If gmsh cannot read the file or its cells are not of one second-order type.
    """
    with gmsh_session() as gmsh:
        try:
            gmsh.merge(str(path))
        except Exception as error:  # gmsh raises plain Exception
            raise InputError(f"mesh file {path}: gmsh cannot read it ({error})", path=str(path)) from error
        dimension = gmsh.model.getDimension()
        tags, coordinates, _ = gmsh.model.mesh.getNodes()
        if dimension < 2 or not len(tags):
            raise InputError(
                f"mesh file {path}: it contains no cells; a plane or solid mesh is needed", path=str(path)
            )
        number = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
        number[tags.astype(np.int64)] = np.arange(len(tags))
        cell_type = _cell_type(gmsh, dimension, path)
        facet_type = FACETS[cell_type][0]
        cells, groups = _read_groups(gmsh, dimension, cell_type, number, path)
        facets, surfaces = _read_groups(gmsh, dimension - 1, facet_type, number, path)
        normal = _read_normal(gmsh, number, len(tags))
    bands = {name.removeprefix(BAND_PREFIX): m for name, m in groups.items() if name.startswith(BAND_PREFIX)}
    regions = {name: members for name, members in groups.items() if not name.startswith(BAND_PREFIX)}
    return FileMesh(coordinates.reshape(-1, 3), cell_type, cells, regions, bands, facets, surfaces, normal)


def _add_entities(
    gmsh: Any,
    dimension: int,
    kind: str,
    elements: IntArray,
    groups: dict[str, IntArray],
    points: FloatArray | None,
    first_tag: int,
) -> int:
    """Add elements as discrete entities, one per combination of names; return the last element tag."""
    member = np.zeros((len(elements), len(groups)), dtype=bool)
    for column, members in enumerate(groups.values()):
        member[members, column] = True
    combinations, owner = np.unique(member, axis=0, return_inverse=True)
    gmsh_type, order = _gmsh_order(gmsh, kind)
    tags = first_tag + 1 + np.arange(len(elements))
    for entity in range(1, len(combinations) + 1):
        gmsh.model.addDiscreteEntity(dimension, entity)
        if points is not None and entity == 1:
            gmsh.model.mesh.addNodes(dimension, entity, np.arange(1, len(points) + 1), points.ravel())
    for entity in range(1, len(combinations) + 1):
        mine = np.flatnonzero(owner.ravel() == entity - 1)
        gmsh.model.mesh.addElementsByType(
            entity, gmsh_type, tags[mine], (elements[mine][:, order] + 1).ravel()
        )
    for column, name in enumerate(groups):
        entities = (np.flatnonzero(combinations[:, column]) + 1).tolist()
        gmsh.model.addPhysicalGroup(dimension, entities, name=name)
    return first_tag + len(elements)


def _gmsh_order(gmsh: Any, kind: str) -> tuple[int, IntArray]:
    """Return the element type of gmsh and, for each of its nodes in order, the node of ours."""
    gmsh_type = gmsh.model.mesh.getElementType(_FAMILIES[kind], 2)
    _, dimension, _, _, local, _ = gmsh.model.mesh.getElementProperties(gmsh_type)
    theirs = np.asarray(local).reshape(-1, dimension)
    if kind not in ("triangle6", "tetra10"):
        theirs = (theirs + 1) / 2  # lines, quadrilaterals and hexahedra of gmsh extend from -1 to 1
    distance = np.abs(theirs[:, None] - ELEMENT_NODES[kind][None]).sum(axis=2)
    return int(gmsh_type), np.argmin(distance, axis=1)


def _cell_type(gmsh: Any, dimension: int, path: Path) -> str:
    """Return the type of the cells; reject other types and mixtures."""
    present = {int(number) for number in gmsh.model.mesh.getElementTypes(dimension)}
    known = {_gmsh_order(gmsh, kind)[0]: kind for kind in _CELL_OF_DIMENSION[dimension]}
    if len(present) != 1 or not present <= set(known):
        names = [gmsh.model.mesh.getElementProperties(number)[0] for number in sorted(present)]
        raise InputError(
            f"mesh file {path}: cells of type {', '.join(names)} cannot be used; all cells must be of type "
            f"{' or '.join(known.values())} (in gmsh: Mesh.ElementOrder = 2, "
            "Mesh.SecondOrderIncomplete = 0, quadrilaterals recombined)",
            path=str(path),
        )
    return known[present.pop()]


def _read_groups(
    gmsh: Any, dimension: int, kind: str, number: IntArray, path: Path
) -> tuple[IntArray, dict[str, IntArray]]:
    """Return the elements of a dimension and the groups of them by name."""
    gmsh_type, order = _gmsh_order(gmsh, kind)
    inverse = np.argsort(order)
    position, blocks, tags = {}, [], []
    count = 0
    for _, entity in gmsh.model.getEntities(dimension):
        element_tags, nodes = gmsh.model.mesh.getElementsByType(gmsh_type, entity)
        position[entity] = np.arange(count, count + len(element_tags))
        tags.append(np.asarray(element_tags, dtype=np.int64))
        blocks.append(number[nodes.astype(np.int64)].reshape(-1, len(inverse))[:, inverse])
        count += len(element_tags)
    empty = np.empty((0, len(inverse)), dtype=np.int64)
    # Elements are returned in the order in which they were written, whatever their entities.
    sequence = np.argsort(np.concatenate([*tags, empty[:, 0]]), kind="stable")
    place = np.empty_like(sequence)
    place[sequence] = np.arange(len(sequence))
    groups: dict[str, IntArray] = {}
    for _, group in gmsh.model.getPhysicalGroups(dimension):
        name = gmsh.model.getPhysicalName(dimension, group)
        if not name:
            raise InputError(
                f"mesh file {path}: physical group {group} has no name; name every group", path=str(path)
            )
        entities = gmsh.model.getEntitiesForPhysicalGroup(dimension, group)
        groups[name] = np.sort(place[np.concatenate([position[int(entity)] for entity in entities])])
    return np.concatenate([*blocks, empty])[sequence], groups


def _read_normal(gmsh: Any, number: IntArray, nodes: int) -> FloatArray | None:
    for view in gmsh.view.getTags():
        name = gmsh.option.getString(f"View[{gmsh.view.getIndex(view)}].Name")
        if name != "normal":
            continue
        kind, tags, data, _, components = gmsh.view.getHomogeneousModelData(view, 0)
        if kind == "NodeData" and components == 3 and len(tags) == nodes:
            normal = np.empty((nodes, 3))
            normal[number[np.asarray(tags, dtype=np.int64)]] = np.asarray(data).reshape(-1, 3)
            return normal
    return None


def _in_space(values: FloatArray) -> FloatArray:
    """Append a third component of 0 to plane vectors."""
    return np.column_stack([values, np.zeros((len(values), 3 - values.shape[1]))])
