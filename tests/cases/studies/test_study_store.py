# SPDX-License-Identifier: MIT
import json
import os
import resource

import pytest

from annelid.cases.studies.failure import Failure
from annelid.cases.studies.opening import create_study
from annelid.cases.studies.store import Store
from annelid.geometry.errors import InputError
from annelid.geometry.writing import DiskFull

RADII = {"key": "shape.inner_radius", "values": ["4 mm", "5 mm"]}


@pytest.fixture
def opened(study):
    plan, store = study(vary=[RADII])
    create_study(plan, store)
    return plan, store


def test_another_folder_is_not_changed(study):
    plan, store = study(vary=[RADII])
    store.path.mkdir()
    (store.path / "thesis.txt").write_text("years")
    with pytest.raises(InputError, match="is not a study folder; nothing was written"):
        create_study(plan, store)
    assert [path.name for path in store.path.iterdir()] == ["thesis.txt"]


def test_a_study_folder_without_its_marker_file_is_used(opened):
    plan, store = opened
    marker = store.path / "study.json"
    whole = json.loads(marker.read_text())
    marker.write_text("{")
    create_study(plan, store)
    assert json.loads(marker.read_text()) == whole
    marker.unlink()
    create_study(plan, store)
    assert json.loads(marker.read_text()) == whole


def test_a_failure_is_recorded_until_it_is_deleted(opened):
    plan, store = opened
    failure = Failure("time limit", "took longer than 5 s", 5.1, 300.0)
    store.record_failure(plan.runs[0], failure)
    again = Store(store.path)
    assert again.failure(plan.runs[0]) == failure
    assert [again.state(run) for run in plan.runs] == ["failed", "waiting"]
    again.delete_failure(plan.runs[0])
    assert store.state(plan.runs[0]) == "waiting"


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"case_hash": "other", "kind": "error"}', '{"kind": 1}'])
def test_a_damaged_record_of_a_failure_counts_as_none(opened, damage):
    plan, store = opened
    (store.path / "failures" / f"{plan.runs[0].id}.json").write_text(damage)
    assert store.state(plan.runs[0]) == "waiting"


def test_a_record_of_a_failure_with_texts_for_numbers_counts_as_none(opened):
    plan, store = opened
    store.record_failure(plan.runs[0], Failure("error", "x"))
    file = store.path / "failures" / f"{plan.runs[0].id}.json"
    found = json.loads(file.read_text())
    file.write_text(json.dumps(found | {"seconds": found["when"]}))
    assert store.state(plan.runs[0]) == "waiting"


def test_a_folder_that_is_not_a_run_folder_is_not_removed(opened):
    plan, store = opened
    folder = store.run_folder(plan.runs[0])
    folder.mkdir()
    (folder / "thesis.txt").write_text("years")
    with pytest.raises(InputError, match="is not a Run folder; move it away"):
        store.clear_run_folder(plan.runs[0])
    assert (folder / "thesis.txt").exists()


def test_full_disk_differs_from_an_unwritable_folder(opened, monkeypatch):
    _, store = opened
    # A limit on the size of files: the write fails half-way.
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1024, hard))
    try:
        with pytest.raises(InputError, match=r"cannot be written.*Make it writable"):
            store.check_writable()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert not list(store.path.glob(".probe*"))

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(store.path), "write_bytes", full)
    with pytest.raises(DiskFull, match="free some space"):
        store.check_writable()


@pytest.mark.parametrize(
    ("place", "write"),
    [
        ("", create_study),
        ("failures", lambda plan, store: store.record_failure(plan.runs[0], Failure("error", "x"))),
    ],
)
def test_a_read_only_folder_is_reported(opened, place, write, monkeypatch):
    plan, store = opened

    def refuse(path, *_):
        raise PermissionError(13, "Permission denied", str(path))

    if os.geteuid():
        (store.path / place).chmod(0o500)
    else:  # nothing is read-only to root
        monkeypatch.setattr("annelid.cases.studies.store.write_atomically", refuse)
        monkeypatch.setattr("annelid.cases.studies.store.write_json", refuse)
    try:
        with pytest.raises(
            InputError, match=r"cannot be written \(Permission denied\).*another one with --out"
        ):
            write(plan, store)
    finally:
        (store.path / place).chmod(0o700)


def test_folders_of_earlier_values_are_counted_separately(opened):
    plan, store = opened
    (store.path / "runs" / "0123456789ab").mkdir()
    store.run_folder(plan.runs[0]).mkdir()
    assert store.count_other_folders(plan.runs) == 1
