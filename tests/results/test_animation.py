# SPDX-License-Identifier: MIT
"""Animations, read back by Pillow."""

import importlib.util
import io
import itertools
import re
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image
from synthetic_parts import INNER, LENGTH, OUTER, meridian_tube, solid_tube
from synthetic_runs import finished
from synthetic_waves import FIRST_TIMED, PERIOD, STEPS, stretch, waved

from annelid.cases.cli.main import main
from annelid.geometry.errors import InputError
from annelid.results.animation import animate as animate_module
from annelid.results.animation import movie_files
from annelid.results.animation.animate import animation, write_animation
from annelid.results.animation.colouring import colouring_of
from annelid.results.animation.drawn_part import section_through_axis
from annelid.results.animation.frame_page import PANEL_WIDTH, FramePage
from annelid.results.animation.moving_part import between, moving_part
from annelid.results.animation.section_panel import SectionPanel
from annelid.results.animation.timing import FrameTiming, timing_of
from annelid.results.fields.state_fields import FieldGrid, in_space
from annelid.results.folder.folder_files import remove_run_files
from annelid.results.folder.run_record import open_run
from annelid.results.folder.run_records import CycleWindow
from annelid.results.report import moving_picture as report_module
from annelid.results.report.report import write_report
from annelid.solver.model.contact import Contact

SINGLE = 3e-7  # relative rounding of numbers in single precision
ROUNDING = 2  # levels of 256: the sine of the invented motion is rounded
CYCLE = [1.5 + PERIOD / STEPS * k for k in range(STEPS)]


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return waved(tmp_path_factory.mktemp("waves") / "run", meridian_tube(2, 6))


@pytest.fixture(scope="module")
def run(path):
    return open_run(path)


def frames_of(content):
    """Frames of a GIF as arrays, and how long each stays, s."""
    picture = Image.open(io.BytesIO(content))
    assert picture.info["loop"] == 0  # for ever
    frames, seconds = [], []
    for k in range(picture.n_frames):
        picture.seek(k)
        frames.append(np.asarray(picture.convert("RGB")).astype(int))
        seconds.append(picture.info["duration"] / 1000)
    return frames, seconds


@pytest.mark.parametrize("view", ["section", "3d"])
def test_a_loop_of_the_last_cycle_plays_in_real_time(run, view):
    made = animation(run, view=view, frames=STEPS)
    assert made.timing.times.tolist() == CYCLE
    assert made.timing.speed_text == "in real time"
    assert made.label == "electrode voltage [kV]"
    frames, seconds = frames_of(made.content)
    assert len(frames) == STEPS
    assert sum(seconds) == pytest.approx(PERIOD)
    assert max(seconds) - min(seconds) <= 0.0101  # a GIF has hundredths of a second
    for before, after in itertools.pairwise([*frames, frames[0]]):
        assert (np.abs(after - before).max(axis=2) > 60).mean() > 1e-3
        part = slice(90, -250)  # pixels between the clock and the strips
        assert (np.abs(after - before)[part].max(axis=2) > 30).mean() > 1e-3
    background = frames[0][0, 0]
    assert (background == 255).all()
    edges = np.concatenate([frames[0][0], frames[0][-1], frames[0][:, 0], frames[0][:, -1]])
    assert (edges == 255).all()


def test_frames_at_equal_phases_of_two_cycles_show_the_same_part(run):
    """The run repeats itself, and so does its picture, but for clock and strips."""
    timing = timing_of(run, cycle="all", frames=3 * STEPS + 1)
    part = moving_part(run, timing, None)
    colouring = colouring_of(part)
    panel = SectionPanel(run, part, colouring, PANEL_WIDTH)
    pictures = list(FramePage(run, timing, panel, colouring).frames())
    rows = slice(90, 90 + int(100 * panel.size[1]) - 20)
    for first, later in zip(pictures[:STEPS], pictures[STEPS : 2 * STEPS], strict=True):
        assert np.abs(first[rows].astype(int) - later[rows]).max() <= ROUNDING
    assert (pictures[0][rows] != pictures[2][rows]).any()
    assert (pictures[0][:60] != pictures[STEPS][:60]).any()  # the clock


