# SPDX-License-Identifier: MIT
"""Comparing scans with a run and writing their folders and pages."""

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

from annelid.compare.comparison.compared import Comparison, compare_scan
from annelid.compare.comparison.files import PAGE, new_folder, write_files
from annelid.compare.comparison.map_surface import map_surface
from annelid.compare.comparison.simulated_part import ComparisonSettings, SimulatedPart, simulated_part
from annelid.compare.deviation.quantities import Uncertain
from annelid.compare.page.batch_page import batch_page
from annelid.compare.page.page import comparison_page
from annelid.geometry.errors import InputError
from annelid.results.atomic import write_atomically

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
    part = simulated_part(run, settings)
    folders = _folders(part, scans, out)
    several = len(scans) > 1
    if several:
        _check_parent(out or part.run.path / FOLDER)
    measures: dict[str, Mapping[str, Uncertain]] = {}
    lines, invented = [], []
    with ExitStack() as stack:
        temporary = [stack.enter_context(new_folder(folder)) for folder in folders]
        for scan, folder, target in zip(scans, temporary, folders, strict=True):
            compared = compare_scan(part, scan, settings)
            surface = map_surface(compared)
            write_files(compared, surface, comparison_page(compared, surface), folder)
            measures[target.name] = compared.measures
            lines.append(_line(compared))
            invented += [target.name] if compared.invented else []
    if not several:
        return folders[0] / PAGE, lines
    return write_atomically(folders[0].parent / PAGE, batch_page(part, measures, invented)), lines


def _folders(part: SimulatedPart, scans: Sequence[Path], out: Path | None) -> list[Path]:
    """The folder of each scan."""
    if out is not None and len(scans) == 1:
        return [out]
    names = [scan.stem for scan in scans]
    twice = next((name for name in names if names.count(name) > 1), "")
    if twice:
        raise InputError(f"scan {twice}: several scans have this name; rename one of them", key="SCAN")
    return [(out or part.run.path / FOLDER) / name for name in names]


def _check_parent(folder: Path) -> None:
    foreign = []
    if folder.is_dir():
        foreign = sorted(path.name for path in folder.iterdir() if path.name != PAGE and not path.is_dir())
    if foreign:
        text = f"contains something other than comparisons ({', '.join(foreign[:3])}); nothing was written"
        raise InputError(f"{folder}: {text}. Choose a new or empty folder", key="--out")


def _line(compared: Comparison) -> str:
    rms, mean = (compared.measures[f"{name} deviation"].value for name in ("root mean square", "mean"))
    return (
        f"{compared.scan.name}: root mean square deviation {rms:.3g} mm, mean {mean:.3g} mm, "
        f"{100 * compared.seen.coverage:.0f} % of the surface covered"
    )
