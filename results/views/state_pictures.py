# SPDX-License-Identifier: MIT
"""3-D pictures of a state: the drawn part in grey beside the deformed part, coloured by a field."""

from pathlib import Path

from annelid.results.atomic import write_atomically
from annelid.results.folder.run_record import RunRecord, open_run
from annelid.results.views.rendering import png_bytes, pyvista_off_screen, pyvista_on_screen
from annelid.results.views.scene import scene

DEFAULT_FIELD = "largest principal stress"


def picture(
    run: RunRecord | Path | str,
    *,
    field: str = DEFAULT_FIELD,
    state: int | None = None,
    with_headline: bool = False,
) -> bytes:
    """Render a state as a PNG picture.

    Args:
        run: The run or its folder.
        field: Name of a nodal field, with or without its unit. Of a vector the length is shown, of the
            principal stretches the largest; ``"mode"`` shows a critical state displaced along its mode.
        state: Number of the state, by default the last; negative numbers count from the end.
        with_headline: Whether the title of the case, the stage and the loads stand above the parts.

    Returns:
        The content of a PNG file.

    Raises:
        InputError: The state or the field was not stored.
        RenderingError: Pictures cannot be rendered on this machine.
    """
    plotter, _ = scene(pyvista_off_screen(), run, field, state, off_screen=True, with_headline=with_headline)
    return png_bytes(plotter, compression=6)


def write_picture(
    run: RunRecord | Path | str, out: Path | str, *, field: str = DEFAULT_FIELD, state: int | None = None
) -> Path:
    """Write the picture of a state with a headline as a PNG file; errors as for :func:`picture`."""
    return write_atomically(Path(out), picture(run, field=field, state=state, with_headline=True))


def show_window(run: RunRecord | Path | str, *, field: str = DEFAULT_FIELD, state: int | None = None) -> None:
    """Show a state in an interactive window; return when the window is closed.

    Raises:
        InputError: The state or the field was not stored.
        RenderingError: There is no display.
    """
    record = run if isinstance(run, RunRecord) else open_run(run)  # a wrong folder is reported first
    plotter, title = scene(pyvista_on_screen(), record, field, state, off_screen=False, with_headline=True)
    plotter.add_axes()
    plotter.show(title=title)
