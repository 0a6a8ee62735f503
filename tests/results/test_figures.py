# SPDX-License-Identifier: MIT
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest
from synthetic_parts import inflated, meridian_tube, solid_tube
from synthetic_runs import VERDICTS

from annelid.results.fields.sections import cross_sections, meridian_sections, most_changed_height
from annelid.results.figures import svg_style
from annelid.results.figures.curve_annotations import set_vertical_range
from annelid.results.figures.path_figures import path_curve, profile_figure, section_figure
from annelid.results.figures.stage_spans import stage_spans
from annelid.results.folder.run_record import open_run
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnit

MM = DisplayUnit("mm", 1.0)


def table(**changes):
    columns = {
        "parameter": np.array([1.0, 0.5, 1.0, 0.5, 1.0]),
        "pressure": np.array([0.0, 0.01, 0.02, 0.02, 0.02]),
        "voltage ring": np.array([0.0, 0.0, 0.0, 2.0, 4.0]),
        "unstable modes": np.array([0, 0, 0, 0, 1]),
        "breakdown margin": np.array([np.inf, np.inf, np.inf, 2.0, 0.9]),
        "mean radial expansion": np.array([0.0, 0.05, 0.1, 0.12, 0.2]),
    }
    units = {"pressure": "MPa", "voltage ring": "kV"}
    return PathRecord(
        stages=("settle", "inflate", "inflate", "energise", "energise"),
        columns=columns | changes,
        units={name: units.get(name, "1") for name in columns},
        loads=("pressure", "voltage ring"),
        quantities=("breakdown margin", "mean radial expansion"),
    )


def texts(drawing):
    tree = ElementTree.fromstring(drawing.svg)
    return [
        "".join(node.itertext()).replace("\xa0", " ").strip()
        for node in tree.iter("{http://www.w3.org/2000/svg}text")
    ]


def marks(drawing, colour):
    """How many markers are drawn in a colour."""
    tree = ElementTree.fromstring(drawing.svg)
    uses = tree.iter("{http://www.w3.org/2000/svg}use")
    return sum(colour in use.get("style", "") and "clip" not in use.get("style", "") for use in uses)


def test_a_limit_that_is_required_twice_is_drawn_once():
    """Requirements of two stages on one quantity; an angle has no space before its unit."""
    verdict = Verdict("twist end_high", "at most", 45.0, 30.0, "deg", True)
    twice = verdict, replace(verdict, value=20.0, stage="inflate")
    t = table()
    t = replace(
        t,
        columns=dict(t.columns) | {"twist end_high": np.array([0.0, 5.0, 20.0, 25.0, 30.0])},
        units=dict(t.units) | {"twist end_high": "deg"},
        quantities=(*t.quantities, "twist end_high"),
    )
    words = texts(path_curve(t, "twist end_high", None, verdicts=twice, name="a"))
    assert words.count("at most 45°") == 1


def test_each_stage_has_the_load_that_changes_most():
    spans = stage_spans(table())
    assert [(span.stage, span.load) for span in spans] == [
        ("inflate", "pressure"),
        ("energise", "voltage ring"),
    ]
    assert [span.rows.tolist() for span in spans] == [[0, 1, 2], [2, 3, 4]]


def test_a_curve_shows_limits_unstable_states_and_breakdown():
    t = table()
    drawing = path_curve(t, "mean radial expansion", stage_spans(t)[1], verdicts=VERDICTS, name="a")
    words = texts(drawing)
    assert "mean radial expansion [%]" in words
    assert "voltage ring [kV]" in words
    assert "at least 12 %" in words
    # One unstable state, which is past breakdown too.
    assert marks(drawing, "var(--warning)") == 1
    assert marks(drawing, "var(--failure)") == 1
    calm = path_curve(
        table(**{"unstable modes": np.zeros(5), "breakdown margin": np.full(5, np.inf)}),
        "mean radial expansion",
        None,
        name="b",
    )
    assert marks(calm, "var(--warning)") == marks(calm, "var(--failure)") == 0
    assert "at least 12 %" not in texts(calm)


