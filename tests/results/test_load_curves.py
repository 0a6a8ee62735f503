# SPDX-License-Identifier: MIT
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest
from synthetic_paths import DEFLATE, FILL, turned

from annelid.results.figures.curve_annotations import stability_levels
from annelid.results.figures.load_curves import load_curve, load_paths, load_reverses, response_quantity
from annelid.results.figures.path_figures import path_curve
from annelid.results.figures.stage_spans import stage_spans
from annelid.results.folder.run_record import open_run
from annelid.results.report.curves import curves

SVG = "{http://www.w3.org/2000/svg}"


def table_of(folder, tube, rows):
    return open_run(turned(folder / "run", tube, rows, keep_fields="none")).table


@pytest.fixture(scope="module")
def table(tmp_path_factory, tube):
    return table_of(tmp_path_factory.mktemp("curves"), tube, FILL + DEFLATE)


def texts(drawing):
    return ["".join(n.itertext()).strip() for n in ElementTree.fromstring(drawing.svg).iter(f"{SVG}text")]


def lines(drawing, colour):
    """Dash patterns of the lines (not the markers) drawn in a colour."""
    styles = [n.get("style", "") for n in ElementTree.fromstring(drawing.svg).iter(f"{SVG}path")]
    drawn = [s for s in styles if f"stroke: var({colour})" in s and "fill: none" in s]
    return [re.search(r"stroke-dasharray: ([0-9.]+)", s) for s in drawn]


def test_a_stage_whose_load_reverses_is_detected(table):
    fill, deflate = stage_spans(table)
    assert load_reverses(table, fill)
    assert not load_reverses(table, deflate)


def test_rounding_is_not_a_reversal(tmp_path, tube):
    noisy = zip((0.0, 0.5, 0.7, 1.0), (0.0, 0.03, 0.03 - 1e-12, 0.03 + 1e-12), strict=True)
    t = table_of(tmp_path, tube, [("hold", s, 1.0 + s, pressure, 0, 0, "") for s, pressure in noisy])
    assert not load_reverses(t, stage_spans(t)[0])


def test_successive_stages_of_the_same_load_form_one_curve(table):
    (path,) = load_paths(table, stage_spans(table))
    assert [span.stage for span in path.spans] == ["fill", "deflate"]
    assert (path.load, path.response) == ("pressure", "lumen volume")  # displaced volume is not reported here
    assert path.rows.tolist() == list(range(8))


def test_a_path_without_events_has_no_load_curve(tmp_path, tube):
    t = table_of(tmp_path, tube, FILL[:2])
    assert load_paths(t, stage_spans(t)) == []
    assert [group["heading"] for group in curves(t, ())] == ["Stage “fill”"]


def test_abscissa_of_load_curves_is_monotonic_if_possible(tmp_path, tube):
    t = table_of(tmp_path, tube, FILL)
    spans = stage_spans(t)
    assert response_quantity(t, spans) == "lumen volume"
    t.columns["lumen volume"][4] = 0.0
    assert response_quantity(t, spans) == "mean radial expansion"


def test_critical_points_are_labelled_with_their_loads(table):
    (path,) = load_paths(table, stage_spans(table))
    words = texts(load_curve(table, path, name="a"))
    assert "1  limit point, 225 mmHg" in [w.replace("\N{NO-BREAK SPACE}", " ") for w in words]
    assert {"pressure [mmHg]", "lumen volume [mL]"} <= set(words)
    assert not any("continues" in word for word in words)


def test_branches_with_larger_loads_are_cut_off(tmp_path, tube):
    t = table_of(tmp_path, tube, [*FILL, ("fill", 1.1, 1.7, 0.19, 0, 0, "")])
    (path,) = load_paths(t, stage_spans(t))
    assert "continues to 1425 mmHg" in texts(load_curve(t, path, name="a"))


def test_branches_with_larger_loads_below_zero_are_cut_off(tmp_path, tube):
    rows = [(*row[:3], -row[3], *row[4:]) for row in [*FILL, ("fill", 1.1, 1.7, 0.19, 0, 0, "")]]
    t = table_of(tmp_path, tube, rows)
    (path,) = load_paths(t, stage_spans(t))
    assert "continues to \N{MINUS SIGN}1425 mmHg" in texts(load_curve(t, path, name="a"))


def test_step_has_the_stability_of_its_less_stable_end(table):
    # Each row is the step before it; the step to the critical point is stable.
    assert stability_levels(table).tolist() == [0, 0, 0, 1, 2, 2, 1, 0]


def test_a_path_is_stable_again_after_its_minimum(tmp_path, tube):
    behind = [("fill", 1.0, 1.6, 0.024, 1, 0, "limit point"), ("fill", 1.1, 1.7, 0.025, 0, 0, "")]
    t = table_of(tmp_path, tube, [*FILL[:4], *behind])
    assert stability_levels(t).tolist() == [0, 0, 0, 1, 1, 0]


def test_unstable_steps_and_jumps_have_line_styles(table, tmp_path, tube):
    (path,) = load_paths(table, stage_spans(table))
    drawing = load_curve(table, path, name="a")
    assert [dash is None for dash in lines(drawing, "--accent")] == [True, True]
    dots = [float(dash[1]) for dash in lines(drawing, "--warning")]
    assert len(dots) == 2
    assert max(dots) < 2.0
    calm = table_of(tmp_path, tube, FILL[:3])
    (path,) = load_paths(calm, stage_spans(calm))
    still = load_curve(calm, path, name="a")
    assert lines(still, "--warning") == []
    # A line and a head in the colour of the text for the jump alone.
    arrows = [lines(each, "--ink") for each in (drawing, still)]
    assert len(arrows[0]) > len(arrows[1])
    assert not any(arrows[0])


@pytest.mark.parametrize("margin", ["breakdown margin", "tearing margin"])
def test_states_past_a_limit_are_marked_in_load_curves(table, margin):
    (path,) = load_paths(table, stage_spans(table))
    calm = load_curve(table, path, name="a").svg
    margins = np.append(np.full(len(table) - 1, 2.0), 0.9)
    broken = replace(table, columns={**table.columns, margin: margins})
    assert "var(--failure)" not in calm
    assert "var(--failure)" in load_curve(broken, path, name="a").svg


def titles_of(group):
    return [re.search(r"<title>(.*?)</title>", d.svg)[1] for d in group["figures"]]


def test_response_is_the_abscissa_where_the_load_reverses(table):
    groups = {group["heading"]: group for group in curves(table, ())}
    assert len(groups["Load curves"]["large_figures"]) == 1
    titles = titles_of(groups["Stage “fill”"])
    assert "largest stretch against lumen volume [mL]" in titles
    assert not any(title.startswith("lumen volume") for title in titles)
    titles = titles_of(groups["Stage “deflate”"])
    assert "largest stretch against pressure [mmHg]" in titles


def test_critical_points_are_numbered_on_every_curve(table):
    drawing = path_curve(table, "largest stretch", stage_spans(table)[0], abscissa="lumen volume", name="a")
    assert "1" in texts(drawing)
    assert "1" not in texts(path_curve(table, "largest stretch", stage_spans(table)[1], name="a"))
