# SPDX-License-Identifier: MIT
"""Pictures of a comparison: the coloured surface from two sides, and which points were removed."""

import base64
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from annelid.compare.comparison.compared import Comparison
from annelid.compare.comparison.map_surface import MapSurface
from annelid.compare.page.diverging import NO_VALUE, diverging_colours, sequential_colours
from annelid.compare.scans.cleaning import KEPT
from annelid.geometry.body import FloatArray, IntArray
from annelid.results.figures import svg_style as style
from annelid.results.views.camera import Layout, choose_layout, set_camera
from annelid.results.views.rendering import pyvista_off_screen
from annelid.solver.display import DisplayUnit

if TYPE_CHECKING:
    from matplotlib.colors import Colormap

_HALF_TURN = np.array([-1.0, -1.0, 1.0])
_AMBIENT, _DIFFUSE = 0.75, 0.3  # little shading, so that colours can be read
_MOST_POINTS = 40_000  # of one colour
_MARGIN = 0.6  # of the size of the part: removed points farther away are not drawn
_KEPT_COLOUR = "#b4c0c5"
_REASON_COLOURS = (
    *("#5b5f9d", "#dd9a24", "#8a5a2b", "#4f7d3c", "#8040a8", "#0e6a71", "#1f74d0", "#101418", "#c2362f"),
)
_WIDTH = 6.6  # inches
_DPI = 200


class ColourScale(NamedTuple):
    """Colours of values.

    Attributes:
        label: What the values are.
        unit: Unit in which they are shown.
        low: Value of the first colour, internal unit; the colours diverge from zero if it is negative.
        high: Value of the last colour.
    """

    label: str
    unit: DisplayUnit
    low: float
    high: float

    @property
    def colours(self) -> "Colormap":
        """The colour map."""
        return diverging_colours() if self.low < 0.0 else sequential_colours()

    @property
    def ends(self) -> tuple[float, float]:
        """Values of the first and the last colour in the shown unit."""
        return self.unit.factor * self.low, self.unit.factor * self.high


def map_picture(surface: MapSurface, unit: DisplayUnit, limit: float) -> tuple[bytes, str]:
    """Render the surface coloured by the deviation from two opposite sides.

    Args:
        surface: The surface with deviations.
        unit: Unit of the deviations.
        limit: Deviation at the ends of the colours, mm.

    Returns:
        A PNG picture, and where the side that faces away is.

    Raises:
        RenderingError: Pictures cannot be rendered on this machine.
    """
    behind = surface.points * _HALF_TURN
    layout = choose_layout(behind, surface.points, opening=0.0)
    shown = [(points, surface.deviation) for points in (surface.points, behind + layout.shift)]
    scale = ColourScale("deviation, positive outside", unit, -limit, limit)
    picture = surfaces_picture(surface.triangles, shown, layout, scale)
    return picture, "above" if abs(layout.shift @ layout.up) > 0 else "on the left"


def surfaces_picture(
    triangles: IntArray,
    shown: Sequence[tuple[FloatArray, FloatArray]],
    layout: Layout,
    scale: ColourScale,
    *,
    dpi: int = _DPI,
) -> bytes:
    """Render surfaces coloured by values, beside each other, as a PNG picture.

    Args:
        triangles: Triangles of each surface, shape (t, 3).
        shown: Points, shape (n, 3), mm, and values at them, shape (n,), of each surface.
        layout: Camera for all of them; the first is where the camera is set to.
        scale: Colours of the values.
        dpi: Resolution.

    Raises:
        RenderingError: Pictures cannot be rendered on this machine.
    """
    pyvista = pyvista_off_screen()
    plotter = pyvista.Plotter(off_screen=True, window_size=layout.window, lighting="light kit")
    plotter.set_background("white")
    for points, values in shown:
        mesh = pyvista.PolyData.from_regular_faces(points, triangles)
        mesh.point_data["value"] = scale.unit.factor * values
        plotter.add_mesh(
            mesh.compute_normals(cell_normals=False, split_vertices=False),
            scalars="value",
            cmap=scale.colours,
            clim=scale.ends,
            nan_color=NO_VALUE,
            ambient=_AMBIENT,
            diffuse=_DIFFUSE,
            smooth_shading=True,
            show_scalar_bar=False,
        )
    set_camera(plotter, layout, shown[0][0])
    return _with_bar(_pixels(plotter), scale, dpi)


