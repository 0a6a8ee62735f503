# SPDX-License-Identifier: MIT
"""The animation of a run: its choice of what is shown, and the file."""

import os
from pathlib import Path
from typing import Literal, NamedTuple

from annelid.geometry.errors import InputError
from annelid.results.animation.colouring import colouring_of
from annelid.results.animation.frame_page import PANEL_WIDTH, FramePage, Panel
from annelid.results.animation.movie_files import check_encoder, gif, mp4
from annelid.results.animation.moving_part import moving_part
from annelid.results.animation.section_panel import SectionPanel
from annelid.results.animation.timing import FrameTiming, timing_of
from annelid.results.atomic import write_atomically
from annelid.results.folder.run_record import RunRecord, open_run

__all__ = ["VIEWS", "Animation", "View", "animation", "write_animation"]

type View = Literal["section", "3d"]
VIEWS: tuple[View, ...] = ("section", "3d")
_SUFFIXES = (".gif", ".mp4")


class Animation(NamedTuple):
    """An animation.

    Attributes:
        content: Content of a GIF or MP4 file.
        timing: What its frames show and when.
        label: Name of the field that the colours show, with its unit.
        note: How it differs from the true shape; "" if it does not.
    """

    content: bytes
    timing: FrameTiming
    label: str
    note: str


def animation(
    run: RunRecord,
    *,
    view: View = "section",
    cycle: str | None = None,
    field: str | None = None,
    frames: int | None = None,
    angle: float | None = None,
    suffix: str = ".gif",
) -> Animation:
    """Animate a run in which time passes.

    Frames are at equal steps of time. Between two computed states everything is linear in time.

    Args:
        run: A finished run.
        view: ``"section"`` for the wall in a section through the axis, ``"3d"`` for the cut-open part.
        cycle: ``"last"`` for the last whole cycle as a loop, ``"all"`` for the whole time; by default the
            cycle if there is one.
        field: Name of a field of the files in ``show/``; by default the voltage of the electrodes, or the
            largest principal stress of a part without voltage.
        frames: Number of frames; by default chosen for an animation in real time.
        angle: Angle of the section of a 3-D model around the axis, from X to Y, degrees; by default 0.
        suffix: ``".gif"`` or ``".mp4"``.

    Raises:
        InputError: No time passes, the run is not finished, there is no whole cycle or no such field, fields
            were not stored, or there is no encoder for an MP4 file.
        RenderingError: Pictures in 3-D cannot be rendered on this machine.
    """
    if not run.summary:
        text = "the run is not finished; start it again, or wait until it is"
        raise InputError(f"{run.path}: {text}", key="RUNDIR")
    _check_angle(run, view, angle)
    if suffix == ".mp4":
        check_encoder()
    timing = timing_of(run, cycle=cycle, frames=frames)
    part = moving_part(run, timing, field)
    colouring = colouring_of(part)
    panel: Panel
    if view == "3d":
        from annelid.results.animation.space_panel import SpacePanel

        panel = SpacePanel(run, part, colouring, PANEL_WIDTH)
    else:
        panel = SectionPanel(run, part, colouring, PANEL_WIDTH, angle=angle or 0.0)
    pictures = list(FramePage(run, timing, panel, colouring).frames())
    content = (mp4 if suffix == ".mp4" else gif)(pictures, timing)
    return Animation(content, timing, part.label, panel.note)


def write_animation(
    path: Path | str,
    out: Path | str | None = None,
    *,
    view: View = "section",
    cycle: str | None = None,
    field: str | None = None,
    frames: int | None = None,
    angle: float | None = None,
) -> tuple[Path, Animation]:
    """Write the animation of a run to a new file; arguments and errors as for :func:`animation`.

    Args:
        path: The Run folder.
        out: The file, ``.gif`` or ``.mp4``; by default ``section.gif`` or ``3d.gif`` in the Run folder.
        view: See :func:`animation`, also for the other arguments.
        cycle: What is shown.
        field: Colours.
        frames: Number of frames.
        angle: Angle of a section.

    Returns:
        The file and its animation.

    Raises:
        InputError: The file exists, has another suffix, or its folder cannot be written to.
    """
    run = open_run(path)
    file = Path(out) if out is not None else run.path / f"{view}.gif"
    _check_new(file)
    made = animation(run, view=view, cycle=cycle, field=field, frames=frames, angle=angle, suffix=file.suffix)
    return write_atomically(file, made.content), made


def _check_angle(run: RunRecord, view: View, angle: float | None) -> None:
    if angle is None:
        return
    if view != "section" or run.body.model == "axisymmetric":
        raise InputError("--angle: belongs to the section of a 3-D model; leave it out", key="--angle")
    if not -360.0 <= angle <= 360.0:
        raise InputError(f"--angle: {angle:g} is out of range; give -360 to 360", key="--angle", value=angle)


def _check_new(file: Path) -> None:
    """Check that a file can be written, before anything is drawn."""
    if file.suffix not in _SUFFIXES:
        raise InputError(f'--out: "{file}" must end in .gif or .mp4', key="--out")
    if os.path.lexists(file):
        raise InputError(f'--out: "{file}" exists; name another file or remove this one', key="--out")
    if not file.parent.is_dir() or not os.access(file.parent, os.W_OK | os.X_OK):
        text = f'the folder "{file.parent}" does not exist or cannot be written to; name another file'
        raise InputError(f"--out: {text}", key="--out")
