# SPDX-License-Identifier: MIT
"""The report on stability, and its pictures of modes and compressed walls."""

import io
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from synthetic_paths import FILL, OUTCOME, states, turned
from synthetic_runs import create

from annelid.results.folder.run_record import open_run
from annelid.results.folder.run_records import Verdict
from annelid.results.report import pictures
from annelid.results.report.report import write_report
from annelid.results.report.stability import compressed_wall_text, legend, slack_wall_text, stability
from annelid.results.views import scene
from annelid.results.views.camera import choose_layout
from annelid.results.views.scene import mode_motion
from annelid.results.views.state_pictures import picture
from annelid.solver.records import Margin, Measure

GAP = "\N{NO-BREAK SPACE}"


@pytest.fixture
def no_rendering(monkeypatch):
    """Reports have the captions of their pictures, but nothing is rendered, because that takes seconds."""
    monkeypatch.setattr(pictures, "picture", lambda *_, **__: b"")


@pytest.fixture(scope="module")
def run(tmp_path_factory, tube):
    return open_run(turned(tmp_path_factory.mktemp("stability") / "run", tube))


def text_of(page):
    body = re.sub(r"(?s)<style>.*?</style>|<svg.*?</svg>|<[^>]+>", " ", page.read_text())
    return re.sub(r"\s+", " ", body.replace(GAP, " "))


def test_report_shows_critical_points_and_their_modes(run, no_rendering):
    page = write_report(run.path)
    text = text_of(page)
    for words in (
        "1 limit point fill, state 2 pressure 225 mmHg",
        "1.5 × load in the last state; passed",
        "3 of 8 states are unstable under given loads",
        "In stage “fill” the enclosed volume is prescribed, as with a syringe full of liquid",
        "Under the control in force 2 of them are stable (circles)",
        "1 of 8 states is unstable under the control in force as well (squares)",
        "In stage “deflate” the part jumps at pressure 187.5 mmHg: lumen volume from 1.357 mL to 0.7977 mL",
        "unstable under given loads, stable under the control in force",
        "unstable under given loads and under the control in force",
        "Mode at critical point 1 (limit point, state 2)",
        "1 state of the path cannot be kept: the part is unstable there.",
    ):
        assert words in text


def test_the_report_mentions_a_branch(tmp_path, tube):
    rows = [*FILL[:3], ("fill", 0.1, 1.3, 0.031, 0, 0, "", "branch")]
    paragraphs = stability(open_run(turned(tmp_path / "run", tube, rows)))["paragraphs"]
    assert "In stage “fill” the path continues on another branch from state 3 on." in paragraphs
    assert not any("jumps" in paragraph for paragraph in paragraphs)


def test_a_stable_path_has_no_section_on_stability(tube_run):
    content = stability(open_run(tube_run))
    assert content == {"paragraphs": [], "rows": [], "columns": {}}
    assert not any(legend(open_run(tube_run).table, ()).values())


def test_empty_columns_are_omitted(tmp_path, tube):
    with create(tmp_path / "run", tube) as run:
        for state in states(tube, FILL):
            omitted = ("largest true field", "lumen volume")
            few = {n: m for n, m in state.quantities.items() if n not in omitted}
            run.append(replace(state, quantities=few))
    content = stability(open_run(tmp_path / "run"))
    assert list(content["columns"]) == ["where", "load", "stretch", "ratio"]


MARGINS = (
    Margin(
        "pressure", 1.25, kind="limit point", text="pressure: limit point at 1.25 times the present value"
    ),
    Margin("force", 2.0, is_bound=True, text="force: no critical point up to 2 times the present value"),
    Margin("move", float("nan"), text="move: not known"),
)
REQUIRED = (
    Verdict("stability margin pressure", "at least", 1.3, 1.25, "1", False, "there"),
    Verdict("stability margin force", "at least", 1.3, 2.0, "1", True, "there", is_bound=True),
)


def test_report_lists_stability_margins_and_bounds(tmp_path, tube):
    with create(tmp_path / "run", tube) as run:
        for state in states(tube, FILL[:2]):
            run.append(state)
        run.finish(replace(OUTCOME, margins=MARGINS), verdicts=REQUIRED)
    record = open_run(tmp_path / "run")
    assert [m.value for m in record.outcome.margins[:2]] == [1.25, 2.0]
    assert np.isnan(record.outcome.margins[2].value)
    assert stability(record)["paragraphs"] == [
        "Stability margins: one load increases from the last state, and the other loads are constant. "
        "Pressure: limit point at 1.25 times the present value. Force: no critical point up to 2 times the "
        "present value: the margin is at least 2. Move: not known."
    ]
    text = text_of(write_report(tmp_path / "run", with_pictures=False))
    assert text.count("at least 2 ") >= 2  # the verdict and the row of the quantity
    assert "stability margin pressure 1.25 multiple of a load" in text


