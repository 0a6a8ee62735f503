# SPDX-License-Identifier: MIT
"""Figures of parts with many electrodes: equal loads, and electrodes that take turns."""

import re
import xml.etree.ElementTree as ElementTree
from itertools import pairwise

import numpy as np
import pytest
from synthetic_parts import inflated, meridian_tube

from annelid.results.figures.load_titles import distinct_loads, load_title
from annelid.results.figures.path_figures import path_curve
from annelid.results.figures.stage_spans import stage_spans
from annelid.results.figures.wave_figure import (
    chosen_stages,
    energised_electrodes,
    most_loaded_stage,
    wave_figure,
)
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.results.report.curves import curves
from annelid.solver.display import DisplayUnit

MM = DisplayUnit("mm", 1.0)
BANDS = {f"ring_{i}": (3.0 * i - 2.5, 3.0 * i - 0.5) for i in range(1, 5)}


def table(stages, **voltages):
    names = [f"voltage {ring}" for ring in voltages]
    count = len(stages)
    columns = dict(zip(names, map(np.array, voltages.values()), strict=True))
    columns["pressure"] = np.linspace(0.0, 0.01, count)
    columns |= {"parameter": np.ones(count), "state": np.arange(count), "unstable modes": np.zeros(count)}
    columns["largest stretch"] = 1.0 + 0.1 * np.arange(count)
    return PathRecord(tuple(stages), columns, {}, ("pressure", *names), ("largest stretch",))


SETTLE_ON = ("settle", "on", "on")
V = [0.0, 1.0, 2.0]


@pytest.mark.parametrize(
    ("voltages", "distinct", "title"),
    [
        ([V] * 4, ["pressure", "voltage ring_1"], "voltage ring_1 to ring_4"),
        (
            [V, V, [0, 1, 3], V],
            ["pressure", "voltage ring_1", "voltage ring_3"],
            "voltage ring_1, ring_2, ring_4",
        ),
        ([V, V, [0, 0, 0], [0, 0, 0]], ["pressure", "voltage ring_1"], "voltage ring_1, ring_2"),
        ([V, [0, 0, 0]], ["pressure", "voltage ring_1"], "voltage ring_1"),
    ],
)
def test_equal_loads_are_one_curve_with_all_names(voltages, distinct, title):
    path = table(SETTLE_ON, **{f"ring_{i}": values for i, values in enumerate(voltages, start=1)})
    assert distinct_loads(path) == distinct
    assert load_title(path, "voltage ring_1") == title
    assert load_title(path, "largest stretch") == "largest stretch"
    assert f"{title} [kV]" in texts(path_curve(path, "voltage ring_1", None, name="v").svg)


def test_the_report_has_one_chart_of_eight_equal_voltages():
    path = table(("settle", "fill", "on"), **{f"ring_{i}": [0.0, 0.0, 2.0] for i in range(1, 9)})
    loads = next(group for group in curves(path, ()) if group["heading"] == "Loads along the path")
    assert [figure.caption for figure in loads["figures"]] == ["pressure", "voltage ring_1 to ring_8"]


def one_after_another():
    """A path whose third stage takes the voltage from one ring to the next."""
    path = table(("mount", "first", "first", "next", "next"), ring_1=[0, 1, 2, 1, 0], ring_2=[0, 0, 0, 1, 2])
    path.columns["pressure"][:] = 0.0
    return path


def test_a_step_of_a_wave_is_drawn_over_the_voltage_that_rises():
    """Over the voltage that falls the curve would run backwards."""
    spans = stage_spans(one_after_another())
    assert [(span.stage, span.load) for span in spans] == [
        ("first", "voltage ring_1"),
        ("next", "voltage ring_2"),
    ]


def test_a_requirement_on_a_stage_end_is_drawn_only_in_that_stage():
    path = one_after_another()
    first, following = stage_spans(path)
    verdicts = [
        Verdict("largest stretch", "at most", 1.3, 1.2, "1", True, stage="first"),
        Verdict("largest stretch", "at least", 1.35, 1.4, "1", True),  # at the last state
    ]

    def limits(span):
        drawn = path_curve(path, "largest stretch", span, verdicts=verdicts, name="l")
        return {text for text in texts(drawn.svg) if text.startswith("at ")}

    assert limits(first) == {"at most 1.3", "at least 1.35"}
    assert limits(following) == {"at least 1.35"}
    assert limits(None) == {"at most 1.3", "at least 1.35"}


