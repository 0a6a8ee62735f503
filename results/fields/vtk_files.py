# SPDX-License-Identifier: MIT
"""Files of VTK: unstructured grids (.vtu), lines and surfaces (.vtp) and collections of them (.pvd)."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkDataSet

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
    # Without pyvista, which takes half a second to start: most runs need nothing else of it.
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonDataModel import vtkUnstructuredGrid
    from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridWriter

    dataset = vtkUnstructuredGrid()
    dataset.SetPoints(_points(grid.points))
    types = np.concatenate([np.full(len(cells), kind, dtype=np.uint8) for kind, cells in grid.cells.items()])
    counts = np.concatenate([np.full(len(cells), cells.shape[1]) for cells in grid.cells.values()])
    dataset.SetCells(
        numpy_to_vtk(types), _cell_array(counts, [cells.ravel() for cells in grid.cells.values()])
    )
    _add_arrays(dataset, grid.point_data, grid.cell_data, grid.field_data)
    if grid.active:
        dataset.GetPointData().SetActiveScalars(grid.active)
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
    from vtkmodules.vtkCommonDataModel import vtkPolyData
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    dataset = vtkPolyData()
    dataset.SetPoints(_points(points))
    dataset.SetLines(_cell_array(counts, [np.arange(len(points))]))
    _add_arrays(dataset, point_data, line_data, {})
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
    from vtkmodules.vtkCommonDataModel import vtkPolyData
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    dataset = vtkPolyData()
    dataset.SetPoints(_points(points))
    dataset.SetPolys(_cell_array(np.full(len(triangles), 3), [triangles.ravel()]))
    _add_arrays(dataset, point_data, {}, field_data)
    dataset.GetPointData().SetActiveScalars(next(iter(point_data)))
    return _content(vtkXMLPolyDataWriter(), dataset)


def collection(files: Iterable[tuple[float, str, str]]) -> str:
    """Return the content of a ``.pvd`` file.

    Args:
        files: Time, name and SHA-256 digest of each file.
    """
    entries = "".join(
        f'<DataSet timestep="{time}" part="0" file="{escape(name)}" sha256="{digest}"/>\n'
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


def _points(points: NDArray[np.floating[Any]]) -> "vtkPoints":
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonCore import vtkPoints

    placed = vtkPoints()
    placed.SetData(numpy_to_vtk(np.ascontiguousarray(points), deep=True))
    return placed


def _cell_array(counts: NDArray[np.int64], members: Sequence[NDArray[np.int64]]) -> "vtkCellArray":
    """Cells with these numbers of points, whose numbers are given one cell after the other."""
    from vtkmodules.util.numpy_support import numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonDataModel import vtkCellArray

    offsets, cells = np.concatenate([[0], np.cumsum(counts)]), vtkCellArray()
    cells.SetData(
        *(numpy_to_vtkIdTypeArray(a.astype(np.int64), deep=True) for a in (offsets, np.concatenate(members)))
    )
    return cells


def _add_arrays(
    dataset: "vtkDataSet",
    point_data: Mapping[str, NDArray[np.generic]],
    cell_data: Mapping[str, NDArray[np.generic]],
    field_data: Mapping[str, Sequence[str] | Sequence[float]],
) -> None:
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonCore import vtkStringArray

    for arrays, target in ((point_data, dataset.GetPointData()), (cell_data, dataset.GetCellData())):
        for name, values in arrays.items():
            array = numpy_to_vtk(np.ascontiguousarray(values.reshape(len(values), -1)), deep=True)
            array.SetName(name)
            target.AddArray(array)
    for name, entries in field_data.items():
        if all(isinstance(entry, str) for entry in entries):
            array = vtkStringArray()
            for entry in entries:
                array.InsertNextValue(str(entry))
        else:
            array = numpy_to_vtk(np.array(entries), deep=True)
        array.SetName(name)
        dataset.GetFieldData().AddArray(array)


def _content(writer: Any, dataset: "vtkDataSet") -> bytes:
    writer.SetInputData(dataset)
    writer.SetCompressorTypeToZLib()
    writer.SetCompressionLevel(_LEVEL)
    writer.SetIdTypeToInt32()
    writer.SetDataModeToAppended()
    writer.EncodeAppendedDataOn()
    writer.WriteToOutputStringOn()
    writer.Write()
    return bytes(writer.GetOutputString(), "utf-8")
