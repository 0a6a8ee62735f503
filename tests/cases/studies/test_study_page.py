# SPDX-License-Identifier: MIT
"""The page of a study: complete, self-contained, and safe for all names and notes."""

import base64
import hashlib
import html.parser
import json
import re

import numpy as np
import pytest

from annelid.cases.cli.main import main
from annelid.cases.studies.analysis import study_data
from annelid.cases.studies.listing import missed_lines
from annelid.cases.studies.opening import open_study
from annelid.cases.studies.page import write_page
from annelid.cases.studies.table import StudyTable
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.resolved import case_hash
from annelid.results.evidence.scatter import read_scatter
from annelid.results.study.figures import level_label
from annelid.results.study.sections import maps, responses, spreads
from annelid.results.study.study_data import Column

RADII = {"key": "shape.inner_radius", "values": ["4 mm", "4.25 mm", "4.5 mm", "4.75 mm", "5 mm"]}
QUANTITY = "mean radial expansion"


class StudyPage(html.parser.HTMLParser):
    """The elements, links and scripts that a browser finds."""

    def __init__(self, text):
        super().__init__()
        self.links, self.scripts, self.tags, self._script = [], [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self.tags.append(tag)
        self.links += [found[key] for key in ("href", "xlink:href", "src") if key in found]
        self._script = found.get("type", "text/javascript") if tag == "script" else None

    def handle_data(self, data):
        if self._script:
            self.scripts.append((self._script, data))
            self._script = None


@pytest.fixture
def page(study, drive):
    def make(**keys):
        plan, store = study(**keys)
        table = drive(plan, store, workers=1)
        text = write_page(plan, store, table).read_text()
        return plan, store, text, StudyPage(text)

    return make


def test_every_point_links_to_the_report_of_its_run(page):
    plan, store, _, found = page(vary=[RADII, {"key": "notes", "values": ["a", "b"]}], quantities=[QUANTITY])
    for run in plan.runs:
        # In the parallel coordinates, in the response, in the map of requirements, and in the table.
        assert found.links.count(f"runs/{run.id}/report.html") >= 3
    outside = [link for link in found.links if not link.startswith(("#", "runs/"))]
    assert outside == []
    assert all((store.path / link).exists() for link in found.links if link.startswith("runs/"))


def test_the_page_runs_only_its_own_script(page):
    _, _, text, found = page(vary=[RADII], quantities=[QUANTITY])
    (script,) = [code for kind, code in found.scripts if kind == "text/javascript"]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1].replace("&#39;", "'")
    assert f"script-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")
    assert not re.search(r"(src|href)=[\"']?(https?:)?//", text)


def test_texts_of_the_user_are_shown_and_not_executed(page):
    evil = "</script><script>alert(1)</script><img src=x onerror=alert(2)>"
    _, _, text, found = page(
        vary=[{"key": "notes", "values": [evil, "plain", "error"]}, RADII | {"values": ["4 mm", "5 mm"]}],
        quantities=[QUANTITY],
        notes=evil,
    )
    assert found.tags.count("script") == 2
    assert "img" not in found.tags
    assert "&lt;img src=x" in text


@pytest.mark.long
def test_failed_runs_are_listed_with_their_reason(page):
    plan, _, text, _ = page(vary=[{"key": "notes", "values": ["fine", "error", "exit"]}, RADII])
    assert "these values make no sense" in text
    assert text.count("exited with code 3") >= 5
    assert "5 of 15 runs have a result, 10 failed" in text
    failed = [run.id for run in plan.runs if run.values["notes"] == "error"]
    assert all(id_ in text.split("Failed and unstable")[1] for id_ in failed)


def test_positions_on_the_axes_are_those_of_the_values(page):
    plan, _, _, found = page(vary=[RADII, {"key": "notes", "values": ["a", "error"]}], quantities=[QUANTITY])
    (data,) = [json.loads(code) for kind, code in found.scripts if kind == "application/json"]
    for positions, row in zip(data["positions"], data["rows"], strict=True):
        radius = float(str(plan.runs[row].values["inner_radius"]).split()[0])
        fine = plan.runs[row].values["notes"] == "a"
        assert positions[0] == pytest.approx(radius - 4.0, abs=1e-4)
        assert positions[2] == (pytest.approx(radius - 4.0, abs=1e-4) if fine else None)


def test_a_study_with_nothing_finished_still_has_a_page(page):
    _, _, text, _ = page(vary=[{"key": "notes", "values": ["error", "exit"]}])
    assert "0 of 2 runs have a result, 2 failed" in text


