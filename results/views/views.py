# SPDX-License-Identifier: MIT
"""3-D pictures of a state: the drawn part as a ghost beside the deformed one, coloured by a field."""

import io
from pathlib import Path

from annelid.results.atomic import write_atomically
from annelid.results.folder.run_record import RunRecord
from annelid.results.views.rendering import off_screen, on_screen
from annelid.results.views.scene import scene

DEFAULT_FIELD = "largest principal stress"


def picture(run: RunRecord | Path | str, *, field: str = DEFAULT_FIELD, state: int | None = None) -> bytes:
    """Draw a state and return the PNG.

    Args:
        run: The run or its folder.
        field: Name of a nodal field, with or without its unit; of vectors the length is shown, of
            principal stretches the largest; ``"mode"`` shows a critical state moved along its mode.
        state: Number of the state, from the end when negative; the last by default.

    Returns:
        The content of a PNG file.

    Raises:
        InputError: The state or the field was not kept.
        CannotDraw: There is no way to draw here.
    """
    from PIL import Image

    pyvista = off_screen()
    plotter, _ = scene(pyvista, run, field, state, off_screen=True)
    try:
        pixels = plotter.screenshot(return_img=True)
    finally:
        plotter.close()
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, format="PNG", compress_level=6)
    return buffer.getvalue()


def image(
    run: RunRecord | Path | str, out: Path | str, *, field: str = DEFAULT_FIELD, state: int | None = None
) -> Path:
    """Write the picture of a state as a PNG file; arguments and errors as for :func:`picture`."""
    return write_atomically(Path(out), picture(run, field=field, state=state))


def view(run: RunRecord | Path | str, *, field: str = DEFAULT_FIELD, state: int | None = None) -> None:
    """Open an interactive window on a state; returns when it is closed.

    Raises:
        InputError: The state or the field was not kept.
        CannotDraw: There is no display.
    """
    pyvista = on_screen()
    plotter, title = scene(pyvista, run, field, state, off_screen=False)
    plotter.add_axes()
    plotter.show(title=title)
