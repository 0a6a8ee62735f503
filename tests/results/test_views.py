# SPDX-License-Identifier: MIT
import io

import numpy as np
import pytest
from PIL import Image
from synthetic_parts import meridian_ball, meridian_tube, solid_tube, tetra_block

from annelid.geometry.errors import InputError
from annelid.results.fields.state_fields import FieldGrid, in_space
from annelid.results.views import rendering
from annelid.results.views.camera import lay_out
from annelid.results.views.rendering import CannotDraw
from annelid.results.views.solids import OPEN_FROM, OPEN_MIDDLE, open_skin
from annelid.results.views.views import image, picture, view


def colours(png):
    pixels = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
    saturation = pixels.max(axis=2) - pixels.min(axis=2)
    return pixels, saturation > 60


@pytest.mark.parametrize("fixture", ["tube_run", "solid_run"])
def test_a_picture_shows_ghost_and_deformed_part(request, tmp_path, fixture):
    file = image(request.getfixturevalue(fixture), tmp_path / "x.png", field="true field", state=2)
    pixels, coloured = colours(file.read_bytes())
    height, width, _ = pixels.shape
    shown = (pixels < 250).any(axis=2)
    # Upright part: ghost on the left, uncoloured; deformed on the right; colour bar at the bottom.
    upper = slice(0, int(0.7 * height))
    assert shown[upper, : width // 2].mean() > 0.1
    assert coloured[upper, : width // 2 - 80].mean() < 0.02
    assert coloured[upper, width // 2 :].mean() > 0.05
    assert coloured[-150:, width // 4 : -width // 4].mean() > 0.2
    # Nothing is cut off at the rim.
    rim = np.concatenate([shown[0], shown[-1], shown[:, 0], shown[:, -1]])
    assert not rim.any()


def test_fields_are_found_with_and_without_unit(tube_run):
    assert picture(tube_run, field="breakdown margin [1]") == picture(tube_run, field="breakdown margin")
    assert picture(tube_run, field="principal stretches") != picture(tube_run, field="pressure")


def test_what_is_not_there_is_told(tube_run):
    with pytest.raises(InputError, match=r"'warmth'.*Cauchy stress"):
        picture(tube_run, field="warmth")
    with pytest.raises(InputError, match="state 77"):
        picture(tube_run, state=77)


def test_without_a_way_to_draw_there_is_an_error_and_no_crash(tube_run, monkeypatch):
    monkeypatch.setattr(rendering.ctypes.util, "find_library", lambda name: None)
    monkeypatch.setattr(rendering, "_loads", lambda name: False)
    with pytest.raises(CannotDraw, match=r"libEGL.*apt-get install libegl1"):
        picture(tube_run)


def test_a_window_needs_a_display(tube_run, monkeypatch):
    monkeypatch.delenv("DISPLAY", raising=False)
    with pytest.raises(CannotDraw, match="DISPLAY"):
        view(tube_run)


def test_a_display_that_does_not_answer_is_told(tube_run, monkeypatch):
    monkeypatch.setenv("DISPLAY", ":9731")
    with pytest.raises(CannotDraw, match=":9731 does not answer"):
        view(tube_run)


def skin_points(body):
    grid = FieldGrid(body)
    skin = open_skin(grid)
    return skin, skin.place(in_space(body.points)[grid.nodes])


@pytest.mark.parametrize("body", [meridian_tube(2, 6), solid_tube(1, 8, 3)], ids=lambda b: b.model)
def test_a_quarter_is_taken_away(body):
    skin, points = skin_points(body)
    centre = points[skin.triangles].mean(axis=1)
    angle = np.arctan2(centre[:, 1], centre[:, 0]) % (2.0 * np.pi)
    assert angle[angle > 1e-9].max() < OPEN_FROM + 1e-9
    assert np.isclose(np.hypot(points[:, 0], points[:, 1]).min(), 4.0)


@pytest.mark.parametrize(
    ("body", "share"),
    [
        (meridian_tube(2, 6), 0.75),
        (solid_tube(1, 8, 3), 0.75),
        (solid_tube(1, 1, 3, turns=1 / 8), 0.75),  # six mirror images of an eighth
        (tetra_block(), None),
    ],
)
def test_the_skin_is_closed_and_encloses_the_part(body, share):
    skin, points = skin_points(body)
    if body.model == "axisymmetric":
        # Own derivation: three quarters of a ring of 120 chords on a full turn.
        expected = share * 0.5 * 120 * np.sin(2 * np.pi / 120) * (6.0**2 - 4.0**2) * 12.0
    else:
        expected = share * 0.5 * 16 * np.sin(2 * np.pi / 16) * (6.0**2 - 4.0**2) * 12.0 if share else 1.0
    a, b, c = np.moveaxis(points[skin.triangles], 1, 0)
    assert abs(np.einsum("ni,ni->", a, np.cross(b, c)) / 6.0) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("body", "slender"),
    [(meridian_tube(1, 4, length=40.0), True), (meridian_ball(), False)],
    ids=["tube", "ball"],
)
def test_a_slender_part_lies_and_a_ball_stands(body, slender):
    _, points = skin_points(body)
    larger = 1.3 * points
    layout = lay_out(points, larger, opening=OPEN_MIDDLE)
    axis = np.array([0.0, 0.0, 1.0])
    assert (abs(axis @ layout.right) > 0.9) == slender
    assert (axis @ layout.up > 0.9) != slender
    # In the picture the two do not overlap, and both lie inside the frame.
    beside = layout.up if slender else -layout.right
    assert ((points + layout.shift) @ beside).min() > (larger @ beside).max()
    half = layout.parallel_scale * np.array([layout.window[0] / layout.window[1], 1.0])
    for cloud in (points + layout.shift, larger):
        seen = (cloud - layout.focal_point) @ np.column_stack([layout.right, layout.up])
        assert (np.abs(seen) < half).all()
    frame = np.array([layout.right, layout.up, layout.towards_camera])
    np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(frame) == pytest.approx(1.0)
