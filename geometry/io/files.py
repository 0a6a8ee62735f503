# SPDX-License-Identifier: MIT
"""Read and write bodies as mesh files."""

from pathlib import Path

from annelid.geometry.body import Body
from annelid.geometry.errors import InputError
from annelid.geometry.io.msh import read_msh, write_msh
from annelid.geometry.io.recovery import recover_body
from annelid.geometry.io.vtu import read_vtu, write_vtu
from annelid.geometry.writing import replacing

SUFFIXES = (".msh", ".vtu")


def write_mesh(body: Body, path: str | Path) -> None:
    """Write a body to ``path``: gmsh 4.1 with physical names (.msh) or VTK (.vtu).

    Raises:
        InputError: If the suffix is unknown or the folder does not exist.
        OSError: If the file cannot be written; it is then unchanged.
    """
    target = Path(path)
    _check_suffix(target)
    if not target.parent.is_dir():
        raise InputError(f"mesh file {target}: the folder {target.parent} does not exist; create it first")
    with replacing(target, suffix=target.suffix) as temporary:
        if target.suffix == ".msh":
            write_msh(body, temporary)
        else:
            write_vtu(body, temporary)


def read_body(path: str | Path) -> Body:
    """Read a body from a .msh or .vtu file with lengths in mm.

    A file of another origin must have second-order cells of one type (``quad9`` in the plane x = R, y = Z;
    ``hexahedron27`` or ``tetra10`` with the axis along z), every cell in one named group, bands in groups
    named ``band <name>``, and a surface ``lumen`` or ``outer``.

    Raises:
        InputError: If the file cannot be read or its mesh cannot be used.
    """
    source = Path(path)
    _check_suffix(source)
    if not source.is_file():
        raise InputError(f"mesh file {source}: no such file", path=str(source))
    mesh = read_msh(source) if source.suffix == ".msh" else read_vtu(source)
    return recover_body(mesh, str(source))


def _check_suffix(path: Path) -> None:
    if path.suffix not in SUFFIXES:
        raise InputError(f"mesh file {path}: the name must end in {' or '.join(SUFFIXES)}", path=str(path))
