# SPDX-License-Identifier: MIT
import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from synthetic_parts import meridian_ball, meridian_tube, solid_tube, tetra_block

from annelid.geometry.errors import InputError
from annelid.results.fields.state_fields import FieldGrid, in_space
from annelid.results.folder.run_record import open_run
from annelid.results.views import rendering
from annelid.results.views.camera import choose_layout
from annelid.results.views.colour_bar import add_arrow_ends, bar_settings, colour_range, cut_text
from annelid.results.views.cutaway import OPEN_FROM, OPEN_MIDDLE, covering_cells, cutaway_surface
from annelid.results.views.headline import headline, height_of, state_text
from annelid.results.views.rendering import RenderingError, pyvista_off_screen
from annelid.results.views.state_pictures import picture, show_window, write_picture


def colours(png):
    pixels = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
    saturation = pixels.max(axis=2) - pixels.min(axis=2)
    return pixels, saturation > 60


@pytest.mark.parametrize("fixture", ["tube_run", "solid_run"])
def test_a_picture_shows_the_drawn_and_the_deformed_part(request, tmp_path, fixture):
    file = write_picture(request.getfixturevalue(fixture), tmp_path / "x.png", field="true field", state=2)
    pixels, coloured = colours(file.read_bytes())
    height, width, _ = pixels.shape
    shown = (pixels < 250).any(axis=2)
    # Upright part: the drawn one on the left in grey, the deformed one on the right, the colour bar at the
    # bottom.
    upper = slice(0, int(0.7 * height))
    assert shown[upper, : width // 2].mean() > 0.1
    assert coloured[upper, : width // 2 - 80].mean() < 0.02
    assert coloured[upper, width // 2 :].mean() > 0.05
    assert coloured[-150:, width // 4 : -width // 4].mean() > 0.2
    # Nothing is cut off at the edge of the picture.
    edge = np.concatenate([shown[0], shown[-1], shown[:, 0], shown[:, -1]])
    assert not edge.any()


def test_a_written_picture_has_a_headline_with_stage_and_loads(tube_run, tmp_path):
    run = open_run(tube_run)
    text = state_text(run, 2).replace("\N{NO-BREAK SPACE}", " ")
    assert text.startswith("state 2, stage inflate 0.500, pressure ")
    assert text.endswith(" mmHg, voltage ring 1.5 kV")
    assert "pressure" not in state_text(run, 0)
    plain, _ = colours(picture(tube_run, state=2))
    written, _ = colours(write_picture(tube_run, tmp_path / "x.png", state=2).read_bytes())
    added = len(written) - len(plain)
    assert added == height_of(headline(run, 2))
    assert (written[:added] < 128).any()  # letters
    np.testing.assert_array_equal(written[-100:], plain[-100:])


def test_long_headlines_have_several_lines(tube_run):
    run = open_run(tube_run)
    assert len(headline(run, 2)) == 2
    long = replace(run, provenance={})
    long.__dict__["description"] = replace(run.description, title="word " * 40)
    lines = headline(long, 2)
    assert len(lines) == 4
    assert max(len(line) for line, _ in lines) <= 72


def test_fields_can_be_named_with_and_without_unit(tube_run):
    assert picture(tube_run, field="breakdown margin [1]") == picture(tube_run, field="breakdown margin")
    assert picture(tube_run, field="principal stretches") != picture(tube_run, field="pressure")


def test_unknown_fields_and_states_are_errors(tube_run):
    with pytest.raises(InputError, match=r"'warmth'.*Cauchy stress"):
        picture(tube_run, field="warmth")
    with pytest.raises(InputError, match="state 77"):
        picture(tube_run, state=77)


def test_missing_rendering_library_is_an_error(tube_run, monkeypatch):
    monkeypatch.setattr(rendering.ctypes.util, "find_library", lambda name: None)
    monkeypatch.setattr(rendering, "_loads", lambda name: False)
    with pytest.raises(RenderingError, match=r"libEGL.*apt-get install libegl1"):
        picture(tube_run)


def test_a_window_needs_a_display(tube_run, monkeypatch):
    monkeypatch.delenv("DISPLAY", raising=False)
    with pytest.raises(RenderingError, match="DISPLAY"):
        show_window(tube_run)


def test_a_display_that_does_not_respond_is_an_error(tube_run, monkeypatch):
    monkeypatch.setenv("DISPLAY", ":9731")
    with pytest.raises(RenderingError, match=":9731 does not respond"):
        show_window(tube_run)


def cutaway_points(body):
    grid = FieldGrid(body)
    surface = cutaway_surface(grid)
    return surface, surface.placement.place(in_space(body.points)[grid.nodes])


@pytest.mark.parametrize("body", [meridian_tube(2, 6), solid_tube(1, 8, 3)], ids=lambda b: b.model)
def test_a_quarter_of_the_part_is_removed(body):
    surface, points = cutaway_points(body)
    centre = points[surface.triangles].mean(axis=1)
    angle = np.arctan2(centre[:, 1], centre[:, 0]) % (2.0 * np.pi)
    assert angle[angle > 1e-9].max() < OPEN_FROM + 1e-9
    assert np.isclose(np.hypot(points[:, 0], points[:, 1]).min(), 4.0)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("body", "fraction"),
    [
        (meridian_tube(2, 6), 0.75),
        (solid_tube(1, 8, 3), 0.75),
        (solid_tube(1, 1, 3, turns=1 / 8), 0.75),  # six mirror images of an eighth
        (tetra_block(), None),
    ],
)
def test_cutaway_surface_is_closed(body, fraction):
    surface, points = cutaway_points(body)
    if body.model == "axisymmetric":
        # Own derivation: three quarters of a ring of 120 chords on a full turn.
        expected = fraction * 0.5 * 120 * np.sin(2 * np.pi / 120) * (6.0**2 - 4.0**2) * 12.0
    else:
        expected = (
            fraction * 0.5 * 16 * np.sin(2 * np.pi / 16) * (6.0**2 - 4.0**2) * 12.0 if fraction else 1.0
        )
    a, b, c = np.moveaxis(points[surface.triangles], 1, 0)
    assert abs(np.einsum("ni,ni->", a, np.cross(b, c)) / 6.0) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("body", "slender"),
    [(meridian_tube(1, 4, length=40.0), True), (meridian_ball(), False)],
    ids=["tube", "ball"],
)
def test_a_slender_part_is_horizontal_and_a_ball_is_upright(body, slender):
    _, points = cutaway_points(body)
    larger = 1.3 * points
    layout = choose_layout(points, larger, opening=OPEN_MIDDLE)
    axis = np.array([0.0, 0.0, 1.0])
    assert (abs(axis @ layout.right) > 0.9) == slender
    assert (axis @ layout.up > 0.9) != slender
    # In the picture the two do not overlap, and both are inside the frame.
    beside = layout.up if slender else -layout.right
    assert ((points + layout.shift) @ beside).min() > (larger @ beside).max()
    half = layout.parallel_scale * np.array([layout.window[0] / layout.window[1], 1.0])
    for cloud in (points + layout.shift, larger):
        seen = (cloud - layout.focal_point) @ np.column_stack([layout.right, layout.up])
        assert (np.abs(seen) < half).all()
    frame = np.array([layout.right, layout.up, layout.towards_camera])
    np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(frame) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("name", "values", "text"),
    [
        ("peak stress [kPa]", [*range(1000), 5000], "; scale cut, values up to 5000"),
        (
            "least in-plane stress [kPa]",
            [-300.0, *[-1.0] * 600, 40.0],
            "; scale cut, values from \N{MINUS SIGN}300 to 40",
        ),
        ("true field [V/µm]", [0.0, 1.0, 50.0], ""),
        ("peak stress [kPa]", [3.0, 3.0, np.nan], ""),
        ("breakdown margin", [np.inf, np.nan], ""),
    ],
)
def test_a_colour_scale_says_whether_it_is_cut(name, values, text):
    values = np.array(values, dtype=float)
    assert cut_text(values, colour_range(name, values)) == text


@pytest.mark.parametrize(
    "limits", [(0.0, 31.0), (1.03, 1.052), (3.96, 4.28), (-0.53, 0.53), (100.0, 100.001)]
)
def test_the_numbers_of_a_colour_scale_differ(limits):
    labels = [bar_settings(800, limits)["fmt"] % value for value in np.linspace(*limits, 5)]
    assert len(set(labels)) == 5


@pytest.mark.parametrize(("peak", "arrows"), [(2000.0, {"arrow 1"}), (1000.0, set())])
def test_a_cut_scale_ends_in_an_arrow(peak, arrows):
    pyvista = pyvista_off_screen()
    plotter = pyvista.Plotter(off_screen=True, window_size=(400, 300))
    values = np.append(np.linspace(0.0, 1000.0, 1000), peak)
    add_arrow_ends(pyvista, plotter, "field", values, (0.0, 1000.0))
    assert {name for name in plotter.actors if name.startswith("arrow")} == arrows
    plotter.close()


@pytest.mark.parametrize("body", [meridian_tube(2, 6), solid_tube(2, 16, 6)], ids=["axisymmetric", "solid"])
def test_a_layer_over_the_electrodes_is_cut_back(body):
    liner = replace(body, bands={"ring": body.regions["liner"][:3]})
    grid = FieldGrid(liner)
    np.testing.assert_array_equal(covering_cells(liner), liner.regions["skin"])
    surface = cutaway_surface(grid)
    x, y, _ = surface.placement.place(in_space(liner.points)[grid.nodes]).T
    angle, radius = np.degrees(np.arctan2(y, x)) % 360.0, np.hypot(x, y)
    covering, covered = angle[radius > 5.5], angle[radius < 5.5]
    assert 20.0 < covering.min() < covering.max() < 250.0  # whole cells of 22.5 degrees
    assert covered.min() < 1.0
    assert covered.max() > 265.0
    assert covering_cells(body).size == 0
