# SPDX-License-Identifier: MIT
"""Look for what pip cannot install, before anything fails obscurely.

Runs as a script on any Python 3.7 or newer, with nothing installed::

    python3 -I cases/run/preflight.py          # says what is missing, exit code 1 if anything is
    python3 -I cases/run/preflight.py --apt    # prints the missing Debian packages alone

Only the standard library is imported, and no syntax newer than Python 3.7 is used.
"""

from __future__ import annotations

import ctypes
import importlib.util
import os
import platform
import shlex
import shutil
import sys
import sysconfig
from collections.abc import Callable, Sequence
from typing import NamedTuple

__all__ = ["LIBRARIES", "Lack", "apt_line", "lacks", "lacks_for_drawing", "main"]

OLDEST = (3, 12)
PYTHON_PACKAGES = ("python3", "python3-venv", "python3-dev")

# (alternatives, any of which will do; what needs it; Debian package)
LIBRARIES = (
    (("libGL.so.1",), "the mesher and the 3-D views", "libgl1"),
    (("libEGL.so.1", "libOSMesa.so.8"), "the 3-D views, which would crash without it", "libegl1"),
    (("libGLU.so.1",), "the mesher", "libglu1-mesa"),
    (("libXft.so.2",), "the mesher", "libxft2"),
    (("libXcursor.so.1",), "the mesher", "libxcursor1"),
    (("libXinerama.so.1",), "the mesher", "libxinerama1"),
)


class Lack(NamedTuple):
    """Something missing: one sentence that says what and why, and the Debian packages that bring it."""

    sentence: str
    packages: tuple[str, ...]


def lacks(loads: Callable[[str], bool] | None = None) -> list[Lack]:
    """Everything that is missing for building the environment and for running a case.

    Args:
        loads: Tells whether a shared library of that name can be loaded; the system's loader by default.
    """
    return _python() + _platform() + _compiler() + _libraries(loads or _loads)


def lacks_for_drawing(loads: Callable[[str], bool] | None = None) -> list[Lack]:
    """The shared libraries without which meshing or drawing would fail or crash."""
    return _libraries(loads or _loads)


def apt_line(found: Sequence[Lack]) -> str:
    """The one command that installs all that is missing on Debian or Ubuntu; empty if nothing can be."""
    packages = sorted({package for lack in found for package in lack.packages})
    return "apt-get install -y --no-install-recommends " + " ".join(packages) if packages else ""


def _python() -> list[Lack]:
    found = []
    if sys.version_info[:2] < OLDEST:
        sentence = (
            f"Python {platform.python_version()} is too old: 3.12 or newer is needed (Debian 13 has 3.13)."
        )
        return [Lack(sentence, PYTHON_PACKAGES)]
    if importlib.util.find_spec("ensurepip") is None:
        sentence = "Python's venv module cannot make an environment: ensurepip is missing."
        found.append(Lack(sentence, ("python3-venv",)))
    if not os.path.exists(os.path.join(sysconfig.get_path("include"), "Python.h")):
        found.append(Lack("Python.h is missing: equations are compiled against it.", ("python3-dev",)))
    return found


def _platform() -> list[Lack]:
    system, machine = platform.system(), platform.machine()
    if (system, machine) != ("Linux", "x86_64"):
        sentence = (
            f"The solver's wheel is for Linux on x86_64, this is {system} on {machine}: use a container."
        )
        return [Lack(sentence, ())]
    name, version = platform.libc_ver()
    if name == "glibc" and tuple(int(n) for n in version.split(".")[:2]) < (2, 34):
        sentence = f"The solver needs glibc 2.34 or newer, this system has {version}: use a container."
        return [Lack(sentence, ())]
    return []


def _compiler() -> list[Lack]:
    command = shlex.split(os.environ.get("CC") or sysconfig.get_config_var("CC") or "gcc")[0]
    if shutil.which(command):
        return []
    return [Lack(f"No C compiler ({command}) was found: equations are compiled at run time.", ("gcc",))]


def _libraries(loads: Callable[[str], bool]) -> list[Lack]:
    found = []
    for names, purpose, package in LIBRARIES:
        if not any(loads(name) for name in names):
            found.append(Lack(f"{' or '.join(names)} is missing: needed by {purpose}.", (package,)))
    return found


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def main(arguments: Sequence[str] | None = None) -> int:
    """Print what is missing and how to install it; 1 if anything is, else 0."""
    found = lacks()
    if "--apt" in (sys.argv[1:] if arguments is None else arguments):
        print(" ".join(sorted({package for lack in found for package in lack.packages})))
        return 0
    for lack in found:
        print("missing: " + lack.sentence, file=sys.stderr)
    if apt_line(found):
        print("On Debian or Ubuntu, as root:\n    apt-get update && " + apt_line(found), file=sys.stderr)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
