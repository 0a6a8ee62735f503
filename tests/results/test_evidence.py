# SPDX-License-Identifier: MIT
"""The evidence for a run: only what was run is claimed."""

import json

import pytest
from synthetic_runs import CASE_HASH

from annelid.results.evidence.evidence import evidence_of
from annelid.results.evidence.scatter import write_scatter
from annelid.results.evidence.selfcheck_record import CheckResult, write_record
from annelid.results.folder.digests import write_sealed
from annelid.results.verification.record import BarredVerdict, QuantityBar, Verification

FEATURES = ("axisymmetric", "tube", "harmonics")
TUBE = CheckResult("inflated_tube", "thick tube", ("axisymmetric", "tube"), "a paper", 1e-4, 2e-3)


@pytest.fixture
def place(tmp_path, monkeypatch):
    """The folder of a run, without any evidence beside it."""
    monkeypatch.setenv("ANNELID_CACHE", str(tmp_path / "cache"))
    folder = tmp_path / "runs" / "one"
    folder.mkdir(parents=True)
    return folder


def parts(place, *, features=FEATURES, limits=(), version="1"):
    found = evidence_of(place, CASE_HASH, features, limits, version=version)
    return {part.part: part for part in found}


def test_nothing_is_claimed_that_was_not_run(place):
    found = parts(place, limits=["Tearing is not judged"])
    names = ["Code verification", "Solution verification", "Input uncertainty", "Validation"]
    assert list(found) == [*names, "Applicability"]
    assert [found[name].status for name in names] == ["not done"] * 4
    assert [found[name].tone for name in names] == [""] * 4
    assert found["Applicability"].sentences == ("Tearing is not judged",)


def test_features_without_a_check_are_named(place):
    write_record([TUBE], "1", "today")
    code = parts(place)["Code verification"]
    assert code.status == "1 check passed, for 2 of 3 features of the case"
    assert code.tone == "warning"
    assert "No check covers: harmonics." in code.sentences
    assert parts(place, features=("tube",))["Code verification"].tone == "success"


def test_checks_that_failed_or_are_of_another_version(place):
    write_record([TUBE], "2", "today")
    code = parts(place, features=("tube",))["Code verification"]
    assert code.tone == "warning"
    assert "The checks were run with version 2, the run with 1." in code.sentences
    failed = CheckResult("inflated_tube", "thick tube", ("tube",), "a paper", float("nan"), 2e-3)
    write_record([failed], "1", "today")
    assert parts(place)["Code verification"].tone == "failure"


def test_a_damaged_record_is_none(place, tmp_path):
    write_record([TUBE], "1", "today")
    path = tmp_path / "cache" / "selfcheck.json"
    data = json.loads(path.read_text())
    data["results"][0]["error"] = 0.0
    path.write_text(json.dumps(data))
    assert parts(place)["Code verification"].status == "not done"


@pytest.mark.parametrize("where", ["verifications/one", "runs/bars"])
def test_bars_belong_to_a_run_by_its_hash(place, tmp_path, where):
    bars = (
        QuantityBar("radial stroke", "at the last state", "1", 0.1, 0.002),
        QuantityBar("x", "", "1", 1.0),
    )
    verdict = BarredVerdict("radial stroke", "at the last state", "at least", 0.09, 0.1, 0.002, "met")
    folder = tmp_path / where
    folder.mkdir(parents=True)
    Verification("Invented", "another", "1", (), bars, (verdict,)).write(folder)
    assert parts(place)["Solution verification"].status == "not done"
    Verification("Invented", CASE_HASH, "1", (), bars, (verdict,)).write(folder)
    found = parts(place)["Solution verification"]
    assert (found.status, found.tone) == ("error bars of 1 of 2 numbers", "success")
    assert found.sentences[0] == "radial stroke at the last state: ± 2 % of its value"


def test_scatter_of_the_same_case(place, tmp_path):
    folder = tmp_path / "studies" / "scatter"
    folder.mkdir(parents=True)
    rows = [{"name": "radial stroke", "low": 0.09, "high": 0.11, "unit": "1"}]
    write_scatter(folder, "another", parts=20, met=19, quantities=rows)
    assert parts(place)["Input uncertainty"].status == "not done"
    write_scatter(folder, CASE_HASH, parts=20, met=19, quantities=rows)
    found = parts(place)["Input uncertainty"]
    assert (found.status, found.tone) == ("20 parts computed", "warning")
    assert "19 of 20 parts meet all requirements" in found.sentences[0]


@pytest.mark.parametrize(("invented", "status"), [(True, "not done"), (False, "1 scan compared")])
def test_invented_scans_validate_nothing(place, invented, status):
    folder = place / "compare" / "part_7"
    folder.mkdir(parents=True)
    content = {
        "kind": "annelid comparison",
        "run": {"case_hash": CASE_HASH},
        "scan": {"file": "part_7.ply", "invented": invented},
        "measures": {"root mean square deviation": {"value": 0.12, "unit": "mm"}},
        "verdicts": [],
    }
    write_sealed(folder / "summary.json", content)
    assert parts(place)["Validation"].status == status
