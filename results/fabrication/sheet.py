# SPDX-License-Identifier: MIT
"""Writing the fabrication sheet: one page, tables, masks and moulds."""

from collections.abc import Collection, Sequence
from pathlib import Path

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
    """Write the files of a fabrication sheet, replacing existing ones; the page is written last.

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
    _check_files(folder, contents)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / PAGE).unlink(missing_ok=True)  # so that no page lies beside masks of another sheet
    return [write_atomically(folder / name, content) for name, content in contents.items()]


def _check_files(folder: Path, contents: Collection[str]) -> None:
    """Refuse a folder in which masks or moulds of another sheet would stay beside the new page."""
    kinds = (f"{MASKS}.svg", f"{MASKS}.dxf", "mould*_profile.csv", "mould*.step", "mould*.stl")
    others = sorted({file.name for kind in kinds for file in folder.glob(kind)}.difference(contents))
    if others:
        raise InputError(
            f"{folder}: contains files of another sheet ({', '.join(others)}); "
            "delete them or choose another folder"
        )


def _mould_names(moulds: Sequence[Mould]) -> list[str]:
    """``mould`` for one, else with the name of the first layer that is cast on it."""
    return ["mould"] if len(moulds) == 1 else [f"mould_{mould.layers[0]}" for mould in moulds]