@pytest.mark.parametrize("body", [meridian_tube(2, 6), solid_tube(2, 6, 3)], ids=lambda body: body.model)
def test_the_section_shows_both_walls(body):
    grid = FieldGrid(body)
    drawn = section_through_axis(grid)
    points = drawn.place(in_space(body.points)[grid.nodes])
    height, across = points.T
    assert [height.min(), height.max()] == pytest.approx([0.0, LENGTH])
    assert [across.min(), across.max()] == pytest.approx([-OUTER, OUTER], rel=1e-5)
    assert np.abs(across).min() == pytest.approx(INNER, rel=1e-5)
    a, b, c = np.moveaxis(points[drawn.triangles], 1, 0)
    area = 0.5 * np.abs(np.linalg.det(np.stack([b - a, c - a], axis=1))).sum()
    assert area == pytest.approx(2 * (OUTER - INNER) * LENGTH, rel=1e-5)
    outer = np.abs(across) > OUTER - 1e-4
    taken = drawn.take(in_space(body.points)[grid.nodes][:, 2])
    np.testing.assert_allclose(taken, height, atol=1e-9)
    assert outer[drawn.lines].all(axis=1).any()


def test_the_section_of_a_solid_lies_at_its_angle():
    """A tube that is moved to one side: the section along that side shows it, the one across does not."""
    body = solid_tube(2, 6, 3)
    grid = FieldGrid(body)
    moved = body.points[grid.nodes] + [0.0, 2.0, 0.0]
    for angle, sides in ((0.0, [-OUTER, OUTER]), (90.0, [2 - OUTER, 2 + OUTER])):
        across = section_through_axis(grid, angle=angle).place(moved)[:, 1]
        assert [across.min(), across.max()] == pytest.approx(sides, rel=1e-4)


def test_a_half_is_completed_in_the_section():
    body = meridian_tube(1, 2)
    nodes = np.flatnonzero(np.isclose(body.points[:, -1], 0.0))
    half = replace(body, facets=nodes[:, None], surfaces={"end_low": np.arange(len(nodes))}, bands={})
    grid = FieldGrid(half)
    points = section_through_axis(grid, symmetry_plane="end_low").place(in_space(half.points)[grid.nodes])
    assert [points[:, 0].min(), points[:, 0].max()] == [-LENGTH, LENGTH]


def test_the_lumen_is_filled_from_wall_to_wall(run):
    grid = FieldGrid(run.body)
    drawn = section_through_axis(grid)
    corners = drawn.place(in_space(run.body.points)[grid.nodes])[drawn.lumen]
    assert np.ptp(corners[..., 1], axis=1) == pytest.approx(2 * INNER)
    assert corners[..., 0].max() - corners[..., 0].min() == pytest.approx(LENGTH)


def test_states_are_joined_by_straight_lines_in_time(run):
    timing = timing_of(run, frames=2 * STEPS)
    part = moving_part(run, timing, "radial displacement")
    half = CYCLE[0] + PERIOD / STEPS / 2
    points, _ = part.at(half)
    radius = np.hypot(*points.T[:2]).min()
    expected = INNER * (stretch(CYCLE[0]) + stretch(CYCLE[1])) / 2
    assert radius == pytest.approx(expected, rel=SINGLE)
    np.testing.assert_array_equal(part.at(CYCLE[1])[0], part.points[1])


def test_values_that_only_the_other_state_lacks_stay():
    values = np.array([[1.0, 2.0], [np.nan, 4.0]])
    times = np.array([0.0, 1.0])
    np.testing.assert_array_equal(between(times, values, 0.0), [1.0, 2.0])
    np.testing.assert_array_equal(between(times, values, 0.5), [np.nan, 3.0])
    np.testing.assert_array_equal(between(times, values, 2.0), values[1])


@pytest.mark.parametrize(
    ("period", "frames", "expected", "rate", "speed"),
    [
        (1.0, None, 24, 24.0, "in real time"),  # a multiple of the 8 computed steps, at least 20
        (1.0, 5, 5, 5.0, "in real time"),
        (1.0, 60, 60, 30.0, "slowed down 2 times"),
        (1.0, 4, 4, 5.0, "sped up 1.2 times"),
        (0.05, None, 24, 30.0, "slowed down 16 times"),
        (60.0, None, 96, 5.0, "sped up 3.1 times"),
        (6.0, None, 96, 16.0, "in real time"),
    ],
)
def test_frames_play_in_real_time_if_they_can(run, period, frames, expected, rate, speed):
    slow = replace(run, path=run.path)
    columns = dict(run.table.columns) | {"time": run.table["time"] * period}
    slow.__dict__["table"] = replace(run.table, columns=columns)
    window = CycleWindow("breathe", period, 0.5 * period, 3.0 * period)
    slow.__dict__["description"] = replace(run.description, cycles=(window,))
    timing = timing_of(slow, frames=frames)
    assert len(timing.times) == expected
    assert timing.rate == pytest.approx(rate)
    assert timing.speed_text == speed
    np.testing.assert_allclose(np.diff(timing.times), period / expected)
    assert sum(timing.delays()) == pytest.approx(1000 * expected / rate, abs=5.001)
    assert timing.times[-1] + timing.step == pytest.approx(timing.end)  # seamless


