# SPDX-License-Identifier: MIT
"""The fields and deformed surfaces of a Run folder, and the collections of its fields."""

from pathlib import Path
from typing import Literal

import numpy as np

from annelid.geometry.body import Body
from annelid.results.atomic import write_atomically
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.fields.surfaces import deformed_surface, ply, stl
from annelid.results.fields.vtk_files import collection
from annelid.results.folder.cycles import timed_rows
from annelid.results.folder.digests import digest_of
from annelid.results.folder.folder_files import FIELDS, PVD, SURFACE, TIMED_PVD
from annelid.solver.model.quantities import TIME
from annelid.solver.records import Equilibrium

KeepFields = Literal["all", "stage ends", "last", "none"]
"""States whose fields are stored; ``"stage ends"`` includes the last state and the critical points."""

_SURFACES = ("lumen", "outer")


class FieldFiles:
    """Writes the files while the states are found.

    Args:
        folder: The Run folder.
        body: The mesh.
        keep: States whose fields are stored.
        keep_surfaces: Whether the deformed surfaces at the ends of stages are stored.
    """

    def __init__(self, folder: Path, body: Body, keep: KeepFields, keep_surfaces: bool) -> None:
        self._folder = folder
        self._body = body
        self._grid = FieldGrid(body)
        self._keep = keep
        self._surfaces = [name for name in _SURFACES if keep_surfaces and name in body.surfaces]
        self._files: dict[int, tuple[str, str]] = {}
        self._times: dict[int, float] = {}

    def append(self, previous: Equilibrium | None, state: Equilibrium) -> None:
        """Write what is stored of a state, and of the one before it if that ended its stage."""
        if previous is not None and previous.stage != state.stage:
            self._write_stage_end(previous)
        if TIME.name in state.quantities:
            self._times[state.index] = state.quantities[TIME.name].value
        if self._keep == "all" or (self._keep == "stage ends" and state.critical):
            self._write_fields(state)
        if state.parameter >= 1.0:
            self._write_stage_end(state)

    def finish(self, last: Equilibrium) -> None:
        """Write what is stored of the last state."""
        self._write_stage_end(last)
        if self._keep == "last":
            self._write_fields(last)

    def _write_fields(self, state: Equilibrium) -> None:
        if state.index in self._files:
            return
        name = f"state_{state.index:04d}.vtu"
        content = self._grid.vtu(state)
        write_atomically(self._folder / FIELDS / name, content)
        self._files[state.index] = (name, digest_of(content))
        files = ((number, *file) for number, file in sorted(self._files.items()))
        write_atomically(self._folder / PVD, collection(files))
        numbers, times = list(self._times), np.array(list(self._times.values()))
        rows = [row for row in timed_rows(times) if numbers[row] in self._files]
        if timed := [(float(times[row]), *self._files[numbers[row]]) for row in rows]:
            write_atomically(self._folder / TIMED_PVD, collection(timed))

    def _write_stage_end(self, state: Equilibrium) -> None:
        """Write the fields and surfaces of the last state of a stage; a second call does nothing."""
        if self._keep in ("all", "stage ends"):
            self._write_fields(state)
        for name in self._surfaces:
            stem = self._folder / SURFACE / f"state_{state.index:04d}_{name}"
            if not stem.with_suffix(".ply").exists():
                surface = deformed_surface(self._body, state.displacement, name)
                write_atomically(stem.with_suffix(".stl"), stl(surface))
                write_atomically(stem.with_suffix(".ply"), ply(surface))
