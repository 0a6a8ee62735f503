# SPDX-License-Identifier: MIT
"""Writing the fabrication sheet of a case, or of a run with its computed pressures and charges."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from annelid.cases.cli.printing import describe_print, planned_print
from annelid.cases.convert.description import description_of
from annelid.cases.convert.display import display_units_of
from annelid.cases.convert.fabrication import fabrication_plan
from annelid.cases.convert.shape import shape_of
from annelid.cases.schema.case import Case
from annelid.cases.validate.reading import find_case, read_case
from annelid.cases.validate.resolved import case_hash
from annelid.geometry.errors import InputError
from annelid.results.folder.folder_files import MESHED_HASH

if TYPE_CHECKING:
    from annelid.results.folder.run_record import RunRecord

__all__ = ["write_sheet_of"]


def write_sheet_of(source: str, run_folder: Path | None, folder: Path | None) -> list[Path]:
    """Write the fabrication sheet.

    Args:
        source: A case file, the name of a library case, or a Run folder.
        run_folder: A run of the case, if the source is a case.
        folder: Where to write; by default ``fabrication`` in the Run folder, or ``sheets/NAME``.

    Raises:
        InputError: There is no such case or run, or the run is one of another case.
    """
    from annelid.results.fabrication.sheet import write_fabrication_sheet
    from annelid.results.folder.folder_files import CASE
    from annelid.results.folder.run_record import open_run

    if run_folder is None and Path(source).is_dir():
        run_folder, path = Path(source), Path(source) / CASE
        default = run_folder / "fabrication"
    else:
        path = find_case(source)
        default = Path("sheets") / path.stem
    run = None if run_folder is None else open_run(run_folder)  # a damaged run is reported first
    case = read_case(path)
    if run is not None:
        _check_run(case, run)
    return write_fabrication_sheet(
        fabrication_plan(case),
        folder or default,
        title=case.title,
        notes=case.notes,
        units=display_units_of(case),
        run=run,
        making=[
            sentence
            for statement in description_of(case).statements
            if statement.heading == "Making"
            for sentence in statement.sentences
        ],
        printing=list(_print_lines(case)),
        other=list(_other_parts(case)),
    )


def _check_run(case: Case, run: "RunRecord") -> None:
    if case_hash(case) not in (run.provenance["case_hash"], run.provenance.get(MESHED_HASH)):
        raise InputError(
            f"{run.path}: is a run of another case; name a run of this one, or leave out --run", key="--run"
        )


def _print_lines(case: Case) -> Iterator[str]:
    """Describe the print of the lattice, or state why it cannot be printed."""
    if case.lattice is None:
        return
    try:
        yield from describe_print(*planned_print(case))
    except InputError as error:
        yield f"the lattice cannot be printed as given: {error.message}"


def _other_parts(case: Case) -> Iterator[str]:
    """Describe the parts that are no layers."""
    units, shape = display_units_of(case), shape_of(case)
    materials = {part.region: part.material for part in case.parts}
    for region, volume in shape.extra_volumes().items():
        yield f"{region.capitalize()}: {units.show('volume', volume)} of {materials.get(region, 'rubber')}."
    for part in case.parts:
        if part.electrode_film is not None:
            share = 100 * part.electrode_film.volume_fraction
            yield f"Electrode films: {share:.3g} % of the volume of {part.region}."
    if case.electrodes and all(part.electrode_film is None for part in case.parts):
        yield "The case gives no thickness and no material of the electrode films."
