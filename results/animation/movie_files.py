# SPDX-License-Identifier: MIT
"""Frames as the content of a GIF or an MP4 file."""

import io
import math
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.errors import InputError
from annelid.results.animation.timing import FrameTiming

type Picture = NDArray[np.uint8]

_FLAT = 24  # most frequent colours that a GIF has exactly
_ALIKE = 6  # levels of 256
_SAMPLES = 8  # frames from which the colours of a GIF are chosen
_LEAST_SECONDS = 5.0  # of an MP4 file, which players do not repeat: a loop is repeated up to this length


def gif(frames: Sequence[Picture], timing: FrameTiming) -> bytes:
    """Return a GIF file that repeats for ever, in 256 colours for all frames."""
    from PIL import Image

    palette = Image.new("P", (1, 1))
    palette.putpalette(_common_colours(frames).ravel().tolist())
    pictures = [Image.fromarray(f).quantize(palette=palette, dither=Image.Dither.NONE) for f in frames]
    buffer = io.BytesIO()
    first, *others = pictures
    first.save(buffer, "GIF", save_all=True, append_images=others, duration=timing.delays(), loop=0)
    return buffer.getvalue()


def _common_colours(frames: Sequence[Picture]) -> Picture:
    """Return at most 256 colours of some frames, shape (n, 3); large areas of one colour keep it exactly."""
    from PIL import Image

    some = np.concatenate([frames[k] for k in np.linspace(0, len(frames) - 1, _SAMPLES).astype(int)])
    sample = Image.fromarray(some)
    counted = sample.getcolors(some.size) or []
    flat = np.array([colour for _, colour in sorted(counted, reverse=True)[:_FLAT]], np.uint8)
    mixed = sample.quantize(256 - _FLAT, method=Image.Quantize.MEDIANCUT).getpalette() or []
    found = np.concatenate([flat, np.array(mixed, np.uint8).reshape(-1, 3)])
    # Of several colours that are alike Pillow may choose another: 251 was seen instead of 255.
    alike = (np.abs(found[:, None].astype(int) - found[None]) <= _ALIKE).all(axis=2).argmax(axis=1)
    return found[(alike == np.arange(len(found))) | (alike >= len(flat))]


def check_encoder() -> None:
    """Check that MP4 files can be written.

    Raises:
        InputError: No encoder is installed.
    """
    try:
        import imageio_ffmpeg

        imageio_ffmpeg.get_ffmpeg_exe()
    except (ImportError, RuntimeError):
        text = "an MP4 file needs an encoder, and none is installed: pip install imageio-ffmpeg"
        raise InputError(f"--out: {text}; a GIF file (.gif) needs none", key="--out") from None


def mp4(frames: Sequence[Picture], timing: FrameTiming) -> bytes:
    """Return an MP4 file (H.264); a loop is repeated until it lasts 5 s."""
    import imageio_ffmpeg

    check_encoder()
    height, width = (2 * (side // 2) for side in frames[0].shape[:2])  # the encoder takes even numbers
    repeats = max(1, math.ceil(_LEAST_SECONDS * timing.rate / len(frames))) if timing.is_loop else 1
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "animation.mp4"
        writer = imageio_ffmpeg.write_frames(
            file, (width, height), fps=timing.rate, codec="libx264", quality=8, macro_block_size=2
        )
        writer.send(None)
        for _ in range(repeats):
            for frame in frames:
                writer.send(np.ascontiguousarray(frame[:height, :width]))
        writer.close()
        return file.read_bytes()