def test_electrodes_that_take_turns_are_found():
    wave = {f"ring_{i}": np.eye(4)[i - 1] * 2.0 for i in range(1, 5)}
    stages = ("fill", "first", "second", "third")
    found = energised_electrodes(table(stages, ring_1=[0, 2, 0, 0], ring_2=[0, 0, 2, 0], ring_3=[0, 0, 0, 2]))
    assert found == {"fill": (), "first": ("ring_1",), "second": ("ring_2",), "third": ("ring_3",)}
    assert len(energised_electrodes(table([f"s{i}" for i in range(4)], **wave))) == 4
    assert energised_electrodes(table(("a", "b", "c"), ring_1=[0, 2, 2], ring_2=[0, 0, 2])) == {}


def test_a_wave_has_a_panel_for_each_stage_with_its_ring_marked(monkeypatch):
    body = meridian_tube(1, 4)
    energised = {f"ring_{i}_on": (f"ring_{i}",) for i in range(1, 5)}
    profiles = {
        stage: inflated(body, 1.0 + 0.02 * i).profiles["lumen"] for i, stage in enumerate(energised, start=1)
    }
    drawn = []
    monkeypatch.setattr(
        "annelid.results.figures.svg_style.svg_text", lambda figure, *_: drawn.append(figure) or "<svg/>"
    )
    wave_figure(profiles, BANDS, energised, "lumen", length=MM, name="w")
    (figure,) = drawn
    panels = figure.axes
    assert [axes.get_title() for axes in panels] == ["ring 1 on", "ring 2 on", "ring 3 on", "ring 4 on"]
    assert len({axes.get_xlim() for axes in panels}) == len({axes.get_ylim() for axes in panels}) == 1
    for number, axes in enumerate(panels, start=1):
        filled = [patch for patch in axes.patches if patch.get_facecolor()[3] > 0]
        assert [patch.get_y() for patch in filled] == [BANDS[f"ring_{number}"][0]]
        np.testing.assert_allclose(axes.lines[0].get_xdata(), 2.0 * number, rtol=1e-9)
    figure.draw_without_rendering()
    boxes = [axes.title.get_window_extent() for axes in panels]
    assert all(left.x1 < right.x0 for left, right in pairwise(boxes))


@pytest.mark.parametrize("largest", [0, 1, 5, 12, 22, 23])
def test_of_many_stages_ten_are_chosen_evenly_with_the_largest_load(largest):
    stages = [f"s{i}" for i in range(24)]
    chosen = [stages.index(stage) for stage in chosen_stages(stages, stages[largest])]
    assert len(chosen) == 10
    assert chosen == sorted(chosen)
    assert {0, largest, 23} <= set(chosen)
    assert np.diff(chosen).max() <= 4  # evenly: 23/9 = 2.6, and the largest load moves one place by 1 at most
    assert chosen_stages(stages[:10], stages[3]) == stages[:10]


def test_the_most_loaded_stage_has_the_largest_load_of_all_electrodes():
    stages = ("fill", "first", "second", "third", "off")
    path = table(stages, ring_1=[0, 1, 0, 0, 0], ring_2=[0, 0, 2, 0, 0], ring_3=[0, 0, 0, 1, 0])
    path.columns["pressure"] = np.full(5, 0.01)
    assert most_loaded_stage(path) == "second"
    path.columns["pressure"] = np.array([0.0, 0.0, 0.0, 0.03, 0.01])
    assert most_loaded_stage(path) == "third"


def test_a_wave_says_how_many_stages_it_shows():
    stages = [f"s{i}" for i in range(24)]
    wave = {f"ring_{i}": np.eye(24)[i] for i in range(1, 5)}
    assert len(energised_electrodes(table(stages, **wave))) == 24
    body = meridian_tube(1, 4)
    profiles = {stage: inflated(body, 1.05).profiles["lumen"] for stage in stages[:3]}
    energised = dict.fromkeys(stages, ())
    figure = wave_figure(profiles, BANDS, energised, "lumen", length=MM, name="w")
    assert figure.caption.endswith("3 of 24 stages are shown.")
    whole = wave_figure(profiles, BANDS, dict.fromkeys(profiles, ()), "lumen", length=MM, name="w")
    assert "stages are shown" not in whole.caption


def texts(svg):
    tree = ElementTree.fromstring(svg)
    nodes = tree.iter("{http://www.w3.org/2000/svg}text")
    return [re.sub(r"\s+", " ", "".join(node.itertext())).strip() for node in nodes]
