# SPDX-License-Identifier: MIT
"""The animation in a report of a run in which time passes."""

import base64
import io
from typing import Any

from annelid.geometry.errors import InputError
from annelid.results.animation.animate import Animation, animation
from annelid.results.folder.folder_files import ANIMATION
from annelid.results.folder.run_record import RunRecord
from annelid.solver.display import capitalised
from annelid.solver.model.quantities import TIME

_MOST_BYTES = 2_000_000  # of a GIF file in a page
_FEWEST = 10  # frames


def report_animation(run: RunRecord) -> Animation | None:
    """Animate the section of a run as a GIF of at most 2 MB, with fewer frames if it is larger.

    Returns:
        ``None`` if the run is not finished, no time passes in it, or its fields were not stored.
    """
    try:
        made = animation(run)
        while len(made.content) > _MOST_BYTES and len(made.timing.times) > _FEWEST:
            made = animation(run, frames=max(len(made.timing.times) // 2, _FEWEST))
    except InputError:
        return None
    return made if len(made.content) <= _MOST_BYTES else None


def moving_picture(run: RunRecord, made: Animation) -> dict[str, Any]:
    """Return an animation and its first frame as data URLs, with the caption."""
    start, end = (run.table.show(TIME.name, float(t)) for t in (made.timing.times[0], made.timing.end))
    what = "The last whole cycle" if made.timing.is_loop else "The time"
    sentences = [
        f"{what} from {start} to {end}, {made.timing.speed_text}: the wall in a section through the axis, "
        f"coloured by {made.label}; grey where it has no value",
        made.note,
        "Between computed states, positions and values are interpolated linearly in time",
        f"The file {ANIMATION} beside this page shows the same",
    ]
    caption = " ".join(f"{capitalised(sentence)}." for sentence in sentences if sentence)
    return {
        "source": _data_url("gif", made.content),
        "still": _data_url("png", _first_frame(made.content)),
        "caption": caption,
    }


def _first_frame(content: bytes) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.open(io.BytesIO(content)).save(buffer, "PNG")
    return buffer.getvalue()


def _data_url(kind: str, content: bytes) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(content).decode()}"