def test_a_limit_at_the_end_of_a_stage_is_drawn_in_this_stage_alone():
    t = table()
    verdicts = [replace(VERDICTS[0], stage="inflate"), replace(VERDICTS[0], limit=0.19)]
    inflate, energise = (
        texts(path_curve(t, "mean radial expansion", span, verdicts=verdicts, name="a"))
        for span in stage_spans(t)
    )
    assert {"at least 12 %", "at least 19 %"} <= set(inflate)
    assert "at least 12 %" not in energise
    assert "at least 19 %" in energise


def test_a_figure_of_the_whole_path_names_the_stages():
    words = texts(path_curve(table(), "pressure", None, name="a"))
    assert {"settle", "inflate", "energise", "pressure [kPa]"} <= set(words)


def test_the_breakdown_line_is_drawn():
    t = table()
    assert "breakdown" in texts(path_curve(t, "breakdown margin", stage_spans(t)[1], name="a"))


def test_quantity_without_finite_values_is_drawn_empty():
    t = table(**{"breakdown margin": np.full(5, np.inf)})
    assert "breakdown margin" in texts(path_curve(t, "breakdown margin", None, name="a"))


def test_each_svg_has_unique_ids_and_page_colours():
    t = table()
    one, two = (path_curve(t, "pressure", None, name=name).svg for name in ("one", "two"))
    ids = [set(re.findall(r'\bid="([^"]*)"', svg)) for svg in (one, two)]
    assert ids[0]
    assert not ids[0] & ids[1]
    used = set(re.findall(r'(?:href="#|url\(#)([^")]*)', one))
    assert used
    assert used <= ids[0]
    assert "var(--accent)" in one
    assert not [colour for colour in svg_style._VARIABLES if colour in one]
    assert "var(--sans)" in one


@pytest.mark.parametrize(("sign", "word"), [(1.0, "expansion"), (-1.0, "contraction")])
def test_the_title_of_a_profile_is_expansion_or_contraction(sign, word):
    body = meridian_tube(1, 4)
    profile = inflated(body, 1.0 + 0.1 * sign).profiles["lumen"]
    drawing = profile_figure({"end": profile}, {"ring": (3.0, 9.0)}, "lumen", length=MM, name="p")
    assert f"radial {word} of the lumen [%]" in texts(drawing)
    assert "ring" in texts(drawing)


def test_the_legend_of_profiles_covers_no_line(monkeypatch):
    profiles = {
        f"end of {i}": inflated(meridian_tube(1, 4), 1.0 - 0.1 * i).profiles["lumen"] for i in range(3)
    }
    drawn = []
    monkeypatch.setattr(svg_style, "svg_text", lambda figure, *_: drawn.append(figure) or "<svg/>")
    profile_figure(profiles, {}, "lumen", length=MM, name="p")
    (figure,) = drawn
    figure.draw_without_rendering()
    (axes,) = figure.axes
    (legend,) = [*figure.legends, *filter(None, [axes.get_legend()])]
    box = legend.get_window_extent()
    for line in axes.lines:
        assert not line.get_transform().transform_path(line.get_path()).intersects_bbox(box, filled=False)


def test_meridian_sections_are_the_outlines_of_the_regions():
    body = meridian_tube(2, 3)
    sections = meridian_sections(body, 0.5 * body.points)
    assert [s.region for s in sections] == ["liner", "skin"]
    lengths = [np.linalg.norm(s.drawn[:, 1] - s.drawn[:, 0], axis=1).sum() for s in sections]
    # Outline of a 1 mm x 12 mm rectangle.
    np.testing.assert_allclose(lengths, [26.0, 26.0], rtol=1e-12)
    np.testing.assert_allclose(sections[0].deformed, 1.5 * sections[0].drawn, rtol=1e-12)