def compressed_run(folder, tube, fractions):
    with create(folder, tube) as run:
        for state, fraction in zip(states(tube, FILL[:2]), fractions, strict=True):
            stress = np.full(tube.cells.shape, -0.1 if fraction else 0.2)
            stress[tube.regions["liner"]] = np.inf
            fields = {**state.fields, "least in-plane stress": stress}
            quantities = {**state.quantities, "compressed wall fraction": Measure(fraction, "1")}
            run.append(replace(state, fields=fields, quantities=quantities))
        run.finish(OUTCOME)
    return folder


def test_compressed_walls_are_stated_and_shown(tmp_path, tube, no_rendering):
    folder = compressed_run(tmp_path / "run", tube, (0.25, 0.125))
    text = text_of(write_report(folder))
    assert "12.5 % of the volume of the wall is in more compression than a wall carries" in text
    assert "(at most 25 %, in state 0)" in text
    assert "Least in-plane stress in state 0" in text
    folder = compressed_run(tmp_path / "other", tube, (0.0, 0.0))
    assert compressed_wall_text(open_run(folder).table) == ""
    assert "Least in-plane" not in text_of(write_report(folder))


def slack_run(folder, tube, shares):
    """Walls that carry no compression: some slack, with folds of a quarter around, a tenth along the axis."""
    with create(folder, tube) as run:
        for state, share in zip(states(tube, FILL[:2]), shares, strict=True):
            around, along = (np.full(tube.cells.shape, part * (share > 0)) for part in (0.25, 0.1))
            fields = {**state.fields, "folded hoop length": around, "folded axial length": along}
            values = {"slack wall fraction": share, "folded hoop length": 0.25, "folded axial length": 0.1}
            values = {name: Measure(value * (share > 0), "1") for name, value in values.items()}
            values["slack wall fraction"] = Measure(share, "1")
            run.append(replace(state, fields=fields, quantities={**state.quantities, **values}))
        run.finish(OUTCOME)
    return folder


def test_slack_walls_are_stated_and_hatched(tmp_path, tube, no_rendering):
    folder = slack_run(tmp_path / "run", tube, (0.75, 0.5))
    text = text_of(write_report(folder))
    for words in (
        "In the last state 50 % of the walls with compression = “none” are slack (at most 75 %",
        "up to 25 % of their length around the axis lies in folds that run along it and up to 10 % of",
        "its length around the axis lies in folds, which run along the wall as the lines do and along",
        "Folded hoop length in state 1",
    ):
        assert words in text
    taut = slack_run(tmp_path / "taut", tube, (0.0, 0.0))
    assert (
        slack_wall_text(open_run(taut).table) == "The walls with compression = “none” are taut in all states."
    )
    assert "hatched" not in text_of(write_report(taut, with_pictures=False))


def reddish(png):
    pixels = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)[:-190]
    red, blue = pixels[..., 0] - pixels[..., 2], pixels[..., 2] - pixels[..., 0]
    return (red > 60).mean(), (blue > 60).mean()


def test_compression_is_red_and_tension_blue(tmp_path, tube):
    folder = compressed_run(tmp_path / "run", tube, (0.25, 0.0))
    red, blue = reddish(picture(folder, field="least in-plane stress", state=0))
    assert red > 0.02
    assert blue < 0.002
    red, blue = reddish(picture(folder, field="least in-plane stress", state=1))
    assert blue > 0.02
    assert red < 0.002


def test_modes_are_enlarged_along_the_displacement():
    reference = np.array([[10.0, 0.0, 0.0], [10.0, 0.0, 20.0]])
    outward = np.array([[1.0, 0.0, 0.0], [1.0, 0.0, 0.0]])
    arrays = {"displacement [mm]": 0.5 * outward, "mode": -outward}
    motion = mode_motion(reference, arrays)
    assert motion[0, 0] == pytest.approx(0.3 * 10.5)
    np.testing.assert_allclose(motion, motion[0, 0] * outward)


def test_the_picture_of_a_mode_includes_the_critical_state(run, monkeypatch):
    """Inner radii at the ends, where the mode is zero: 4 mm as drawn, 4.8 mm in the critical state."""
    radii = []

    def recorded(drawn, deformed, **options):
        radii.append([np.hypot(p[:, 0], p[:, 1]).min() for p in (drawn, deformed)])
        return choose_layout(drawn, deformed, **options)

    monkeypatch.setattr(scene, "choose_layout", recorded)
    picture(run, field="mode", state=2)
    picture(run, field="displacement", state=2)
    np.testing.assert_allclose(radii, [[4.8, 4.8], [4.0, 4.8]], rtol=1e-9)
