# SPDX-License-Identifier: MIT
"""The panel of an animation that shows the cut-open part in 3-D, always from the same point."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from annelid.results.animation.colouring import NO_VALUE, Colouring
from annelid.results.animation.drawn_part import cut_open_part
from annelid.results.animation.moving_part import MovingPart
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.folder.run_record import RunRecord
from annelid.results.views.camera import layout_of_one, set_camera
from annelid.results.views.cutaway import OPEN_MIDDLE
from annelid.results.views.rendering import pyvista_off_screen, with_normals
from annelid.results.views.scene import AMBIENT, INK, lines_in_front

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

_DPI = 100


class SpacePanel:
    """The cut-open part; layers over electrodes are cut back.

    Attributes:
        size: Width and height of the axes, inches.
        note: Empty: the shape is true.

    Raises:
        RenderingError: Pictures cannot be rendered on this machine.
    """

    note = ""

    def __init__(self, run: RunRecord, part: MovingPart, colouring: Colouring, width: float) -> None:
        self._pyvista = pyvista_off_screen()
        self._part, self._colouring = part, colouring
        self._drawn = cut_open_part(FieldGrid(run.body))
        extremes = part.points[:: max(1, len(part.points) // 8)]
        self._layout = layout_of_one(
            np.concatenate([self._drawn.place(points) for points in extremes]),
            opening=OPEN_MIDDLE,
            width=round(width * _DPI),
        )
        self.size = (width, self._layout.window[1] / _DPI)
        self._plotter = self._pyvista.Plotter(
            off_screen=True, window_size=self._layout.window, lighting="light kit"
        )
        self._plotter.set_background("#ffffff")
        self._artists: list[Artist] = []

    def prepare(self, axes: "Axes") -> None:
        """Draw what does not move."""
        axes.set_axis_off()

    def move(self, axes: "Axes", time: float) -> "Sequence[Artist]":
        """Replace what moves by its picture at a time."""
        for artist in self._artists:
            artist.remove()
        self._artists = [axes.imshow(self._rendered(time), aspect="auto", interpolation="nearest")]
        return self._artists

    def _rendered(self, time: float) -> np.ndarray:
        positions, values = self._part.at(time)
        mesh = self._pyvista.PolyData.from_regular_faces(self._drawn.place(positions), self._drawn.triangles)
        mesh.point_data["value"] = self._drawn.take(values)
        self._plotter.clear_actors()
        self._plotter.add_mesh(
            with_normals(mesh),
            scalars="value",
            cmap=self._colouring.colours,
            clim=(self._colouring.norm.vmin, self._colouring.norm.vmax),
            nan_color=NO_VALUE,
            ambient=AMBIENT,
            smooth_shading=True,
            show_scalar_bar=False,
            render=False,
        )
        lines = lines_in_front(self._pyvista, mesh, self._drawn.lines, self._layout.towards_camera)
        self._plotter.add_mesh(lines, color=INK, line_width=1.0, render=False)
        set_camera(self._plotter, self._layout, mesh.points)
        self._plotter.render()  # a picture shows what was rendered last
        return np.asarray(self._plotter.screenshot(return_img=True))
