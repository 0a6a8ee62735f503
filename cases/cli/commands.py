# SPDX-License-Identifier: MIT
"""What each command of ``annelid`` does; heavy libraries are imported only where they are used."""

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from annelid.geometry.errors import InputError

if TYPE_CHECKING:
    from annelid.cases.schema.case import Case

__all__ = [
    "cell",
    "cells",
    "check",
    "library",
    "mesh",
    "print_lattice",
    "report",
    "run",
    "schema",
    "study",
    "view",
]

FAILED = 1  # no equilibrium at all


def check(options: argparse.Namespace) -> int:
    """Validate a case; print it resolved, with its size and cost."""
    from annelid.cases.convert.body import body_of
    from annelid.cases.convert.cost import cost_of
    from annelid.cases.convert.model import model_of
    from annelid.cases.convert.path import stages_of
    from annelid.cases.run.environment import needs_libraries
    from annelid.cases.validate.requirements import known_quantities
    from annelid.cases.validate.resolved import case_hash, to_toml
    from annelid.geometry.meshing.quality import quality
    from annelid.solver.assembly.stage_checks import check_stages
    from annelid.solver.model.quantities import quantity_of

    case = _case(options)
    needs_libraries()
    body = body_of(case)
    check_stages(model_of(case, body), stages_of(case))
    print(to_toml(case))
    known = {name: quantity_of(name).unit for name in known_quantities(case)}
    names = ", ".join(name if unit == "1" else f"{name} [{unit}]" for name, unit in known.items())
    lines = [
        f"case hash {case_hash(case)}",
        *quality(body).table().splitlines(),
        *cost_of(case, body).lines(),
        f"reports: {names}",
    ]
    print("\n".join(f"# {line}" for line in lines))
    return 0


def run(options: argparse.Namespace) -> int:
    """Run a case and make its report."""
    from annelid.cases.run.environment import needs_libraries, prepare
    from annelid.cases.run.run import default_folder, is_finished, refuse_folder, run_case

    prepare()
    case = _case(options)
    folder = options.rundir or default_folder(Path(options.case).stem, case)
    refuse_folder(folder, case)
    if is_finished(folder, case) and not options.again:
        print(f"{folder} holds the finished run of this case; --again runs it again")
        return _print_outcome(folder, report=not options.no_report)
    needs_libraries()
    if options.expect_ranks is None:
        print(f"running {case.title}\nin {folder}", file=sys.stderr)
    if options.ranks > 1:
        from annelid.cases.run.ranks import start_ranks

        return start_ranks(options.ranks, _arguments(options, folder))
    result = run_case(case, folder, again=options.again, expected_ranks=options.expect_ranks)
    if result is None:
        return 0
    _print_outcome(folder, report=not options.no_report)
    return FAILED if result.states == 0 else 0


def mesh(options: argparse.Namespace) -> int:
    """Write the mesh of a case alone.

    Raises:
        InputError: The file is to end in something else, or the case or its body is refused.
    """
    from annelid.cases.convert.body import body_of
    from annelid.cases.run.environment import needs_libraries
    from annelid.geometry.io.files import write_mesh
    from annelid.geometry.meshing.quality import quality

    case = _case(options)
    needs_libraries()
    out = options.out or Path(f"{Path(options.case).stem}.msh")
    if out.suffix not in (".msh", ".vtu"):
        raise InputError(f'--out: "{out}" must end in .msh or .vtu', key="--out")
    body = body_of(case)
    write_mesh(body, out)
    print(quality(body).table())
    print(f"written: {out}")
    return 0


def print_lattice(options: argparse.Namespace) -> int:
    """Write what a printer needs for the lattice of a case."""
    from annelid.cases.cli.printing import describe_print, print_case
    from annelid.cases.run.environment import needs_libraries

    case = _case(options)
    needs_libraries()
    path, clearance, files = print_case(case, options.out or Path("prints") / Path(options.case).stem)
    print("\n".join([*describe_print(path, clearance), *(f"written: {file}" for file in files)]))
    return 0