@pytest.mark.parametrize("height", [0.0, 5.0, 12.0], ids=["low end", "between", "high end"])
def test_cross_sections_are_closed_rings(height):
    body = solid_tube(2, 6, 3)
    state = inflated(body, 1.2)
    sections = cross_sections(body, state.displacement, height)
    for section, inner, outer in zip(sections, (4.0, 5.0), (5.0, 6.0), strict=True):
        radius = np.hypot(*np.moveaxis(section.drawn, -1, 0))
        assert radius.max() == pytest.approx(outer, rel=1e-6)
        # Chords of the faces' diagonals dip inside the circle by no more than cos(15 degrees).
        assert inner * np.cos(np.pi / 12) <= radius.min() <= inner
        ends, count = np.unique(np.round(section.drawn.reshape(-1, 2), 6), axis=0, return_counts=True)
        assert len(ends)
        assert set(count) == {2}


def test_the_section_is_taken_where_the_radius_changes_most():
    body = solid_tube(1, 6, 3)
    assert most_changed_height(body, inflated(body, 1.2, bulge=1.0).displacement) == pytest.approx(6.0)


@pytest.mark.parametrize("fixture", ["tube_run", "solid_run"])
def test_section_figures_name_the_regions(request, fixture):
    body = open_run(request.getfixturevalue(fixture)).body
    shift = inflated(body, 1.2).displacement
    flat = body.model == "axisymmetric"
    sections = meridian_sections(body, shift) if flat else cross_sections(body, shift, 6.0)
    assert {"liner", "skin"} <= set(texts(section_figure(sections, ("a", "b"), length=MM, name="s")))


def test_profiles_and_sections_are_in_the_unit_of_lengths():
    body, cm = meridian_tube(1, 4), DisplayUnit("cm", 0.1)
    profiles = {"end": inflated(body, 1.1).profiles["lumen"]}
    assert "height along the axis as drawn [cm]" in texts(
        profile_figure(profiles, {}, "lumen", length=cm, name="p")
    )
    drawing = section_figure(meridian_sections(body, 0.5 * body.points), ("Z", "R"), length=cm, name="s")
    assert {"Z [cm]", "R [cm]"} <= set(texts(drawing))
    assert max(float(text) for text in texts(drawing) if re.fullmatch(r"[0-9.]+", text)) < 2.5  # 18 mm long


@pytest.mark.parametrize("value", [0.5, -3e-4, 0.0])
def test_a_constant_curve_is_flat(value):
    y = value + max(abs(value), 1e-6) * 1e-9 * np.array([0.0, 1.0, -1.0, 0.5])
    with svg_style.new_figure(4, 3) as (_, axes):
        set_vertical_range(axes, None, y, [])
        bottom, top = axes.get_ylim()
    assert bottom < y.min() < y.max() < top
    assert np.ptp(y) < 1e-5 * (top - bottom)


def test_a_uniform_profile_is_flat(monkeypatch):
    drawn = []
    monkeypatch.setattr(
        svg_style, "svg_text", lambda figure, *_: drawn.append(figure.axes[0].get_ylim()) or ""
    )
    profile = inflated(meridian_tube(1, 4), 1.0).profiles["lumen"]
    radius = profile.reference_radius * (1 + 1e-9 * np.arange(len(profile.radius)))
    profile_figure({"end": replace(profile, radius=radius)}, {}, "lumen", length=MM, name="p")
    ((bottom, top),) = drawn
    assert 100 * 1e-9 * len(radius) < 1e-4 * (top - bottom)


@pytest.mark.parametrize(
    ("margins", "cut"), [([90.0, 30.0, 4.0, 2.0, 0.9], True), ([5, 4, 3, 2, 0.9], False)]
)
def test_a_curve_that_is_cut_says_how_far_it_continues(margins, cut):
    path = table(**{"breakdown margin": np.array(margins, dtype=float)})
    assert ("continues to 90" in texts(path_curve(path, "breakdown margin", None, name="c"))) == cut
