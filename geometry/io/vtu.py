# SPDX-License-Identifier: MIT
"""Bodies as .vtu files, with a 0/1 cell array for every name and the wall normal at the nodes."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import ELEMENT_NODES, FACETS
from annelid.geometry.errors import InputError
from annelid.geometry.io.recovery import CELL_TYPES, FileMesh

_KINDS = ("region", "band", "surface")


def write_vtu(body: Body, path: Path) -> None:
    """Write cells and named facets with arrays ``region <name>``, ``band <name>``, ``surface <name>``.

    The array ``region`` contains the number of the region of each cell (-1 for facets), for colouring.
    """
    import meshio

    counts = len(body.cells), len(body.facets)
    data: dict[str, list[NDArray[Any]]] = {}
    number = np.full(counts[0], -1, dtype=np.int32)
    for index, members in enumerate(body.regions.values()):
        number[members] = index
    data["region"] = [number, np.full(counts[1], -1, dtype=np.int32)]
    for block, kind, groups in (
        (0, "region", body.regions),
        (0, "band", body.bands),
        (1, "surface", body.surfaces),
    ):
        for name, members in groups.items():
            flags = [np.zeros(count, dtype=np.int8) for count in counts]
            flags[block][members] = 1
            data[f"{kind} {name}"] = flags
    points, normal = (
        np.column_stack([values, np.zeros((len(values), 3 - values.shape[1]))])
        for values in (body.points, body.normal)
    )
    cells = [(body.cell_type, body.cells), (FACETS[body.cell_type][0], body.facets)]
    if not counts[1]:
        cells, data = cells[:1], {name: arrays[:1] for name, arrays in data.items()}
    meshio.Mesh(points, cells, point_data={"normal": normal}, cell_data=data).write(path)


def read_vtu(path: Path) -> FileMesh:
    """Read a mesh with the arrays that ``write_vtu`` writes.

    Raises:
        InputError: If meshio cannot read the file or its cells are not of one second-order type.
    """
    import meshio

    try:
        mesh = meshio.read(path)
    except (Exception, SystemExit) as error:  # meshio passes on errors of parsers, or exits
        raise InputError(f"mesh file {path}: cannot be read ({error})", path=str(path)) from error
    types = [block.type for block in mesh.cells]
    top = 2 if "hexahedron27" in types or "tetra10" in types else 1
    kinds = [kind for kind in CELL_TYPES if kind in types and (kind != "quad9" or top == 1)]
    allowed = {kinds[0], FACETS[kinds[0]][0]} if len(kinds) == 1 else set()
    if not allowed or not set(types) <= allowed:
        raise InputError(
            f"mesh file {path}: cells of type {', '.join(types)} cannot be used; all cells must be of type "
            f"{' or '.join(CELL_TYPES)}, with their facets",
            path=str(path),
        )
    cell_type, facet_type = kinds[0], FACETS[kinds[0]][0]
    cells, named = _gathered(mesh, cell_type)
    facets, named_facets = _gathered(mesh, facet_type)
    groups = {kind: _members(named if kind != "surface" else named_facets, kind) for kind in _KINDS}
    normal = mesh.point_data.get("normal")
    return FileMesh(
        points=np.asarray(mesh.points, dtype=np.float64),
        cell_type=cell_type,
        cells=cells,
        regions=groups["region"],
        bands=groups["band"],
        facets=facets,
        surfaces=groups["surface"],
        normal=None if normal is None else np.asarray(normal, dtype=np.float64),
    )


def _gathered(mesh: Any, kind: str) -> tuple[IntArray, dict[str, FloatArray]]:
    """Return the nodes and the cell data of all cells of a kind."""
    blocks = [index for index, block in enumerate(mesh.cells) if block.type == kind]
    empty = np.empty((0, len(ELEMENT_NODES[kind])), dtype=np.int64)
    nodes = np.concatenate([empty, *(mesh.cells[index].data for index in blocks)])
    data = {
        name: np.concatenate([np.empty(0), *(np.ravel(arrays[index]) for index in blocks)])
        for name, arrays in mesh.cell_data.items()
    }
    return nodes.astype(np.int64), data


def _members(data: dict[str, FloatArray], kind: str) -> dict[str, IntArray]:
    named = {
        name.removeprefix(f"{kind} "): np.flatnonzero(flags)
        for name, flags in data.items()
        if name.startswith(f"{kind} ")
    }
    return {name: members for name, members in named.items() if len(members)}
