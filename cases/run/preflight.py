# SPDX-License-Identifier: MIT
"""Check for requirements that pip cannot install, before they cause obscure errors.

This file is also a script for Python 3.7 or newer that needs no other packages::

    python3 -I cases/run/preflight.py          # prints what is missing; exit code 1 if anything is missing
    python3 -I cases/run/preflight.py --apt    # prints only the missing Debian packages

It imports only the standard library and uses no syntax newer than Python 3.7.
"""

from __future__ import annotations

import ctypes
import importlib.util
import os
import platform
import shlex
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Callable, Sequence
from typing import NamedTuple

__all__ = [
    "COMPILER_PACKAGES",
    "LIBRARIES",
    "MissingRequirement",
    "apt_line",
    "main",
    "missing_libraries",
    "missing_requirements",
]

OLDEST = (3, 12)
PYTHON_PACKAGES = ("python3", "python3-venv")
COMPILER_PACKAGES = ("gcc", "libc6-dev")

# (alternatives, of which one is sufficient; what needs it; Debian package)
LIBRARIES = (
    (("libGL.so.1",), "the mesher and the 3-D views", "libgl1"),
    (("libEGL.so.1", "libOSMesa.so.8"), "the 3-D views, which would crash without it", "libegl1"),
    (("libGLU.so.1",), "the mesher", "libglu1-mesa"),
    (("libXft.so.2",), "the mesher", "libxft2"),
    (("libXcursor.so.1",), "the mesher", "libxcursor1"),
    (("libXinerama.so.1",), "the mesher", "libxinerama1"),
)


class MissingRequirement(NamedTuple):
    """A requirement that is missing.

    Attributes:
        sentence: What is missing and what needs it.
        packages: Debian packages that provide it.
    """

    sentence: str
    packages: tuple[str, ...]


def missing_requirements(can_load: Callable[[str], bool] | None = None) -> list[MissingRequirement]:
    """Return what is missing for building the environment and for running a case.

    Args:
        can_load: Returns whether a shared library of that name can be loaded; the system's loader by default.
    """
    return _python() + _platform() + _compiler() + missing_libraries(can_load)


def missing_libraries(can_load: Callable[[str], bool] | None = None) -> list[MissingRequirement]:
    """Return the missing shared libraries without which meshing or drawing would fail or crash."""
    can_load = can_load or _can_load
    return [
        MissingRequirement(f"{' or '.join(names)} is missing; it is needed by {purpose}.", (package,))
        for names, purpose, package in LIBRARIES
        if not any(can_load(name) for name in names)
    ]


def apt_line(missing: Sequence[MissingRequirement]) -> str:
    """Return the command that installs what is missing on Debian or Ubuntu; empty without packages."""
    packages = _packages(missing)
    return "apt-get install -y --no-install-recommends " + " ".join(packages) if packages else ""


def _packages(missing: Sequence[MissingRequirement]) -> list[str]:
    return sorted({package for requirement in missing for package in requirement.packages})


def _python() -> list[MissingRequirement]:
    missing = []
    if sys.version_info[:2] < OLDEST:
        version = platform.python_version()
        sentence = f"Python {version} is too old: Python 3.12 or newer is needed (Debian 13 has 3.13)."
        return [MissingRequirement(sentence, PYTHON_PACKAGES)]
    if importlib.util.find_spec("ensurepip") is None:
        sentence = "Python's venv module cannot create an environment: ensurepip is missing."
        missing.append(MissingRequirement(sentence, ("python3-venv",)))
    return missing


def _platform() -> list[MissingRequirement]:
    system, machine = platform.system(), platform.machine()
    if (system, machine) != ("Linux", "x86_64"):
        sentence = f"The solver needs Linux on x86_64, but this is {system} on {machine}: use a container."
        return [MissingRequirement(sentence, ())]
    name, version = platform.libc_ver()
    if name == "glibc" and tuple(int(n) for n in version.split(".")[:2]) < (2, 34):
        sentence = f"The solver needs glibc 2.34 or newer, but this system has {version}: use a container."
        return [MissingRequirement(sentence, ())]
    return []


def _compiler() -> list[MissingRequirement]:
    command = shlex.split(os.environ.get("CC") or sysconfig.get_config_var("CC") or "gcc")
    if not shutil.which(command[0]):
        sentence = f"The C compiler {command[0]} is missing; it is needed to compile the equations."
        return [MissingRequirement(sentence, COMPILER_PACKAGES)]
    preprocess = [*command, "-E", "-x", "c", "-"]
    done = subprocess.run(preprocess, input=b"#include <math.h>", capture_output=True)
    if done.returncode == 0:
        return []
    sentence = "math.h is missing; it is needed to compile the equations."
    return [MissingRequirement(sentence, ("libc6-dev",))]


def _can_load(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def main(arguments: Sequence[str] | None = None) -> int:
    """Print what is missing and how to install it; return 1 if anything is missing, else 0."""
    missing = missing_requirements()
    if "--apt" in (sys.argv[1:] if arguments is None else arguments):
        print(" ".join(_packages(missing)))
        return 0
    for requirement in missing:
        print(requirement.sentence, file=sys.stderr)
    if apt_line(missing):
        print("On Debian or Ubuntu, as root:\n    apt-get update && " + apt_line(missing), file=sys.stderr)
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
