# SPDX-License-Identifier: MIT
"""The environment of a run: variables for the libraries, missing libraries, versions for the provenance."""

import importlib.metadata
import os
import platform
import subprocess
import sys
from pathlib import Path
from typing import Any

from annelid.cases.run.preflight import apt_line, missing_libraries
from annelid.geometry.errors import AnnelidError

__all__ = ["prepare", "provenance", "require_libraries", "version"]

_BATCH = ("SLURM_JOB_ID", "PBS_JOBID", "LSB_JOBID", "JOB_ID", "FLUX_JOB_ID")
_PACKAGES = ("dolfinx-solver-real", "gmsh", "meshio", "mpi4py", "numpy", "pyvista", "scipy", "vtk")


def prepare() -> None:
    """Set the environment variables that the libraries read on import; variables of the user are kept."""
    # Parallel runs use ranks. Threads for small matrices double the processor time (measured on a wave).
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "IGL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    # PETSc would otherwise replace the handler of SIGTERM, which is treated as Ctrl-C.
    os.environ.setdefault("PETSC_OPTIONS", "-no_signal_handler")
    if not any(name in os.environ for name in _BATCH):
        # UCX may abort on an unusable RDMA device of a desktop; a cluster has its own settings.
        os.environ.setdefault("UCX_TLS", "self,sm,tcp")


def require_libraries() -> None:
    """Check that the shared libraries for meshing and drawing can be loaded; without them both would crash.

    Raises:
        AnnelidError: A library is missing; the message names it and how to install it.
    """
    missing = missing_libraries()
    if missing:
        lines = [requirement.sentence for requirement in missing]
        raise AnnelidError("\n".join([*lines, f"On Debian or Ubuntu, as root: {apt_line(missing)}"]))


def version() -> str:
    """Return the version of the installed distribution."""
    try:
        return importlib.metadata.version("annelid")
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


def provenance(ranks: int) -> dict[str, Any]:
    """Return the command, versions, revision, host and number of ranks of a run."""
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
    """Return the git revision of the source folder; empty if it is not a git checkout."""
    folder = Path(__file__).resolve().parents[2]
    if not (folder / ".git").exists():
        return ""
    command = ["git", "-C", str(folder), "describe", "--always", "--dirty", "--abbrev=12"]
    try:
        return subprocess.run(command, capture_output=True, text=True, timeout=10, check=True).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        return ""
