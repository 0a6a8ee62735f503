# SPDX-License-Identifier: MIT
"""Files of VTK: unstructured grids (.vtu), lines and surfaces (.vtp) and collections of them (.pvd)."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pyvista

_LEVEL = 1  # of compression: level 6 takes a fifth longer for files that are half a percent smaller


@dataclass(frozen=True)
class CellGrid:
    """An unstructured grid.

    Attributes:
        points: Shape (n, 3).
        cells: Point numbers of the cells, shape (m, nodes per cell), in the node order of VTK, by the number
            of their type in VTK.
        point_data: Arrays of shape (n,), (n, k) or (n, 3, 3) by name.
        cell_data: Arrays over all cells by name.
        field_data: Lists of texts or of numbers for the whole grid, by name.
        active: Array over the points by which a viewer colours the grid at first; "" for none.
    """

    points: NDArray[np.floating[Any]]
    cells: Mapping[int, NDArray[np.int64]]
    point_data: Mapping[str, NDArray[np.generic]] = field(default_factory=dict)
    cell_data: Mapping[str, NDArray[np.generic]] = field(default_factory=dict)
    field_data: Mapping[str, Sequence[str] | Sequence[float]] = field(default_factory=dict)
    active: str = ""


def unstructured_grid(grid: CellGrid) -> bytes:
    """Return the content of a ``.vtu`` file."""
    import pyvista
    from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridWriter

    dataset = pyvista.UnstructuredGrid(dict(grid.cells), grid.points)
    _add_arrays(dataset, grid.point_data, grid.cell_data)
    for name, entries in grid.field_data.items():
        dataset.field_data[name] = list(entries)
    if grid.active:
        dataset.point_data.active_scalars_name = grid.active
    return _content(vtkXMLUnstructuredGridWriter(), dataset)


def lines_file(
    points: NDArray[np.float64],
    counts: NDArray[np.int64],
    point_data: Mapping[str, NDArray[np.generic]],
    line_data: Mapping[str, NDArray[np.generic]],
) -> bytes:
    """Return the content of a ``.vtp`` file of polylines.

    Args:
        points: Points of all lines, one line after the other, shape (n, 3).
        counts: Number of points of each line.
        point_data: Arrays over the points by name.
        line_data: Arrays over the lines by name.
    """
    import pyvista
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    starts = np.cumsum(counts) - counts
    lines = np.insert(np.arange(len(points)), starts, counts)
    dataset = pyvista.PolyData(points, lines=lines)
    _add_arrays(dataset, point_data, line_data)
    return _content(vtkXMLPolyDataWriter(), dataset)


def surface_file(
    points: NDArray[np.float64],
    triangles: NDArray[np.int64],
    point_data: Mapping[str, NDArray[np.generic]],
    field_data: Mapping[str, Sequence[str] | Sequence[float]],
) -> bytes:
    """Return the content of a ``.vtp`` file of triangles.

    Args:
        points: Shape (n, 3).
        triangles: Shape (t, 3).
        point_data: Arrays over the points by name; a viewer colours by the first.
        field_data: Lists of texts or of numbers for the whole surface, by name.
    """
    import pyvista
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    dataset = pyvista.PolyData.from_regular_faces(points, triangles)
    _add_arrays(dataset, point_data, {})
    for name, entries in field_data.items():
        dataset.field_data[name] = list(entries)
    dataset.point_data.active_scalars_name = next(iter(point_data))
    return _content(vtkXMLPolyDataWriter(), dataset)


def collection(files: Iterable[tuple[float, str, str]]) -> str:
    """Return the content of a ``.pvd`` file.

    Args:
        files: Time, name and SHA-256 digest of each file.
    """
    entries = "".join(
        f'<DataSet timestep="{time}" part="0" file={quoteattr(name)} sha256="{digest}"/>\n'
        for time, name, digest in files
    )
    return (
        '<?xml version="1.0"?>\n<VTKFile type="Collection" version="1.0" byte_order="LittleEndian">\n'
        f"<Collection>\n{entries}</Collection>\n</VTKFile>\n"
    )


def read_point_arrays(path: Path) -> dict[str, NDArray[np.generic]]:
    """Read the nodal arrays of a ``.vtu`` file by name."""
    import pyvista

    data = pyvista.read(path).point_data
    return {name: np.asarray(data[name]) for name in data}


def _add_arrays(
    dataset: "pyvista.DataSet",
    point_data: Mapping[str, NDArray[np.generic]],
    cell_data: Mapping[str, NDArray[np.generic]],
) -> None:
    for arrays, target in ((point_data, dataset.point_data), (cell_data, dataset.cell_data)):
        for name, values in arrays.items():
            target[name] = values.reshape(len(values), -1) if values.ndim > 2 else values


def _content(writer: Any, dataset: "pyvista.DataSet") -> bytes:
    writer.SetInputData(dataset)
    writer.SetCompressorTypeToZLib()
    writer.SetCompressionLevel(_LEVEL)
    writer.SetIdTypeToInt32()
    writer.SetDataModeToAppended()
    writer.EncodeAppendedDataOn()
    writer.WriteToOutputStringOn()
    writer.Write()
    return bytes(writer.GetOutputString(), "utf-8")
