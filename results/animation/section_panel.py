# SPDX-License-Identifier: MIT
"""The panel of an animation that shows the wall in a section through the axis."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.results.animation.colouring import Colouring
from annelid.results.animation.drawn_part import section_through_axis
from annelid.results.animation.moving_part import MovingPart
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.figures import svg_style as style
from annelid.results.folder.cycles import timed_rows
from annelid.results.folder.run_record import RunRecord
from annelid.solver.model.contact import Contact
from annelid.solver.model.quantities import TIME

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.path import Path as MatplotlibPath

_FILLED, _CORE = "#e4eff5", "#c9ccc9"  # the lumen, and a cylinder in it
_LEAST_HEIGHT, _LARGEST_HEIGHT = 1.9, 4.2  # inches
_MOST_TIMES = 5  # by which radii are enlarged
_ROOM = np.array([0.04, 0.1])  # around the section, of its size


class SectionPanel:
    """The section through the axis; of a slender part the radii are enlarged by a whole number.

    Attributes:
        size: Width and height of the axes, inches.
        note: Which section it is, and how radii are drawn if not as heights are.

    Raises:
        InputError: There is nothing in the section.
    """

    def __init__(
        self, run: RunRecord, part: MovingPart, colouring: Colouring, width: float, *, angle: float = 0.0
    ) -> None:
        self._run, self._part, self._colouring = run, part, colouring
        grid = FieldGrid(run.body)
        self._drawn = section_through_axis(grid, symmetry_plane=run.description.symmetry_plane, angle=angle)
        if not len(self._drawn.triangles):
            text = f"--angle: the model has no material at {angle:g}°; give another angle"
            raise InputError(text, key="--angle", value=angle)
        self._unit = run.units.unit("length", float(np.ptp(run.body.points, axis=0).max()))
        placed = np.array([self._drawn.place(points) for points in part.points]) * self._unit.factor
        low, high = placed.min(axis=(0, 1)), placed.max(axis=(0, 1))
        room = _ROOM * (high - low)
        self._low, self._high = low - room, high + room
        span = self._high - self._low
        natural = width * span[1] / span[0]
        times = int(np.clip(np.ceil(_LEAST_HEIGHT / natural), 1, _MOST_TIMES))
        scale = min(1.0, _LARGEST_HEIGHT / (times * natural))
        self.size = (width * scale, times * natural * scale)
        notes = [f"section at {angle:g}° around the axis"] * (run.body.model != "axisymmetric")
        notes += [f"radii drawn {times} times as large as heights"] * (times > 1)
        self.note = ", ".join(notes)
        self._artists: list[Artist] = []

    def prepare(self, axes: "Axes") -> None:
        """Draw what does not move."""
        axes.set_xlim(self._low[0], self._high[0])
        axes.set_ylim(self._low[1], self._high[1])
        axes.set_autoscale_on(False)
        axes.grid(visible=False)
        axes.axhline(0.0, color=style.MUTED, linewidth=0.6, dashes=(12, 3, 2, 3), zorder=0.5)
        is_meridian = self._run.body.model == "axisymmetric"
        axes.set_xlabel(self._unit.label("height along the axis"))
        axes.set_ylabel(self._unit.label("radius" if is_meridian else "distance from the axis"))
        axes.yaxis.set_major_locator(_locator(5))
        axes.yaxis.set_major_formatter(lambda value, _: f"{abs(value):g}")
        if self.note:
            look: dict[str, Any] = {"color": style.MUTED, "fontsize": 8, "ha": "right", "va": "top"}
            axes.text(1.0, 1.0, self.note, transform=axes.transAxes, **look)

    def move(self, axes: "Axes", time: float) -> "Sequence[Artist]":
        """Replace what moves by its drawing at a time."""
        from matplotlib.collections import TriMesh
        from matplotlib.patches import PathPatch
        from matplotlib.tri import Triangulation

        for artist in self._artists:
            artist.remove()
        positions, values = self._part.at(time)
        points = self._drawn.place(positions) * self._unit.factor
        mesh = TriMesh(Triangulation(points[:, 0], points[:, 1], self._drawn.triangles))
        mesh.set(array=self._drawn.take(values), cmap=self._colouring.colours, norm=self._colouring.norm)
        lumen = PathPatch(_path(points[self._drawn.lumen]), color=_FILLED, linewidth=0.0, antialiased=False)
        lines = PathPatch(_path(points[self._drawn.lines]), fill=False, edgecolor=style.INK, linewidth=0.5)
        cores = [self._core(axes, obstacle, time) for obstacle in self._surrounded]
        self._artists = [axes.add_artist(lumen), *cores, axes.add_artist(mesh), axes.add_artist(lines)]
        return self._artists

    @property
    def _surrounded(self) -> list[Contact]:
        """Cylinders in the lumen."""
        obstacles = self._run.description.obstacles
        return [o for o in obstacles if o.kind == "cylinder" and o.surface == "lumen"]

    def _core(self, axes: "Axes", obstacle: Contact, time: float) -> "Artist":
        """A cylinder on the axis at a time."""
        table = self._run.table
        radii = table.columns.get(f"obstacle {obstacle.name}", np.full(len(table), obstacle.position))
        rows = timed_rows(table[TIME.name])
        radius = float(np.interp(time, table[TIME.name][rows], radii[rows])) * self._unit.factor
        return axes.axhspan(-radius, radius, color=_CORE, linewidth=0.0)


def _path(polygons: FloatArray) -> "MatplotlibPath":
    """Return polygons or lines, shape (k, corners, 2), as one path."""
    from matplotlib.path import Path as MatplotlibPath

    codes = np.full(polygons.shape[:2], MatplotlibPath.LINETO)
    codes[:, 0] = MatplotlibPath.MOVETO
    return MatplotlibPath(polygons.reshape(-1, 2), codes.ravel())


def _locator(most: int):  # type: ignore[no-untyped-def]
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(most, symmetric=True)
