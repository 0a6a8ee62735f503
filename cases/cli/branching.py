# SPDX-License-Identifier: MIT
"""The command that writes the 3-D case of a branch with waves around the axis."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from annelid.cases.cli.argument_types import output_file, quantity
from annelid.cases.cli.subcommand import Subparsers, add_command
from annelid.cases.run.branch import BranchPoint, branch_case
from annelid.cases.schema.imperfection import ImperfectionFileTable
from annelid.cases.validate.reading import case_from_tables, read_case
from annelid.cases.validate.resolved import to_toml
from annelid.cases.validate.toml_files import tables_of
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.geometry.meshing.imperfection import MODE_COLUMNS
from annelid.geometry.writing import replacing
from annelid.solver.model.harmonic_words import NOT_JUDGED, waves_of

if TYPE_CHECKING:
    from annelid.cases.schema.case import Case
    from annelid.results.folder.run_record import RunRecord

__all__ = ["add_branch_command"]

_MOTION = "displacement [mm]"
_DIGITS = 9  # of amplitudes; smaller ones are round-off
_EXAMPLES = """\
examples:
  annelid branch runs/my_cuff-0123abcd oval.toml --size "5 um"
  annelid branch runs/my_cuff-0123abcd folded.toml --size "2 um" --state 14 --arc "3 mm"

