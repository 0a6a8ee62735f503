# SPDX-License-Identifier: MIT
"""Rendering with pyvista, after a check that it is possible; without it VTK ends the process silently."""

import contextlib
import ctypes
import ctypes.util
import io
import os
import sys
from types import ModuleType
from typing import Any

from annelid.geometry.errors import AnnelidError

_LIBRARIES = {
    "EGL": ("libEGL.so.1", "vtkEGLRenderWindow"),
    "OSMesa": ("libOSMesa.so.8", "vtkOSOpenGLRenderWindow"),
}


class RenderingError(AnnelidError):
    """3-D pictures cannot be rendered on this machine; the message states what to install."""


def pyvista_off_screen() -> ModuleType:
    """Return pyvista, set up to render without a window.

    Raises:
        RenderingError: Neither EGL nor OSMesa is installed.
    """
    if sys.platform.startswith("linux"):
        window = _render_window()
        if window is None:
            raise RenderingError(
                "3-D pictures: neither libEGL nor libOSMesa is installed; install one of them, on Debian "
                "with apt-get install libegl1 libgl1."
            )
        os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", window)
    return _pyvista()


def pyvista_on_screen() -> ModuleType:
    """Return pyvista for an interactive window.

    Raises:
        RenderingError: There is no display, or it does not respond.
    """
    if sys.platform.startswith("linux"):
        display = os.environ.get("DISPLAY")
        if not display:
            raise RenderingError(
                "3-D window: this machine has no display (DISPLAY is not set); write a picture to a file "
                "instead."
            )
        if not _display_responds():
            raise RenderingError(
                f"3-D window: the display {display} does not respond; write a picture to a file instead."
            )
    return _pyvista()


def with_normals(mesh: Any) -> Any:
    """Return a surface mesh with point normals for smooth shading; sharp edges stay sharp."""
    return mesh.compute_normals(cell_normals=False, split_vertices=True, feature_angle=35.0)


def png_bytes(plotter: Any, *, compression: int) -> bytes:
    """Render a plotter, close it, and return the content of a PNG file.

    Args:
        plotter: A pyvista plotter without a window.
        compression: Level from 0 to 9.
    """
    from PIL import Image

    try:
        pixels = plotter.screenshot(return_img=True)
    finally:
        plotter.close()
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, format="PNG", compress_level=compression)
    return buffer.getvalue()


def _display_responds() -> bool:
    """Whether the X server named by DISPLAY accepts connections; VTK does not check this itself."""
    try:
        x11 = ctypes.CDLL("libX11.so.6")
    except OSError:
        return False
    x11.XOpenDisplay.restype = ctypes.c_void_p
    return bool(x11.XOpenDisplay(None))  # not closed: some servers restart when their last client leaves


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
