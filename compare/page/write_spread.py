# SPDX-License-Identifier: MIT
"""Analysing several scans and writing their folder."""

from collections.abc import Sequence
from pathlib import Path

from annelid.compare.comparison.files import check_folder
from annelid.compare.comparison.simulated_part import ComparisonSettings, simulated_part
from annelid.compare.page.spread_page import repeatability_page
from annelid.compare.page.spread_words import doubts, headline
from annelid.compare.repeatability.files import FILES, PAGE, write_repeatability
from annelid.compare.repeatability.hand_measures import read_hand_measures
from annelid.compare.repeatability.listing import ListedScan
from annelid.compare.repeatability.repeated import repeatability
from annelid.compare.repeatability.study_parts import StudyParts
from annelid.compare.repeatability.summary import KIND

FOLDER = "repeatability"
"""Folder of analyses in a Run folder."""


def write_spread(
    run: Path,
    file: Path,
    entries: Sequence[ListedScan],
    settings: ComparisonSettings,
    *,
    study: StudyParts | None = None,
    by_hand: Path | None = None,
    out: Path | None = None,
) -> tuple[Path, list[str]]:
    """Analyse listed scans and write a folder about them.

    Nothing is written if one of the scans cannot be compared.

    Args:
        run: The Run folder.
        file: The list.
        entries: Its rows.
        settings: How scans are compared.
        study: Parts of a tolerance study.
        by_hand: A CSV file with measures of the parts by hand.
        out: The folder, by default in the Run folder.

    Returns:
        The page, and lines about what was found.

    Raises:
        InputError: The run is not finished, a file is no scan of the part, or the folder has other content.
        OSError: A file cannot be written.
    """
    part = simulated_part(run, settings)
    folder = out or part.run.path / FOLDER / file.stem
    check_folder(folder, kind=KIND, files=FILES)  # before hours of comparing
    hand = read_hand_measures(by_hand, [entry.part for entry in entries]) if by_hand else ()
    found = repeatability(part, file, entries, settings, study=study, by_hand=hand)
    write_repeatability(found, repeatability_page(found), folder)
    return folder / PAGE, [headline(found), *doubts(found)]
