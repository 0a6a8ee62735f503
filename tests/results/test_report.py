# SPDX-License-Identifier: MIT
import re
import shutil
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from synthetic_parts import inflated
from synthetic_runs import DESCRIPTION, OUTCOME, VERDICTS, create, finished, states

from annelid.geometry.errors import InputError
from annelid.results.folder.folder_files import log_end
from annelid.results.folder.run_records import Statement, Verdict
from annelid.results.report import pictures as report_pictures
from annelid.results.report.report import write_report
from annelid.results.views import rendering
from annelid.solver.records import Measure

MET = VERDICTS[:1]
NO_VOLTAGE = Verdict(
    "breakdown margin", "at least", 1.5, float("nan"), "1", False, "no voltage at the last state"
)
VOID = {"meta", "br", "img", "link", "input", "hr"}


class ReportPage(HTMLParser):
    """Collects the external files of a page, and checks that its elements nest."""

    def __init__(self, text):
        super().__init__()
        self.outside, self.open, self.words, self.tags = [], [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        links = [v for k, v in attrs if k in ("src", "href", "xlink:href", "data", "srcset") and v]
        self.outside += [v for v in links if not v.startswith(("data:image/png;base64,", "#"))]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style", "title"):
            self.words.append(data)

    @property
    def text(self):
        return re.sub(r"\s+", " ", " ".join(self.words))


def page_of(folder, **options):
    return ReportPage(write_report(folder, **options).read_text())


def test_the_report_is_one_page_without_external_files(tube_run):
    page = page_of(tube_run)
    assert page.open == []
    assert page.outside == []
    assert "script" not in page.tags
    assert "link" not in page.tags
    text = page.text
    for words in (
        "Cuff <b>1</b> & co",
        OUTCOME.text,
        "A remark.",
        "mean radial expansion at least 12 % 20 % last state ✓ met",
        "✗ not met",
        "natural stretch: hoop 0.8",
        "Stage “inflate”",
        "charge on all electrodes of the whole part Σ Q",
        "High voltage kills.",
        "neither a medical device",
        "Local regulations and the practice of licensed engineers",
        "At voltages up to 3 kV the part stores at most 1.08 µC and 1.68 mJ.",
        "below the 45 µC of IEC 60335-1, 8.1.4 (quoted from a secondary source)",
        "quoted from a secondary source; the standard was not read",
        "All states (4)",
    ):
        assert words in text
    assert "body.npz" not in text  # digests are not shown
    assert page.tags.count("img") == 3
    assert page.tags.count("svg") >= 6
    assert "b" not in page.tags[: page.tags.index("dl")]


def test_names_from_the_case_cannot_become_markup(tmp_path, tube):
    statements = (Statement("Parts", ("<i>: silicone.",)),)
    description = replace(DESCRIPTION, title="<script>alert(1)</script>", statements=statements)
    page = page_of(finished(tmp_path / "run", tube, description=description), with_pictures=False)
    assert "script" not in page.tags
    assert "i" not in page.tags
    assert "<script>alert(1)</script>" in page.text


def test_the_report_needs_only_the_folder_wherever_it_is(tube_run, tmp_path):
    copy = shutil.copytree(tube_run, tmp_path / "elsewhere")
    (copy / "report.html").unlink(missing_ok=True)
    pages = [write_report(f, with_pictures=False).read_text() for f in (copy, tube_run)]
    assert pages[0] == pages[1]
    assert "Cuff" in pages[0]


def test_the_report_states_that_a_run_is_unfinished(tmp_path, tube):
    with create(tmp_path / "run", tube) as run:
        run.append(next(states(tube)))
        page = page_of(tmp_path / "run", with_pictures=False)
    assert "The run is not finished; 1 state so far. The results may change." in page.text
    assert "Verdicts" not in page.text
    log_end(tmp_path / "run", "a rank was ended by SIGKILL")
    log_end(tmp_path / "run", "interrupted")  # a later reason is not the cause
    page = page_of(tmp_path / "run", with_pictures=False)
    assert "1 state so far. It ended unfinished: a rank was ended by SIGKILL." in page.text


def test_a_run_without_any_state_has_a_report(tmp_path, tube):
    with create(tmp_path / "run", tube) as run:
        run.finish(OUTCOME)
    page = page_of(tmp_path / "run")
    assert OUTCOME.text in page.text
    assert "High voltage kills." in page.text


def test_a_report_without_fields_has_no_pictures(tmp_path, tube):
    page = page_of(finished(tmp_path / "run", tube, keep_fields="none"))
    assert "were not stored" in page.text
    assert "img" not in page.tags


def test_report_names_a_missing_rendering_library(tube_run, tmp_path, monkeypatch):
    copy = shutil.copytree(tube_run, tmp_path / "run")
    monkeypatch.setattr(rendering, "_render_window", lambda: None)
    page = page_of(copy)
    assert "Pictures could not be rendered. 3-D pictures: neither libEGL nor libOSMesa" in page.text
    assert "img" not in page.tags


def test_earlier_state_replaces_an_undeformed_last_one(tmp_path, tube, monkeypatch):
    rendered = []

    def picture(run, *, field, state):
        rendered.append(state)
        return b""

    monkeypatch.setattr(report_pictures, "picture", picture)
    with create(tmp_path / "run", tube) as run:
        for i, (stage, stretch) in enumerate([("inflate", 1.1), ("inflate", 1.2), ("release", 1.0)]):
            run.append(inflated(tube, stretch, index=i, stage=stage, parameter=1.0))
        run.finish(OUTCOME)
    page = page_of(tmp_path / "run")
    assert "In the last state the part has its drawn shape, so state 1 is shown instead." in page.text
    assert set(rendered) == {1}


def test_the_headline_is_the_end_of_the_last_stage_under_load(tmp_path, tube, monkeypatch):
    rendered = []
    monkeypatch.setattr(
        report_pictures, "picture", lambda run, *, field, state: rendered.append(state) or b""
    )
    with create(tmp_path / "run", tube) as run:
        for i, (stage, stretch) in enumerate([("inflate", 1.1), ("inflate", 1.2), ("rest", 1.05)]):
            run.append(inflated(tube, stretch, index=i, stage=stage, parameter=1.0))
        run.finish(replace(OUTCOME, stage="rest", working_stage="inflate"))
    page = page_of(tmp_path / "run")
    assert "In the last state no load acts, so state 1 is shown instead." in page.text
    assert (rendered[0], rendered[-1]) == (1, 2)
    assert "mean radial expansion at the end of stage 'inflate' 20 %" in page.text


def test_tearing_is_shown_where_it_is_judged(tmp_path, tube, monkeypatch):
    shown = []
    monkeypatch.setattr(report_pictures, "picture", lambda run, *, field, state: shown.append(field) or b"")
    for margin in (2.0, np.nan):
        state = list(states(tube))[-1]
        margins = np.full(tube.cells.shape, margin)
        with create(tmp_path / f"{margin}", tube) as run:
            run.append(replace(state, index=0, fields={**state.fields, "tearing margin": margins}))
            run.finish(OUTCOME)
        page_of(tmp_path / f"{margin}")
    assert shown.count("tearing margin") == 1


def test_a_solid_part_has_a_cross_section(solid_run):
    assert "at a height of" in page_of(solid_run, with_pictures=False).text


def test_without_a_run_there_is_no_report(tmp_path):
    with pytest.raises(InputError, match="contains no run"):
        write_report(tmp_path / "nothing")


def banner(folder):
    text = write_report(folder, with_pictures=False).read_text()
    return re.search(r'<div class="outcome (\w+)">(.*?)</div>', text, re.DOTALL).groups()


@pytest.mark.parametrize(
    ("outcome", "verdicts", "tone", "words"),
    [
        (OUTCOME, MET, "success", "All loads were reached."),
        (OUTCOME, VERDICTS, "failure", "is required: missed by"),
        (replace(OUTCOME, kind="limit point"), MET, "failure", "The requested loads were not reached."),
        (
            replace(OUTCOME, remarks=("the numbers of unstable modes are approximate",)),
            MET,
            "warning",
            "The numbers of unstable modes are approximate.",
        ),
    ],
    ids=["good", "missed", "not reached", "approximate"],
)
def test_the_banner_is_green_only_without_failures_and_doubts(tmp_path, tube, outcome, verdicts, tone, words):
    with create(tmp_path / "run", tube) as folder:
        for state in states(tube):
            folder.append(state)
        folder.finish(outcome, verdicts=verdicts)
    found, text = banner(tmp_path / "run")
    assert (found, words in text) == (tone, True)


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ("breakdown", "he electric field exceeds the dielectric strength in some states."),
        ("tearing", "he stretch or stress exceeds that at which the part tears in some states."),
    ],
)
@pytest.mark.parametrize(("margin", "tone"), [(1.2, "warning"), (0.95, "failure")])
def test_the_banner_doubts_a_local_failure_and_names_one_of_the_volume(
    tmp_path, tube, limit, words, margin, tone
):
    """The margin that leaves out 0.5 % of the volume may be safe where the one at the worst point is not."""
    with create(tmp_path / "run", tube) as folder:
        for state in states(tube):
            local = {f"{limit} margin": Measure(margin, "1"), f"least {limit} margin": Measure(0.9, "1")}
            folder.append(replace(state, quantities={**state.quantities, **local}))
        folder.finish(OUTCOME, verdicts=MET)
    found, text = banner(tmp_path / "run")
    assert (found, f"T{words}" in text, f"At the most loaded point t{words}" in text) == (
        tone,
        tone == "failure",
        tone == "warning",
    )


def test_tiles_show_requirements_where_they_are_required(tmp_path, tube):
    with create(tmp_path / "run", tube) as folder:
        for state in states(tube):
            folder.append(state)
        folder.finish(OUTCOME, verdicts=(replace(MET[0], where="at the end of stage 'inflate'"), NO_VOLTAGE))
    text = ReportPage(write_report(tmp_path / "run", with_pictures=False).read_text()).text
    assert "mean radial expansion at the end of stage 'inflate' 20 %" in text.replace("\xa0", " ")
    assert "unlimited" not in text.split("Verdicts")[0]