def test_the_whole_time_is_shown_from_its_first_state_to_its_last(run):
    timing = timing_of(run, cycle="all")
    assert [timing.times[0], timing.times[-1], timing.end] == [0.0, 3.0, 3.0]
    assert not timing.is_loop
    assert timing.rows[0] == FIRST_TIMED - 1


def test_without_a_whole_cycle_the_whole_time_is_shown(tmp_path):
    short = CycleWindow("breathe", PERIOD, 2.5, 3.0)
    run = open_run(waved(tmp_path / "run", meridian_tube(1, 1), cycles=(short,)))
    assert not timing_of(run).is_loop
    with pytest.raises(InputError, match=r"--cycle last: the path contains no whole cycle.*--cycle all"):
        timing_of(run, cycle="last")


def test_the_clock_counts_time_and_phase(run):
    timing = timing_of(run, frames=STEPS)
    part = moving_part(run, timing, None)
    colouring = colouring_of(part)
    page = FramePage(run, timing, SectionPanel(run, part, colouring, PANEL_WIDTH), colouring)
    texts = [page.clock_text(time).replace("\N{NO-BREAK SPACE}", " ") for time in timing.times]
    assert texts[0] == "t = 1.5 s, phase 0.00"
    assert texts[4] == "t = 2.0 s, phase 0.50"
    assert len(set(texts)) == STEPS


def test_all_frames_have_one_scale_of_colours(run):
    part = moving_part(run, timing_of(run), "displacement")
    norm = colouring_of(part).norm
    assert [norm.vmin, norm.vmax] == [part.values.min(), part.values.max()]
    volts = colouring_of(moving_part(run, timing_of(run), None)).norm
    assert [volts.vmin, volts.vmax] == [0.0, 3.0]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--field", "warmth"], r"--field: 'warmth' is not among the fields of this run.*von Mises stress"),
        (["--frames", "1"], r"--frames: 1 is out of range; give 2 to 1000"),
        (["--frames", "1001"], r"--frames: 1001 is out of range"),
        (["--out", "{}/a.avi"], r"must end in \.gif or \.mp4"),
        (["--out", "{}/old.gif"], r"old\.gif. exists"),
        (["--out", "{}/none/a.gif"], r"the folder .* does not exist"),
        (["--view", "front"], r"invalid choice"),
        (["--angle", "30"], r"--angle: belongs to the section of a 3-D model"),
        (["--angle", "nan"], r"--angle: belongs to"),
    ],
)
def test_faults_are_named_and_nothing_is_written(path, tmp_path, capsys, options, message):
    (tmp_path / "old.gif").write_text("mine")
    before = sorted(path.rglob("*"))
    filled = [option.format(tmp_path) for option in options]
    try:
        code = main(["animate", str(path), *filled])
    except SystemExit as error:
        code = error.code
    assert code == 2
    captured = capsys.readouterr()
    assert re.search(message, captured.err)
    assert sorted(path.rglob("*")) == before
    assert [file.name for file in tmp_path.iterdir()] == ["old.gif"]
    assert (tmp_path / "old.gif").read_text() == "mine"


@pytest.mark.parametrize(
    ("turns", "angle", "message"),
    [(1.0, np.nan, "--angle: nan is out of range"), (0.3, 130.0, "no material at 130°"), (0.3, 100.0, "")],
)
def test_a_section_needs_material(tmp_path, turns, angle, message):
    run = open_run(waved(tmp_path / "run", solid_tube(1, 4, 1, turns=turns)))
    if not message:
        assert animation(run, angle=angle, frames=2).note.startswith("section at 100° around the axis")
        return
    with pytest.raises(InputError, match=message):
        animation(run, angle=angle, frames=2)


def fault_of(folder, capsys):
    code = main(["animate", str(folder)])
    assert not list(folder.glob("*.gif"))
    return code, capsys.readouterr().err


def test_runs_that_cannot_be_animated_say_why(tmp_path, capsys):
    body = meridian_tube(1, 1)
    still, part, bare = (tmp_path / name for name in ("still", "part", "bare"))
    finished(still, body)
    waved(part, body, finish=False)
    waved(bare, body, keep_fields="stage ends")
    assert fault_of(still, capsys) == (
        2,
        f"annelid: {still}: no time passes in this run, so it has no animation; "
        "give a stage waves or a duration\n",
    )
    assert fault_of(part, capsys) == (
        2,
        f"annelid: {part}: the run is not finished; start it again, or wait until it is\n",
    )
    code, text = fault_of(bare, capsys)
    assert code == 2
    assert 'were not stored; run the case with output.fields = "all"' in text
    assert main(["animate", str(tmp_path)]) == 2


