# SPDX-License-Identifier: MIT
"""What must be set before the heavy libraries are imported, and what must be there for them."""

import importlib.metadata
import os
import platform
import subprocess
import sys
from pathlib import Path
from typing import Any

from annelid.cases.run.preflight import apt_line, lacks_for_drawing
from annelid.geometry.errors import AnnelidError

__all__ = ["needs_libraries", "prepare", "provenance", "version"]

_BATCH = ("SLURM_JOB_ID", "PBS_JOBID", "LSB_JOBID", "JOB_ID", "FLUX_JOB_ID")
_PACKAGES = ("dolfinx-solver-real", "gmsh", "meshio", "mpi4py", "numpy", "pyvista", "scipy", "vtk")


def prepare() -> None:
    """Set environment variables that the libraries read when they are imported; the user's own are kept."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # ranks, not threads: the linear algebra is sequential
    if not any(name in os.environ for name in _BATCH):
        # A desktop's RDMA device may be unusable and its import fatal; a cluster knows its own fabric.
        os.environ.setdefault("UCX_TLS", "self,sm,tcp")


def needs_libraries() -> None:
    """Make sure that meshing and drawing will not crash for want of a shared library.

    Raises:
        AnnelidError: One is missing; the message says which and how to install it.
    """
    found = lacks_for_drawing()
    if found:
        lines = [lack.sentence for lack in found]
        raise AnnelidError("\n".join([*lines, f"On Debian or Ubuntu, as root: {apt_line(found)}"]))


def version() -> str:
    """Version of this distribution."""
    try:
        return importlib.metadata.version("annelid")
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


def provenance(ranks: int) -> dict[str, Any]:
    """Who ran what, on what: versions, revision, host, ranks."""
    return {
        "program": f"annelid {version()}",
        "revision": _revision(),
        "command": [Path(sys.argv[0]).name, *sys.argv[1:]],
        "host": platform.node(),
        "system": platform.platform(),
        "processors": os.cpu_count(),
        "python": platform.python_version(),
        "ranks": ranks,
        "packages": {name: importlib.metadata.version(name) for name in _PACKAGES if _installed(name)},
    }


def _installed(name: str) -> bool:
    return any(True for _ in importlib.metadata.distributions(name=name))


def _revision() -> str:
    """Revision of the checkout this runs from; empty when installed otherwise."""
    folder = Path(__file__).resolve().parents[2]
    if not (folder / ".git").exists():
        return ""
    command = ["git", "-C", str(folder), "describe", "--always", "--dirty", "--abbrev=12"]
    try:
        return subprocess.run(command, capture_output=True, text=True, timeout=10, check=True).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        return ""