def cells(options: argparse.Namespace) -> int:
    """List the kinds of lattice cells, and draw them."""
    from annelid.cases.cli.lattice_cells import cell_lines
    from annelid.geometry.lattice.catalogue import EXAMPLES

    print("\n".join(cell_lines()))
    if options.image:
        from annelid.results.lattice.pictures import cells_figure

        print(f"written: {cells_figure(EXAMPLES, options.image)}")
    return 0


def cell(options: argparse.Namespace) -> int:
    """Find the effective properties of a case's lattice cell."""
    from annelid.cases.convert.unit_cell import write_cell_of
    from annelid.cases.run.environment import needs_libraries, prepare

    prepare()
    case = _case(options)
    needs_libraries()
    folder = options.out or Path(f"{Path(options.case).stem}-cell")
    print("\n".join(write_cell_of(case, folder, to=options.to, steps=options.steps)))
    return 0


def report(options: argparse.Namespace) -> int:
    """Make the report of a Run folder again."""
    from annelid.cases.run.environment import needs_libraries
    from annelid.results.report.report import write_report

    needs_libraries()
    print(write_report(options.rundir))
    return 0


def view(options: argparse.Namespace) -> int:
    """Show a state of a run in 3-D, in a window or as a picture."""
    from annelid.cases.run.environment import needs_libraries
    from annelid.results.views.state_pictures import show_window, write_picture

    needs_libraries()
    if options.image:
        print(write_picture(options.rundir, options.image, field=options.field, state=options.state))
    else:
        show_window(options.rundir, field=options.field, state=options.state)
    return 0


def schema(options: argparse.Namespace) -> int:
    """Print the JSON Schema of case files."""
    from annelid.cases.schema.case import json_schema

    print(json.dumps(json_schema(), indent=2))
    return 0


def study(options: argparse.Namespace) -> int:
    """Run a parameter study."""
    from annelid.cases.cli.study import study_command

    return study_command(options)


def library(options: argparse.Namespace) -> int:
    """List the cases that come with the program, or print one."""
    import tomllib

    from annelid.cases.validate.reading import companions, find_case, library_cases

    if options.name:
        path = find_case(options.name)
        print(path.read_text(), end="")
        for companion in companions(path):
            print(f"it reads {companion.name}, to be copied beside it: {companion}", file=sys.stderr)
        return 0
    cases = library_cases()
    width = max(map(len, cases))
    for name, path in cases.items():
        print(f"{name:<{width}}  {tomllib.loads(path.read_text())['title']}")
    print("\nThe scenarios are invented. To run one: annelid run NAME; to see its file: annelid library NAME")
    return 0


def _case(options: argparse.Namespace) -> "Case":
    from annelid.cases.validate.reading import find_case, read_case
    from annelid.cases.validate.resolved import coarsened

    case = read_case(find_case(options.case))
    return case if options.coarse == 1 else coarsened(case, options.coarse)


def _arguments(options: argparse.Namespace, folder: Path) -> list[str]:
    """The command line for every rank of a run on several."""
    arguments = ["run", str(options.case), str(folder), "--coarse", str(options.coarse)]
    flags = {"--again": options.again, "--no-report": options.no_report, "--debug": options.debug}
    return arguments + [flag for flag, given in flags.items() if given]


def _print_outcome(folder: Path, *, report: bool = False) -> int:
    """Print how the run ended and its requirements; write the report if requested, and print its path."""
    from annelid.results.folder.folder_files import REPORT
    from annelid.results.folder.run_record import open_run
    from annelid.solver.model.quantities import quantity_of

    record = open_run(folder)
    if record.outcome is not None:
        ahead = [f"stability margin, {margin.text}" for margin in record.outcome.margins]
        print(record.outcome.text, *record.outcome.remarks, *ahead, sep="\n")
    units = record.description.units
    for v in record.verdicts:
        value, limit = (units.show(quantity_of(v.quantity).kind, number) for number in (v.value, v.limit))
        value = f"at least {value}" if v.is_bound else value
        print(
            f"  {'met    ' if v.met else 'NOT MET'}  {v.quantity}: {value} ({v.condition} {limit}, {v.where})"
        )
    sys.stdout.flush()
    made = folder / REPORT
    if report and not made.exists():
        from annelid.results.report.report import write_report

        print("making the report", file=sys.stderr)
        write_report(folder)
    print(f"report: {made}" if made.exists() else f"run folder: {folder}")
    return 0