def test_categories_and_yields_follow_the_table(study, drive):
    plan, store = study(
        vary=[
            {"key": "shape.inner_radius", "distribution": "normal", "mean": "4.5 mm", "deviation": "0.5 mm"}
        ],
        sampling={"method": "sobol", "samples": 32},
        tolerance=True,
        quantities=[QUANTITY],
    )
    table = drive(plan, store, workers=1)
    for row, change in zip(
        table.rows, [{"outcome": "limit point"}, {"unstable modes [1]": 1.0}], strict=False
    ):
        row |= change
    data = study_data(plan, table.rows)
    assert data.categories[:2] == ("stopped", "unstable")
    radii = data.variables[0].numbers
    assert [category == "met" for category in data.categories[2:]] == list(radii[2:] >= 4.5)
    (found,) = data.yields
    # Half of the values are above the mean, which is the limit of the requirement of the synthetic runs.
    assert (found.parts, found.conforming) == (32, int((radii[2:] >= 4.5).sum()))
    (spread,) = data.spreads
    assert spread.values.std() == pytest.approx(np.delete(radii, 0).std(), rel=1e-9)
    assert spread.contributions["inner_radius"] == pytest.approx(1.0)
    assert "What will" not in (store.path / "study.toml").read_text()
    write_page(plan, store, table)
    scatter = read_scatter(store.path)
    assert (scatter["parts"], scatter["met"]) == (32, found.conforming)
    base = plan.file.base
    nominal = case_from_tables(base | {"shape": base["shape"] | {"inner_radius": "4.5 mm"}})
    assert scatter["case_hash"] == case_hash(nominal) != case_hash(case_from_tables(base))


@pytest.mark.long
def test_a_tolerance_study_shows_how_many_parts_conform(page):
    _, _, text, _ = page(
        vary=[
            {"key": "shape.inner_radius", "distribution": "normal", "mean": "4.7 mm", "deviation": "0.1 mm"},
            {"key": "mesh.through", "values": [1, 2]},
        ],
        sampling={"method": "latin hypercube", "samples": 20},
        tolerance=True,
        quantities=[QUANTITY],
    )
    assert "<h2>Tolerances</h2>" in text
    assert text.count(" of 20</td>") == 2
    assert "through 1" in text


CLOSE = [{"key": "shape.inner_radius", "values": ["4.7 mm", "4.70001 mm"]}]
NOISE = [{"name": "noise", "from": 0.9, "to": 1.1}, {"name": "other", "from": 0, "to": 1}]
WALL = [{"key": "shape.layers.wall.thickness", "formula": "noise * sheet"}]


@pytest.mark.long
def test_parts_of_almost_equal_nominal_sizes_are_kept_apart(study, drive):
    plan, store = study(
        vary=[*CLOSE, *NOISE],
        derive=WALL,
        constants={"sheet": "200 um"},
        sampling={"method": "sobol", "samples": 16},
        tolerance=True,
        quantities=[QUANTITY],
    )
    table = drive(plan, store, workers=1)
    data = study_data(plan, table.rows)
    groups = [f"inner radius {radius} mm" for radius in ("4.7", "4.70001")]
    assert [found.group for found in data.yields] == groups
    assert [found.parts for found in data.yields] == [16, 16]
    assert [section["heading"] for section in spreads(data)] == groups
    # The sizes drawn within one group do not explain the difference between two.
    assert data.sensitivities == ()
    found = maps(data)
    assert len(found) == 2
    for figure, group in zip(found, groups, strict=True):
        assert f">{group}</text>" in figure.svg
    (drawn,), _ = responses(data)
    assert len(drawn["figures"]) == 1 + 2 * 2


def test_long_texts_of_a_list_have_different_labels():
    texts = ("a silicone of the first kind", "a silicone of the first sort")
    column = Column("material", None, "listed", texts)
    assert [level_label(column, text) for text in texts] == [f"material {text}" for text in texts]
    short = Column("material", None, "listed", texts[:1])
    assert level_label(short, texts[0]) == "material a silicone of the fir…"


