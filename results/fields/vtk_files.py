# SPDX-License-Identifier: MIT
"""Writing VTK's XML files (format 1.0, zlib-compressed, appended data) without VTK.

Format: "VTK File Formats", chapter XML file formats, of the VTK documentation.
"""

import base64
import xml.etree.ElementTree as ElementTree
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

_TYPES = {"f8": "Float64", "f4": "Float32", "i8": "Int64", "i4": "Int32", "u1": "UInt8"}
_BLOCK = 1 << 18
# Level 1 takes a third of the time of the usual 6 and leaves files a few percent larger.
_LEVEL = 1


@dataclass(frozen=True)
class Grid:
    """An unstructured grid of one cell type.

    Attributes:
        points: Shape (n, 3).
        cells: Point numbers of the cells, shape (m, nodes per cell), VTK node order.
        vtk_cell_type: VTK's number of the cell type.
        point_data: Arrays of shape (n,), (n, k) or (n, 3, 3) by name.
        cell_data: Arrays of shape (m,) by name.
        field_texts: Lists of texts that go with the whole grid, by name.
    """

    points: NDArray[np.float64]
    cells: NDArray[np.int64]
    vtk_cell_type: int
    point_data: Mapping[str, NDArray[np.generic]] = field(default_factory=dict)
    cell_data: Mapping[str, NDArray[np.generic]] = field(default_factory=dict)
    field_texts: Mapping[str, Sequence[str]] = field(default_factory=dict)


def unstructured_grid(grid: Grid) -> bytes:
    """Return the content of a ``.vtu`` file."""
    blob = _Appended()
    count, width = grid.cells.shape
    topology = {
        "connectivity": grid.cells.ravel(),
        "offsets": np.arange(1, count + 1, dtype=np.int64) * width,
        "types": np.full(count, grid.vtk_cell_type, dtype=np.uint8),
    }
    lines = [
        '<?xml version="1.0"?>',
        '<VTKFile type="UnstructuredGrid" version="1.0" byte_order="LittleEndian" '
        'header_type="UInt64" compressor="vtkZLibDataCompressor">',
        "<UnstructuredGrid>",
        "<FieldData>",
        *(_texts(name, texts) for name, texts in grid.field_texts.items()),
        "</FieldData>",
        f'<Piece NumberOfPoints="{len(grid.points)}" NumberOfCells="{count}">',
        "<PointData>",
        *(blob.add(name, values) for name, values in grid.point_data.items()),
        "</PointData>",
        "<CellData>",
        *(blob.add(name, values) for name, values in grid.cell_data.items()),
        "</CellData>",
        "<Points>",
        blob.add("Points", grid.points),
        "</Points>",
        "<Cells>",
        *(blob.add(name, values) for name, values in topology.items()),
        "</Cells>",
        "</Piece>",
        "</UnstructuredGrid>",
        '<AppendedData encoding="base64">',
    ]
    return "\n".join(lines).encode() + b"\n_" + blob.content() + b"\n</AppendedData>\n</VTKFile>\n"


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
    blob = _Appended()
    topology = {
        "connectivity": np.arange(len(points), dtype=np.int64),
        "offsets": np.cumsum(counts, dtype=np.int64),
    }
    lines = [
        '<?xml version="1.0"?>',
        '<VTKFile type="PolyData" version="1.0" byte_order="LittleEndian" '
        'header_type="UInt64" compressor="vtkZLibDataCompressor">',
        "<PolyData>",
        f'<Piece NumberOfPoints="{len(points)}" NumberOfVerts="0" NumberOfLines="{len(counts)}" '
        'NumberOfStrips="0" NumberOfPolys="0">',
        "<PointData>",
        *(blob.add(name, values) for name, values in point_data.items()),
        "</PointData>",
        "<CellData>",
        *(blob.add(name, values) for name, values in line_data.items()),
        "</CellData>",
        "<Points>",
        blob.add("Points", points),
        "</Points>",
        "<Lines>",
        *(blob.add(name, values) for name, values in topology.items()),
        "</Lines>",
        "</Piece>",
        "</PolyData>",
        '<AppendedData encoding="base64">',
    ]
    return "\n".join(lines).encode() + b"\n_" + blob.content() + b"\n</AppendedData>\n</VTKFile>\n"