def test_the_command_writes_a_file_and_says_what_it_shows(path, tmp_path, capsys):
    out = tmp_path / "wave.gif"
    options = ["--frames", "8", "--field", "true field [V/µm]", "--out", str(out)]
    assert main(["animate", str(path), *options]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == ["8 frames, in real time, coloured by true field [V/µm]", str(out)]
    assert len(frames_of(out.read_bytes())[0]) == 8


def test_a_full_disk_leaves_no_part_of_a_file(path, tmp_path, monkeypatch):
    def full(frames, timing):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(animate_module, "gif", full)
    with pytest.raises(OSError, match="No space left"):
        write_animation(path, tmp_path / "a.gif", frames=2)
    assert not list(tmp_path.iterdir())


def test_without_an_encoder_an_mp4_file_is_refused(path, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    with pytest.raises(InputError, match=r"needs an encoder.*pip install imageio-ffmpeg.*\.gif"):
        write_animation(path, tmp_path / "a.mp4")
    assert not list(tmp_path.iterdir())


class Encoder:
    """Stands in for the package imageio-ffmpeg, which is optional: it keeps the frames."""

    def __init__(self):
        self.frames, self.options = [], {}

    def get_ffmpeg_exe(self):
        return "encoder"

    def write_frames(self, file, size, **options):
        self.options = {"size": size, **options}
        while True:
            try:
                frame = yield
            except GeneratorExit:
                file.write_bytes(b"movie")
                return
            self.frames.append(frame)


def test_a_movie_repeats_a_loop_for_five_seconds(monkeypatch):
    encoder = Encoder()
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", encoder)
    frames = [np.full((11, 21, 3), k, np.uint8) for k in range(8)]
    timing = FrameTiming(np.arange(8) / 8, 1.0, 8.0, np.arange(9), True)
    assert movie_files.mp4(frames, timing) == b"movie"
    assert len(encoder.frames) == 5 * 8
    assert encoder.options["size"] == (20, 10)  # the encoder takes even numbers
    assert encoder.options["fps"] == 8.0
    assert {frame.shape for frame in encoder.frames} == {(10, 20, 3)}
    movie_files.mp4(frames, timing._replace(is_loop=False))
    assert len(encoder.frames) == 5 * 8 + 8


def test_the_optional_package_is_named_in_the_project():
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    assert project["optional-dependencies"] == {"mp4": ["imageio-ffmpeg"]}
    assert importlib.util.find_spec("PIL")


@pytest.mark.long
def test_a_report_contains_the_animation_and_writes_it(tmp_path, monkeypatch):
    path = waved(tmp_path / "run", meridian_tube(1, 2))
    page = write_report(path).read_text()
    assert page.count("data:image/gif;base64,") == 1
    assert 'media="print, (prefers-reduced-motion: reduce)" srcset="data:image/png;base64,' in page
    assert "The last whole cycle from 1.5" in page
    assert "in real time" in page
    file = path / "animation.gif"
    frames, seconds = frames_of(file.read_bytes())
    assert len(frames) == 24
    assert sum(seconds) == pytest.approx(PERIOD)
    open_run(path)  # it has no digest, as the report has none
    assert "data:image/gif" not in write_report(path, with_pictures=False).read_text()
    assert not file.exists()
    monkeypatch.setattr(report_module, "_MOST_BYTES", len(page) // 100)
    write_report(path)
    assert not file.exists()
    monkeypatch.undo()
    write_report(path)
    remove_run_files(path)
    assert not file.exists()


def test_a_large_animation_has_fewer_frames_in_a_report(run, monkeypatch):
    whole = animation(run)
    monkeypatch.setattr(report_module, "_MOST_BYTES", len(whole.content) - 1)
    made = report_module.report_animation(run)
    assert len(made.timing.times) == len(whole.timing.times) // 2
    assert len(made.content) < len(whole.content)


def test_reports_of_other_runs_have_no_animation(tmp_path):
    body = meridian_tube(1, 1)
    for folder in (finished(tmp_path / "a", body), waved(tmp_path / "b", body, finish=False)):
        assert report_module.report_animation(open_run(folder)) is None


def test_a_cylinder_in_the_lumen_is_drawn_between_the_fluid_and_the_wall(run):
    rod = Contact("rod", "lumen", position=1.5)
    surrounding = replace(run)
    vars(surrounding)["description"] = replace(run.description, obstacles=(rod,))
    timing = timing_of(run, frames=STEPS)
    part = moving_part(run, timing, None)
    panel = SectionPanel(surrounding, part, colouring_of(part), PANEL_WIDTH)
    axes = Figure().add_subplot()
    panel.prepare(axes)
    _, core, *_ = panel.move(axes, float(timing.times[0]))
    assert core.get_y() == pytest.approx(-1.5)
    assert core.get_height() == pytest.approx(3.0)