def test_missed_requirements_are_named(page, capsys):
    _, store, text, _ = page(vary=[RADII, {"key": "notes", "values": ["a", "error"]}], quantities=[QUANTITY])
    missed = "mean radial expansion at least 450 %"
    table = StudyTable(*open_study(str(store.path), None))
    for row in table.rows:
        if row["status"] == "finished":
            assert row["requirements missed"] == ("" if row["inner_radius [mm]"] >= 4.5 else missed)
    assert f"M{missed[1:]}: not met by 2 runs." in text
    assert text.count(f"reached; not met: {missed}") == 2
    assert main(["study", str(store.path), "--collect"]) == 0
    lines = capsys.readouterr().out.splitlines()
    at = lines.index("requirements: 3 of 5 runs meet all of them")
    ids = [row["run"] for row in table.rows if row.get("requirements missed")]
    assert lines[at + 1 : at + 3] == [f"{run} misses {missed}" for run in ids]


def test_only_some_of_many_missed_requirements_are_listed():
    rows = [{"run": f"{i}", "all requirements met": False, "requirements missed": "a"} for i in range(30)]
    lines = missed_lines(rows)
    assert (len(lines), lines[-1]) == (22, "… and 10 more, see the table")
    assert missed_lines([{"run": "x", "status": "failed"}]) == []
    assert missed_lines([{"run": "x", "all requirements met": True, "requirements missed": ""}]) == []


@pytest.mark.long
def test_page_of_a_search_warns_of_uneven_points(page):
    radius = {"key": "shape.inner_radius", "from": "4 mm", "to": "5.5 mm"}
    least = [{"quantity": QUANTITY, "aim": "minimise"}]
    _, _, text, _ = page(vary=[radius], objectives=least, search={"evaluations": 16}, quantities=[QUANTITY])
    assert "were chosen by a search" in text
    _, _, plain, _ = page(vary=[radius | {"count": 12}], quantities=[QUANTITY])
    assert "rank correlation" in plain
    assert "were chosen by a search" not in plain


def test_reports_are_mentioned_only_if_there_are_some(page):
    text = "Click a line to open its report"
    assert text in page(vary=[RADII], quantities=[QUANTITY])[2]
    radii = RADII | {"values": ["4.1 mm", "4.2 mm", "4.3 mm"]}
    assert text not in page(vary=[radii], quantities=[QUANTITY], output={"reports": False})[2]


def test_table_shows_differing_and_derived_columns(page):
    twice = {"name": "doubled", "formula": "2 * inner_radius"}
    same = {"name": "always", "formula": "inner_radius * 0 + twelve"}
    constants = {"twelve": "12 mm"}
    _, _, text, _ = page(vary=[RADII], derive=[twice, same], constants=constants, quantities=[QUANTITY])
    table = text.split("<h2>Runs</h2>")[1]
    heads = re.findall(r'<th class="(number[a-z ]*)">([^<]*)</th>', table)
    assert heads == [
        ("number", "inner radius [mm]"),
        ("number", "mean radial expansion [%]"),
        ("number derived", "doubled [mm]"),
    ]
    rows = re.findall(r"<tr data-row.*?</tr>", table)
    assert [row.count('class="number derived"') for row in rows] == [1] * 5
    assert "show derived variables (1 column)" in table
    assert "Equal in all runs: always [mm]: 12." in table


@pytest.mark.parametrize(("aim", "word", "best"), [("minimise", "smallest", 2), ("maximise", "largest", 4)])
def test_the_best_run_links_to_its_report_and_is_marked_in_the_table(page, capsys, aim, word, best):
    plan, store, text, _ = page(vary=[RADII], objectives=[{"quantity": QUANTITY, "aim": aim}])
    run, radius = plan.runs[best].id, RADII["values"][best]
    value = f"{100 * float(radius.split()[0]):g}\N{NO-BREAK SPACE}%"
    end = f"has the {word} {QUANTITY}, {value}: inner radius {radius.replace(' ', '\N{NO-BREAK SPACE}')}"
    link = f'<a href="runs/{run}/report.html">{run}</a>'
    assert f"Of the runs that meet all requirements, {link} {end}." in text
    assert text.count("reached; best run") == 1
    assert main(["study", str(store.path), "--collect"]) == 0
    assert f"best run: of the runs that meet all requirements, {run} {end}\n" in capsys.readouterr().out


@pytest.mark.long
def test_no_run_is_the_best_of_tolerances_or_of_several_objectives(page):
    both = [{"quantity": QUANTITY, "aim": "maximise"}, {"quantity": "lumen volume", "aim": "minimise"}]
    assert "Of the runs" not in page(vary=[RADII], objectives=both)[2]
    radius = {"key": "shape.inner_radius", "from": "4.5 mm", "to": "5 mm"}
    tolerance = {"sampling": {"method": "random", "samples": 8}, "tolerance": True}
    assert "Of the runs" not in page(vary=[radius], objectives=both[:1], **tolerance)[2]