def collection(files: Mapping[int, str]) -> str:
    """Return the content of a ``.pvd`` file: file names by time."""
    entries = "".join(
        f'<DataSet timestep="{time}" part="0" file={quoteattr(name)}/>\n' for time, name in files.items()
    )
    return (
        '<?xml version="1.0"?>\n<VTKFile type="Collection" version="1.0" byte_order="LittleEndian">\n'
        f"<Collection>\n{entries}</Collection>\n</VTKFile>\n"
    )


class _Appended:
    """The data section: arrays one behind the other, each found by its offset."""

    def __init__(self) -> None:
        self._pieces: list[bytes] = []
        self._length = 0

    def add(self, name: str, values: NDArray[np.generic]) -> str:
        flat = np.ascontiguousarray(values.reshape(len(values), -1))
        kind = _TYPES[flat.dtype.str[1:]]
        piece = _compressed(flat.astype(flat.dtype.newbyteorder("<"), copy=False).tobytes())
        offset, self._length = self._length, self._length + len(piece)
        self._pieces.append(piece)
        width = "" if flat.shape[1] == 1 else f'NumberOfComponents="{flat.shape[1]}" '
        place = f'format="appended" offset="{offset}"'
        return f'<DataArray type="{kind}" Name={quoteattr(name)} {width}{place}/>'

    def content(self) -> bytes:
        return b"".join(self._pieces)


def _compressed(data: bytes) -> bytes:
    blocks = [zlib.compress(data[i : i + _BLOCK], _LEVEL) for i in range(0, len(data), _BLOCK)]
    # The last number is the size of the last block, 0 when it is a full one.
    head = [len(blocks), _BLOCK, len(data) % _BLOCK, *map(len, blocks)]
    return base64.b64encode(np.array(head, dtype="<u8").tobytes()) + base64.b64encode(b"".join(blocks))


def _texts(name: str, texts: Sequence[str]) -> str:
    codes = " ".join(" ".join(map(str, [*text.encode(), 0])) for text in texts)
    return (
        f'<DataArray type="String" Name={quoteattr(name)} NumberOfTuples="{len(texts)}" format="ascii">'
        f"{codes}</DataArray>"
    )


def read_point_arrays(path: Path) -> dict[str, NDArray[np.generic]]:
    """Read back the nodal arrays of a ``.vtu`` file that :func:`unstructured_grid` made, by name."""
    content = path.read_bytes()
    head, _, data = content.partition(b'<AppendedData encoding="base64">\n_')
    tree = ElementTree.fromstring(head + b"</VTKFile>")
    return {array.attrib["Name"]: _decoded(array, data) for array in tree.iterfind(".//PointData/DataArray")}


def _decoded(array: ElementTree.Element, data: bytes) -> NDArray[np.generic]:
    start = int(array.attrib["offset"])
    blocks = int(np.frombuffer(base64.b64decode(data[start : start + 12]), "<u8", 1)[0])
    head_length = 4 * -(-8 * (3 + blocks) // 3)
    sizes = np.frombuffer(base64.b64decode(data[start : start + head_length]), "<u8")[3:]
    body_length = 4 * -(-int(sizes.sum()) // 3)
    body = base64.b64decode(data[start + head_length : start + head_length + body_length])
    ends = np.cumsum(sizes).tolist()
    pieces = [zlib.decompress(body[a:b]) for a, b in zip([0, *ends], ends, strict=False)]
    kind = {name: code for code, name in _TYPES.items()}[array.attrib["type"]]
    values = np.frombuffer(b"".join(pieces), "<" + kind)
    width = int(array.attrib.get("NumberOfComponents", 1))
    return values if width == 1 else values.reshape(-1, width)