A run of an axisymmetric case locates where the part bends sideways, goes oval or folds, and ends there. This
command writes the case of a 3-D sector of half a wave, drawn with a small deviation along the mode, and the
file of the mode beside it. Its path goes round the critical point and on along the branch. Look at the case
before you run it: it takes much longer than the axisymmetric one.
"""


def add_branch_command(subparsers: Subparsers) -> None:
    """Add ``annelid branch``."""
    text = "write the 3-D case that follows a part which bends sideways, goes oval or folds"
    command = add_command(subparsers, "branch", _branch_command, text, _EXAMPLES)
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder of an axisymmetric case")
    command.add_argument("case", type=output_file, metavar="CASE", help="the new case file, .toml")
    length = quantity("mm", "a length", "5 um", above=0)
    text = "largest deviation of the drawn part along the mode, at most the thickness of its wall"
    command.add_argument("--size", type=length, required=True, metavar="LENGTH", help=text)
    text = "number of the critical state (default: the first one with waves around the axis)"
    command.add_argument("--state", type=int, metavar="NUMBER", help=text)
    text = (
        "length of the path in the stage of the critical state, as root mean square motion (default: the "
        "motion up to there, and half the radius over the number of waves)"
    )
    command.add_argument("--arc", type=length, metavar="LENGTH", help=text)


def _branch_command(options: argparse.Namespace) -> int:
    """Write the case and its mode.

    Raises:
        InputError: The run has no such mode, or the case cannot be written as a 3-D one.
    """
    from annelid.cases.run.environment import require_libraries
    from annelid.results.folder.folder_files import CASE
    from annelid.results.folder.run_record import open_run

    path, mode = options.case, options.case.with_name(f"{options.case.stem}_mode.csv")
    if path.suffix != ".toml":
        raise InputError(f'CASE: "{path}" must end in .toml', key="CASE")
    for file in filter(Path.exists, (path, mode)):
        raise InputError(f"{file}: exists already; choose another name, or remove it", key="CASE")
    require_libraries()
    run = open_run(options.rundir)
    state = _critical_state(run, options.state)
    original = read_case(run.path / CASE)
    point = _branch_point(run, original, state)
    case = _checked(branch_case(original, point, size=options.size, arc=options.arc), path)
    _write(path, case, mode, point, run.path)
    kind = run.table.critical[run.table["state"].tolist().index(state)]
    print(f"{kind}, stage '{point.stage}', state {state}")
    elements = round(case.mesh.around * case.mesh.sector / 360)
    print(f"a sector of {case.mesh.sector:.6g} deg, {elements} elements wide")
    print(f"written: {path}", f"written: {mode}", sep="\n")
    return 0


def _critical_state(run: "RunRecord", asked: int | None) -> int:
    """The number of the critical state with waves around the axis."""
    if run.body.model != "axisymmetric":
        text = (
            "is a run of a 3-D model, which follows a branch itself with path.beyond_instability = 'branch': "
            "name a run of an axisymmetric model"
        )
        raise InputError(f"{run.path}: {text}", key="RUNDIR")
    found = [point.state for point in run.critical_points if waves_of(point.kind)]
    remarks = () if run.outcome is None else run.outcome.remarks
    if not found and (refused := [remark for remark in remarks if remark.startswith(NOT_JUDGED)]):
        raise InputError(f"{run.path}: {refused[0]}", key="RUNDIR")
    if not found:
        text = "has no critical state with waves around the axis, so no mode that a branch could follow"
        remedy = "raise the loads beyond the one at which the part becomes unstable, with path.harmonics"
        raise InputError(f"{run.path}: {text}: {remedy} = 'stage ends' or 'all'", key="RUNDIR")
    if asked is None:
        return found[0]
    if asked not in found:
        numbers = ", ".join(map(str, found))
        text = f"state {asked} is not critical with waves around the axis; allowed: {numbers}"
        raise InputError(f"--state: {text}", key="--state", value=asked)
    return asked


def _branch_point(run: "RunRecord", case: "Case", state: int) -> BranchPoint:
    """The mode of a critical state, and the motion of its stage up to there."""
    from annelid.results.fields.state_fields import MODE, FieldGrid
    from annelid.results.fields.vtk_files import read_point_arrays

    table, body = run.table, run.body
    first = np.unique(FieldGrid(body).nodes, return_index=True)[1]  # grid point of each node

    def at_nodes(number: int, name: str) -> FloatArray:
        arrays = read_point_arrays(run.field_file(number))
        if name not in arrays:
            raise InputError(f"state {number}: its field file has no {name}", key="--state", value=number)
        return np.asarray(arrays[name], dtype=np.float64)[first]

    mode = at_nodes(state, MODE)
    row = table["state"].tolist().index(state)
    stage = table.stages[row]
    before = [int(n) for n, name in zip(table["state"][:row], table.stages, strict=False) if name != stage]
    motion = at_nodes(state, _MOTION)
    if before and before[-1] in run.field_files:
        motion = motion - at_nodes(before[-1], _MOTION)
    symmetric = [s.region for s in case.supports if s.hold == "symmetric"]
    return BranchPoint(
        waves=waves_of(table.critical[row]),
        stage=stage,
        motion=float(np.sqrt((motion**2).sum(axis=1).mean())),
        places=body.points,
        mode=np.round(mode / np.abs(mode).max(), _DIGITS),
        planes={region: body.surface_nodes(region) for region in symmetric},
    )


def _checked(case: "Case", path: Path) -> "Case":
    """The case as it is read from its file.

    Raises:
        InputError: A 3-D model cannot have one of its supports, loads or limits.
    """
    return case_from_tables(tables_of(to_toml(case), str(path)), source=f"{path} (not written)")


def _write(path: Path, case: "Case", mode_path: Path, point: BranchPoint, run: Path) -> None:
    """Write the case and its mode, both or none."""
    assert case.imperfection is not None
    waves, size = case.imperfection.waves, case.imperfection.size
    table = ImperfectionFileTable.model_construct(kind="file", path=mode_path.name, waves=waves, size=size)
    head = f"# Written by annelid branch from the run {run.name}.\n\n"
    rows = np.column_stack([point.places, point.mode])
    lines = [",".join(MODE_COLUMNS), *(",".join(f"{value:.12g}" for value in row) for row in rows)]
    with replacing(path) as case_part, replacing(mode_path) as mode_part:
        mode_part.write_text("\n".join(lines) + "\n")
        case_part.write_text(head + to_toml(case.model_copy(update={"imperfection": table})))
