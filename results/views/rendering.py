# SPDX-License-Identifier: MIT
"""The way to pyvista: VTK ends the process without a word where it finds no way to draw, so look first."""

import contextlib
import ctypes
import ctypes.util
import os
import sys
from types import ModuleType

from annelid.geometry.errors import AnnelidError

_LIBRARIES = {
    "EGL": ("libEGL.so.1", "vtkEGLRenderWindow"),
    "OSMesa": ("libOSMesa.so.8", "vtkOSOpenGLRenderWindow"),
}


class CannotDraw(AnnelidError):
    """No way to draw 3-D pictures here; says what to install."""


def off_screen() -> ModuleType:
    """Return pyvista, set up to draw without a window.

    Raises:
        CannotDraw: Neither EGL nor OSMesa is there.
    """
    if sys.platform.startswith("linux"):
        window = _render_window()
        if window is None:
            raise CannotDraw(
                "3-D pictures: neither libEGL nor libOSMesa is on this machine; install one, on Debian by "
                "apt-get install libegl1 libgl1."
            )
        os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", window)
    return _pyvista()


def on_screen() -> ModuleType:
    """Return pyvista for an interactive window.

    Raises:
        CannotDraw: There is no display, or it does not answer.
    """
    if sys.platform.startswith("linux"):
        display = os.environ.get("DISPLAY")
        if not display:
            raise CannotDraw(
                "3-D window: this machine has no display (DISPLAY is not set); write a picture to a file "
                "instead."
            )
        if not _answers():
            raise CannotDraw(
                f"3-D window: the display {display} does not answer; write a picture to a file instead."
            )
    return _pyvista()


def _answers() -> bool:
    """Whether the X server named by DISPLAY lets a window be opened; VTK would go on without one."""
    try:
        x11 = ctypes.CDLL("libX11.so.6")
    except OSError:
        return False
    x11.XOpenDisplay.restype = ctypes.c_void_p
    return bool(x11.XOpenDisplay(None))  # left open: a server whose only client leaves may start anew


def _render_window() -> str | None:
    for name, (library, window) in _LIBRARIES.items():
        if ctypes.util.find_library(name) or _loads(library):
            return window
    return None


def _loads(library: str) -> bool:
    with contextlib.suppress(OSError):
        ctypes.CDLL(library)
        return True
    return False


def _pyvista() -> ModuleType:
    import pyvista

    return pyvista
