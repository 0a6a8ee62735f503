# SPDX-License-Identifier: MIT
"""Writing the fabrication sheet: one page, tables, masks and moulds."""

import re
from collections.abc import Collection, Sequence
from html import unescape
from pathlib import Path

from markupsafe import escape

from annelid.geometry.errors import InputError
from annelid.geometry.fabrication.mould import Mould, mould_files
from annelid.geometry.fabrication.plan import FabricationPlan
from annelid.results.atomic import write_atomically
from annelid.results.fabrication.drawing import mask_drawing
from annelid.results.fabrication.drawing_files import dxf, svg
from annelid.results.fabrication.page import page_content
from annelid.results.fabrication.tables import layers_csv, profile_csv
from annelid.results.folder.run_record import RunRecord
from annelid.results.pages.render import render
from annelid.solver.display import DisplayUnits

__all__ = ["write_fabrication_sheet"]

PAGE, LAYERS, MASKS = "fabrication.html", "layers.csv", "masks"
_NAMED = re.compile(r"<p>([^<]*)\. STEP, STL and DXF are in millimetres")  # the files of a page


def write_fabrication_sheet(
    plan: FabricationPlan,
    folder: Path,
    *,
    title: str,
    notes: str = "",
    units: DisplayUnits,
    run: RunRecord | None = None,
    making: Sequence[str] = (),
    printing: Sequence[str] = (),
    other: Sequence[str] = (),
) -> list[Path]:
    """Write the files of a fabrication sheet, replacing those of an earlier one; the page is written last.

    Args:
        plan: What is cast and cut.
        folder: The folder; created if absent.
        title: Title of the case.
        notes: Remarks of the user.
        units: Units in which numbers are shown.
        run: A run of the case, if there is one.
        making: Sentences that describe how the part is made.
        printing: Lines that describe the print of the lattice.
        other: Lines on parts that are not layers.

    Raises:
        InputError: A mould cannot be built, or the folder contains masks or moulds of another sheet.
        OSError: A file cannot be written.
    """
    contents: dict[str, str | bytes] = {LAYERS: layers_csv(plan)}
    if plan.masks:
        drawing = mask_drawing(plan.masks, plan.settings)
        contents |= {f"{MASKS}.svg": svg(drawing), f"{MASKS}.dxf": dxf(drawing)}
    for mould, name in zip(plan.moulds, _mould_names(plan.moulds), strict=True):
        contents[f"{name}_profile.csv"] = profile_csv(mould)
        contents |= {f"{name}{suffix}": content for suffix, content in mould_files(mould).items()}
    contents[PAGE] = render(
        PAGE,
        page_content(
            plan,
            title=title,
            notes=notes,
            units=units,
            run=run,
            making=making,
            printing=printing,
            other=other,
            files=list(contents),
        ),
    )
    folder.mkdir(parents=True, exist_ok=True)
    _remove_own_files(folder, contents, title)
    return [write_atomically(folder / name, content) for name, content in contents.items()]


def _remove_own_files(folder: Path, contents: Collection[str], title: str) -> None:
    """Remove what an earlier sheet of the same title wrote and the new one lacks.

    Other masks and moulds are refused: they would lie beside the new page as if they belonged to it.
    """
    kinds = (f"{MASKS}.svg", f"{MASKS}.dxf", "mould*_profile.csv", "mould*.step", "mould*.stl")
    old = sorted({file.name for kind in kinds for file in folder.glob(kind)}.difference(contents))
    others = set(old) - _written_before(folder, title)
    if others:
        raise InputError(
            f"{folder}: contains files of another sheet ({', '.join(sorted(others))}); "
            "delete them or choose another folder"
        )
    for name in old:
        (folder / name).unlink()
    (folder / PAGE).unlink(missing_ok=True)  # so that no page lies beside masks of another sheet


def _written_before(folder: Path, title: str) -> set[str]:
    """Files that the page in the folder names, if it has this title."""
    page = folder / PAGE
    text = page.read_text(encoding="utf-8", errors="replace") if page.is_file() else ""
    named = _NAMED.search(text)
    if named is None or f"<title>{escape(title)}</title>" not in text:
        return set()
    return set(unescape(named[1]).split(", "))


def _mould_names(moulds: Sequence[Mould]) -> list[str]:
    """``mould`` for one, else with the name of the first layer that is cast on it."""
    return ["mould"] if len(moulds) == 1 else [f"mould_{mould.layers[0]}" for mould in moulds]