def cleaning_picture(compared: Comparison) -> tuple[bytes, int]:
    """Render the points that count in grey, and the others in the colour of the reason.

    Returns:
        A PNG picture, and the number of points that are too far away for it.
    """
    fate, names = compared.fates
    placed = compared.alignment.pose.apply(compared.cloud.points)
    nominal = compared.part.surface.points
    low, high = nominal.min(axis=0), nominal.max(axis=0)
    margin = _MARGIN * float((high - low).max())
    near = ((placed > low - margin) & (placed < high + margin)).all(axis=1)
    groups = [(name, placed[near & (fate == i)]) for i, name in enumerate(names)]
    shown = [
        (name, _some(points), colour) for (name, points), colour in zip(groups, _REASON_COLOURS, strict=False)
    ]
    shown = [entry for entry in shown if len(entry[1])]
    kept = _some(placed[near & (fate == KEPT)])
    pyvista = pyvista_off_screen()
    every = np.concatenate([kept, *(points for _, points, _ in shown)])
    layout = choose_layout(every * _HALF_TURN, every, opening=0.0)
    plotter = pyvista.Plotter(off_screen=True, window_size=layout.window)
    plotter.set_background("white")
    for turn, shift in ((1.0, 0.0), (_HALF_TURN, layout.shift)):
        plotter.add_points(kept * turn + shift, color=_KEPT_COLOUR, point_size=2.0)
        for _, points, colour in shown:
            plotter.add_points(points * turn + shift, color=colour, point_size=3.5)
    set_camera(plotter, layout, every)
    return _with_legend(_pixels(plotter), [("counted", _KEPT_COLOUR), *((n, c) for n, _, c in shown)]), int(
        (~near).sum()
    )


def data_url(content: bytes) -> str:
    """Return a PNG picture as a data URL."""
    return f"data:image/png;base64,{base64.b64encode(content).decode()}"


def _some(points: FloatArray) -> FloatArray:
    """At most so many of the points, evenly chosen."""
    return points[:: max(1, -(-len(points) // _MOST_POINTS))]


def _pixels(plotter: Any) -> FloatArray:
    """The rendered picture without its white margins."""
    try:
        pixels = np.asarray(plotter.screenshot(return_img=True))
    finally:
        plotter.close()
    drawn = (pixels < 250).any(axis=2)
    rows, columns = np.flatnonzero(drawn.any(axis=1)), np.flatnonzero(drawn.any(axis=0))
    return pixels[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]


def _with_bar(pixels: FloatArray, scale: ColourScale, dpi: int) -> bytes:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    with style.new_figure(_WIDTH, _WIDTH * pixels.shape[0] / pixels.shape[1] + 0.9) as (figure, axes):
        axes.imshow(pixels, interpolation="lanczos")
        axes.set_axis_off()
        figure.colorbar(
            ScalarMappable(Normalize(*scale.ends), scale.colours),
            ax=axes,
            orientation="horizontal",
            extend="both" if scale.low < 0.0 else "max",
            label=scale.unit.label(scale.label),
            shrink=0.6,
            aspect=30,
            pad=0.02,
        )
        return _png(figure, dpi)


def _with_legend(pixels: FloatArray, entries: list[tuple[str, str]]) -> bytes:
    from matplotlib.lines import Line2D

    with style.new_figure(_WIDTH, _WIDTH * pixels.shape[0] / pixels.shape[1] + 0.6) as (figure, axes):
        axes.imshow(pixels, interpolation="lanczos")
        axes.set_axis_off()
        handles = [Line2D([], [], marker="o", linestyle="", color=c, label=name) for name, c in entries]
        figure.legend(handles=handles, loc="outside lower center", ncols=min(len(handles), 4))
        return _in_palette(figure, [colour for _, colour in entries])


def _in_palette(figure: Any, colours: list[str]) -> bytes:
    """A picture in shades of a few colours: the dots of a scan would fill megabytes otherwise."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.colors import to_rgb
    from PIL import Image

    shades = np.linspace(0.0, 1.0, 256 // (len(colours) + 1))[:, None]
    pure = np.array([to_rgb(colour) for colour in (*colours, style.INK)])[:, None]
    palette = Image.new("P", (1, 1))
    palette.putpalette(np.round(255.0 * (1.0 - shades * (1.0 - pure))).astype(np.uint8).tobytes())
    figure.set_dpi(_DPI)
    figure.set_facecolor("white")
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    picture = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3])
    buffer = io.BytesIO()
    drawn = picture.quantize(palette=palette, dither=Image.Dither.NONE)
    drawn.paste(0, mask=Image.fromarray((np.asarray(picture) == 255).all(axis=2)))  # else almost white
    drawn.save(buffer, "PNG")
    return buffer.getvalue()


def _png(figure: Any, dpi: int = _DPI) -> bytes:
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dpi, facecolor="white", pil_kwargs={"compress_level": 4})
    return buffer.getvalue()
