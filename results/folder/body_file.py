# SPDX-License-Identifier: MIT
"""The mesh in a Run folder: a compressed numpy archive without pickled objects."""

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from annelid.geometry.body import Body
from annelid.geometry.errors import InputError

_NAMED_SETS = ("regions", "bands", "surfaces")


def body_to_bytes(body: Body) -> bytes:
    """Pack a body into bytes; its named sets become arrays called ``regions/<name>`` and so on."""
    header = {
        "model": body.model,
        "cell_type": body.cell_type,
        "multiplicity": body.multiplicity,
        "notes": dict(body.notes),
        **{kind: list(getattr(body, kind)) for kind in _NAMED_SETS},
    }
    arrays = {name: getattr(body, name) for name in ("points", "cells", "facets", "normal")}
    for kind in _NAMED_SETS:
        arrays |= {f"{kind}/{name}": members for name, members in getattr(body, kind).items()}
    if body.hoop is not None:
        arrays["hoop"] = body.hoop
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, head=np.array(json.dumps(header)), **arrays)
    return buffer.getvalue()


def read_body_file(path: Path) -> Body:
    """Read a body that :func:`body_to_bytes` packed.

    Raises:
        InputError: The file is missing or is not such an archive.
    """
    try:
        with open(path, "rb") as file, np.load(file, allow_pickle=False) as archive:
            header = json.loads(str(archive["head"]))
            sets: dict[str, Any] = {
                kind: {name: archive[f"{kind}/{name}"] for name in header[kind]} for kind in _NAMED_SETS
            }
            return Body(
                model=header["model"],
                points=archive["points"],
                cell_type=header["cell_type"],
                cells=archive["cells"],
                facets=archive["facets"],
                normal=archive["normal"],
                hoop=archive["hoop"] if "hoop" in archive.files else None,
                multiplicity=header["multiplicity"],
                notes=header["notes"],
                **sets,
            )
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as reason:
        raise InputError(f"mesh {path}: cannot be read ({reason}); run the case again.") from None
