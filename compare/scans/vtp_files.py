# SPDX-License-Identifier: MIT
"""Points and triangles of VTP files, read by VTK in another process.

VTK allocates what a file promises and can end its process if a file is damaged, so it runs with limited
memory and time. The process is this module itself.
"""

import io
import resource
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.compare.scans.file_content import INTENSITIES, FileContent, Unreadable

_BASE_MEMORY, _MEMORY_PER_BYTE = 2_000_000_000, 40  # a file may be compressed
_SECONDS = 120


def read_vtp(path: Path) -> FileContent:
    """Read the points of a VTP file, their normals and intensities, and its polygons as triangles.

    Raises:
        Unreadable: VTK cannot read the file within the limits of memory and time.
    """
    memory = _BASE_MEMORY + _MEMORY_PER_BYTE * path.stat().st_size
    command = [sys.executable, "-m", __name__, str(path.resolve()), str(memory)]
    try:
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, timeout=_SECONDS, check=True
        )
    except subprocess.SubprocessError as error:
        raise Unreadable("it is damaged, or larger than its size states") from error
    with np.load(io.BytesIO(done.stdout), allow_pickle=False) as arrays:
        return FileContent(arrays["points"], *(arrays.get(name) for name in FileContent._fields[1:]))


def main() -> int:
    """Read the file named first on the command line, and write its arrays to the standard output."""
    path, memory = sys.argv[1], int(sys.argv[2])
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    resource.setrlimit(resource.RLIMIT_AS, (memory if hard < 0 else min(memory, hard), hard))
    arrays = _arrays(path)
    if arrays is None:
        return 1
    np.savez(sys.stdout.buffer, allow_pickle=False, **arrays)
    return 0


def _arrays(path: str) -> dict[str, NDArray[Any]] | None:
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkFiltersCore import vtkTriangleFilter
    from vtkmodules.vtkIOXML import vtkXMLPolyDataReader

    errors: list[str] = []
    reader: Any = vtkXMLPolyDataReader()
    reader.AddObserver("ErrorEvent", lambda _, event: errors.append(event))
    reader.SetFileName(path)
    reader.Update()
    data = reader.GetOutput()
    if errors or reader.GetErrorCode() or data.GetPoints() is None:
        return None
    count, cells = data.GetNumberOfPoints(), (data.GetPolys(), data.GetStrips())
    corners = [vtk_to_numpy(part.GetConnectivityArray()) for part in cells if part.GetNumberOfCells()]
    if any(part.min(initial=0) < 0 or part.max(initial=0) >= count for part in corners):
        return None
    arrays = {"points": vtk_to_numpy(data.GetPoints().GetData())}
    named = data.GetPointData()
    names = [(named.GetArrayName(k) or "").lower() for k in range(named.GetNumberOfArrays())]
    light = [k for k, name in enumerate(names) if name in INTENSITIES]
    if named.GetNormals() is not None:
        arrays["normals"] = vtk_to_numpy(named.GetNormals())
    if light:
        arrays["intensities"] = vtk_to_numpy(named.GetArray(light[0]))
    if corners:
        split = vtkTriangleFilter()
        split.PassVertsOff()
        split.PassLinesOff()
        split.SetInputData(data)
        split.Update()
        arrays["faces"] = vtk_to_numpy(split.GetOutput().GetPolys().GetConnectivityArray()).reshape(-1, 3)
    return arrays


if __name__ == "__main__":
    sys.exit(main())
