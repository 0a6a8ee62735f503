# SPDX-License-Identifier: MIT
"""Comparing scans with a run and writing their folders and pages."""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path

from annelid.compare.comparison.best_state import best_part
from annelid.compare.comparison.compared import Comparison, cleaned_file, compare_scan
from annelid.compare.comparison.files import PAGE, new_folder, write_files
from annelid.compare.comparison.map_surface import map_surface
from annelid.compare.comparison.simulated_part import (
    ComparisonSettings,
    candidates,
    finished_run,
    part_in,
)
from annelid.compare.page.batch_page import ScanEntry, batch_page, entry_of
from annelid.compare.page.page import comparison_page
from annelid.compare.page.words import verdict_row
from annelid.geometry.errors import InputError
from annelid.results.atomic import write_atomically
from annelid.results.folder.run_record import RunRecord

FOLDER = "compare"
"""Folder of comparisons in a Run folder."""


def write_comparisons(
    run: Path, scans: Sequence[Path], settings: ComparisonSettings, *, out: Path | None = None
) -> tuple[Path, list[str]]:
    """Compare scans with a state of a run; write a folder for each, and a page about several.

    Nothing is written if one of the scans cannot be compared.

    Args:
        run: The Run folder.
        scans: Files of scans.
        settings: How they are compared.
        out: Folder of the comparison, or of the folders of several; by default in the Run folder.

    Returns:
        The page, and a line about each scan.

    Raises:
        InputError: The run is not finished, a file is no scan of the part, or a folder has other content.
        OSError: A file cannot be written.
    """
    record = finished_run(run)
    choices = candidates(record, settings)
    part = part_in(record, choices[0], settings) if len(choices) == 1 else None
    folders = _folders(record, scans, out)
    several = len(scans) > 1
    if several:
        _check_parent(out or record.path / FOLDER)
    entries: list[ScanEntry] = []
    lines: list[str] = []
    with ExitStack() as stack:
        temporary = [stack.enter_context(new_folder(folder)) for folder in folders]
        for scan, folder, target in zip(scans, temporary, folders, strict=True):
            read = cleaned_file(scan, settings)
            chosen = part or best_part(record, choices, read.cleaned.cloud, settings)
            compared = compare_scan(chosen, read, settings)
            surface = map_surface(compared)
            write_files(compared, surface, comparison_page(compared, surface), folder)
            entries.append(entry_of(target.name, compared))
            lines += _lines(compared)
    if not several:
        return folders[0] / PAGE, lines
    return write_atomically(folders[0].parent / PAGE, batch_page(record, entries)), lines


def comparison_folder(run: Path, scans: Sequence[Path]) -> Path:
    """Return the default folder of the comparison of scans with a run."""
    return run / FOLDER / scans[0].stem if len(scans) == 1 else run / FOLDER


def _folders(run: RunRecord, scans: Sequence[Path], out: Path | None) -> list[Path]:
    """The folder of each scan."""
    if out is not None and len(scans) == 1:
        return [out]
    names = [scan.stem for scan in scans]
    twice = next((name for name in names if names.count(name) > 1), "")
    if twice:
        raise InputError(f"scan {twice}: several scans have this name; rename one of them", key="SCAN")
    return [(out or run.path / FOLDER) / name for name in names]


def _check_parent(folder: Path) -> None:
    foreign = []
    if folder.is_dir():
        foreign = sorted(path.name for path in folder.iterdir() if path.name != PAGE and not path.is_dir())
    if foreign:
        text = f"contains something other than comparisons ({', '.join(foreign[:3])}); nothing was written"
        raise InputError(f"{folder}: {text}. Choose a new or empty folder", key="--out")


def _lines(compared: Comparison) -> Iterator[str]:
    rms, mean = (compared.measures[f"{name} deviation"].value for name in ("root mean square", "mean"))
    name = compared.scan.name
    yield (
        f"{name}: root mean square deviation {rms:.3g} mm, mean {mean:.3g} mm, "
        f"{100 * compared.seen.coverage:.0f} % of the surface covered"
    )
    if compared.settings.state == "best" or compared.settings.loads or compared.settings.about_state:
        yield f"  compared with {compared.part.choice.text}"
    yield from (f"  {sentence}" for sentence in compared.settings.about_state)
    if compared.alignment.pose.scale != 1.0:
        yield f"  a scale was fitted: the scan was multiplied by {compared.alignment.pose.scale:.5g}"
    yield from (f"  note: {doubt}" for doubt in compared.part.choice.doubts)
    words = {"met": "met      ", "not met": "NOT MET  ", "undecided": "UNDECIDED"}
    for verdict in compared.verdicts:
        quantity, condition, value, _, _ = verdict_row(compared.part.run.units, verdict)
        yield f"  {words[verdict.verdict]}  {quantity}: {value} ({condition})"
