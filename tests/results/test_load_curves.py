# SPDX-License-Identifier: MIT
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest
from synthetic_paths import FILL, LET_GO, turned

from annelid.results.figures.figure_marks import severity
from annelid.results.figures.load_curves import growing, load_curve, load_paths, turns_back
from annelid.results.figures.path_figures import driven_stages, path_curve
from annelid.results.folder.run_record import open_run
from annelid.results.report.pictures import curves

SVG = "{http://www.w3.org/2000/svg}"


def table_of(folder, tube, rows):
    return open_run(turned(folder / "run", tube, rows, keep_fields="none")).table


@pytest.fixture(scope="module")
def table(tmp_path_factory, tube):
    return table_of(tmp_path_factory.mktemp("curves"), tube, FILL + LET_GO)


def texts(drawing):
    return ["".join(n.itertext()).strip() for n in ElementTree.fromstring(drawing.svg).iter(f"{SVG}text")]


def lines(drawing, colour):
    """Dash patterns of the lines (not the markers) drawn in a colour."""
    styles = [n.get("style", "") for n in ElementTree.fromstring(drawing.svg).iter(f"{SVG}path")]
    drawn = [s for s in styles if f"stroke: var({colour})" in s and "fill: none" in s]
    return [re.search(r"stroke-dasharray: ([0-9.]+)", s) for s in drawn]


def test_a_stage_whose_load_turns_back_is_found(table):
    fill, let_go = driven_stages(table)
    assert turns_back(table, fill)
    assert not turns_back(table, let_go)


def test_rounding_is_no_turn(tmp_path, tube):
    noisy = zip((0.0, 0.5, 0.7, 1.0), (0.0, 0.03, 0.03 - 1e-12, 0.03 + 1e-12), strict=True)
    t = table_of(tmp_path, tube, [("hold", s, 1.0 + s, pressure, 0, 0, "") for s, pressure in noisy])
    assert not turns_back(t, driven_stages(t)[0])


def test_stages_of_the_same_load_make_one_curve(table):
    (path,) = load_paths(table, driven_stages(table))
    assert [span.stage for span in path.spans] == ["fill", "let go"]
    assert (path.load, path.growth) == ("pressure", "lumen volume")
    assert path.rows.tolist() == list(range(8))


def test_a_calm_path_has_no_such_curve(tmp_path, tube):
    t = table_of(tmp_path, tube, FILL[:2])
    assert load_paths(t, driven_stages(t)) == []
    assert [group["heading"] for group in curves(t, ())] == ["Stage “fill”"]


def test_what_does_not_turn_back_itself_is_drawn_across(tmp_path, tube):
    t = table_of(tmp_path, tube, FILL)
    spans = driven_stages(t)
    assert growing(t, spans) == "lumen volume"
    t.columns["lumen volume"][4] = 0.0
    assert growing(t, spans) == "mean radial expansion"


def test_maxima_are_named_with_their_loads(table):
    (path,) = load_paths(table, driven_stages(table))
    words = texts(load_curve(table, path, name="a"))
    assert "1  limit point, 225 mmHg" in [w.replace("\N{NO-BREAK SPACE}", " ") for w in words]
    assert {"pressure [mmHg]", "lumen volume [mL]"} <= set(words)
    assert not any("goes on" in word for word in words)


def test_a_branch_that_climbs_far_is_cut_off_and_said_so(tmp_path, tube):
    t = table_of(tmp_path, tube, [*FILL, ("fill", 1.1, 1.7, 0.19, 0, 0, "")])
    (path,) = load_paths(t, driven_stages(t))
    assert "continues to 1425 mmHg" in texts(load_curve(t, path, name="a"))


def test_stretches_are_as_unstable_as_the_states_at_their_ends(table):
    # Each row stands for the stretch before it; the critical point belongs to the stable stretch.
    assert severity(table).tolist() == [0, 0, 0, 1, 2, 2, 1, 0]


def test_a_path_is_stable_again_behind_its_minimum(tmp_path, tube):
    behind = [("fill", 1.0, 1.6, 0.024, 1, 0, "limit point"), ("fill", 1.1, 1.7, 0.025, 0, 0, "")]
    t = table_of(tmp_path, tube, [*FILL[:4], *behind])
    assert severity(t).tolist() == [0, 0, 0, 1, 1, 0]


def test_unstable_stretches_and_jumps_look_different(table, tmp_path, tube):
    (path,) = load_paths(table, driven_stages(table))
    drawing = load_curve(table, path, name="a")
    assert [dash is None for dash in lines(drawing, "--accent")] == [True, True]
    # Held by the control: long dashes; not held: dots.
    held, unheld = (float(dash[1]) for dash in lines(drawing, "--warn"))
    assert held > 2 * unheld
    calm = table_of(tmp_path, tube, FILL[:3])
    (path,) = load_paths(calm, driven_stages(calm))
    still = load_curve(calm, path, name="a")
    assert lines(still, "--warn") == []
    # The arrow alone is dotted ink.
    dotted = [[d for d in lines(each, "--ink") if d is not None] for each in (drawing, still)]
    assert [len(d) for d in dotted] == [1, 0]


def test_states_past_breakdown_stay_marked(table):
    (path,) = load_paths(table, driven_stages(table))
    calm = load_curve(table, path, name="a").svg
    margins = np.append(np.full(len(table) - 1, 2.0), 0.9)
    broken = replace(table, columns={**table.columns, "breakdown margin": margins})
    assert "var(--bad)" not in calm
    assert "var(--bad)" in load_curve(broken, path, name="a").svg


def titles_of(group):
    return [re.search(r"<title>(.*?)</title>", str(d["svg"]))[1] for d in group["drawings"]]


def test_other_quantities_are_drawn_across_what_grows_where_the_load_turns(table):
    groups = {group["heading"]: group for group in curves(table, ())}
    assert len(groups["The load against what grows"]["large"]) == 1
    titles = titles_of(groups["Stage “fill”"])
    assert "largest stretch against lumen volume [mL]" in titles
    assert not any(title.startswith("lumen volume") for title in titles)
    titles = titles_of(groups["Stage “let go”"])
    assert "largest stretch against pressure [mmHg]" in titles


def test_critical_points_are_numbered_on_every_curve(table):
    drawing = path_curve(table, "largest stretch", driven_stages(table)[0], against="lumen volume", name="a")
    assert "1" in texts(drawing)
    assert "1" not in texts(path_curve(table, "largest stretch", driven_stages(table)[1], name="a"))
