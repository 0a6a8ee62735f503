# SPDX-License-Identifier: MIT
"""The commands of ``annelid``; slow libraries are imported only by the commands that use them."""

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from annelid.cases.run.environment import require_libraries
from annelid.cases.run.minute_lines import MinuteLines
from annelid.geometry.errors import InputError

if TYPE_CHECKING:
    from annelid.cases.schema.case import Case

__all__ = [
    "REPORTING",
    "animate_command",
    "cell_command",
    "cells_command",
    "check_command",
    "given_case",
    "library_command",
    "mesh_command",
    "print_command",
    "report_command",
    "schema_command",
    "sheet_command",
    "study_command",
    "view_command",
    "with_chosen_mesh",
]

REPORTING = "writing the report"


def check_command(options: argparse.Namespace) -> int:
    """Check a case; print it resolved, with its mesh quality, number of unknowns and expected run time."""
    from annelid.cases.convert.plausibility import remarks_on
    from annelid.cases.run.check import check_case
    from annelid.cases.validate.resolved import case_hash, resolved_text
    from annelid.geometry.meshing.quality import quality
    from annelid.solver.model.quantities import quantity_of

    case = given_case(options)
    with MinuteLines("meshing the part"):
        checked = check_case(case)
    print(resolved_text(case))
    measured = quality(checked.body)
    if case.mesh.accuracy is not None:
        allowed = f"{100 * case.mesh.accuracy:g} %"
        print(f"# the run chooses the mesh for an accuracy of {allowed}; this is the first one")
    known = {name: quantity_of(name).unit for name in checked.quantities}
    names = ", ".join(name if unit == "1" else f"{name} [{unit}]" for name, unit in known.items())
    lines = [
        f"case hash {case_hash(case)}",
        *measured.table().splitlines(),
        *checked.cost.lines(),
        *(f"remark: {remark}" for remark in (*remarks_on(case, measured), *checked.body.notes.values())),
        f"reported quantities: {names}",
    ]
    print("\n".join(f"# {line}" for line in lines))
    return 0


def mesh_command(options: argparse.Namespace) -> int:
    """Write only the mesh of a case.

    Raises:
        InputError: The file name has another suffix, or the case is not valid or cannot be meshed.
    """
    from annelid.cases.convert.body import body_of
    from annelid.geometry.io.files import write_mesh
    from annelid.geometry.meshing.quality import quality

    case = with_chosen_mesh(given_case(options))
    require_libraries()
    out = options.out or Path(f"{Path(options.case).stem}.msh")
    if out.suffix not in (".msh", ".vtu"):
        raise InputError(f'--out: "{out}" must end in .msh or .vtu', key="--out")
    with MinuteLines("meshing the part"):
        body = body_of(case)
    write_mesh(body, out)
    print(quality(body).table())
    print(f"written: {out}")
    return 0


def print_command(options: argparse.Namespace) -> int:
    """Write the files for printing the lattice of a case."""
    from annelid.cases.cli.printing import describe_print, write_print_of

    case = given_case(options)
    require_libraries()
    folder = options.out or Path("prints") / Path(options.case).stem
    with MinuteLines("placing the lattice and planning its tool path"):
        path, clearance, files = write_print_of(case, folder)
    print("\n".join([*describe_print(path, clearance), *(f"written: {file}" for file in files)]))
    return 0


def cells_command(options: argparse.Namespace) -> int:
    """List the kinds of lattice cells, and draw them if requested."""
    from annelid.cases.cli.lattice_cells import cell_lines
    from annelid.geometry.lattice.catalogue import EXAMPLES

    print("\n".join(cell_lines()))
    if options.image:
        from annelid.results.lattice.cells_figure import cells_figure

        print(f"written: {cells_figure(EXAMPLES, options.image)}")
    return 0


def cell_command(options: argparse.Namespace) -> int:
    """Compute the effective properties of the lattice cell of a case."""
    from annelid.cases.convert.lattice_properties import write_lattice_properties

    case = given_case(options)
    require_libraries()
    folder = options.out or Path(f"{Path(options.case).stem}-cell")
    with MinuteLines("computing the properties of the cell"):
        lines = write_lattice_properties(case, folder, to=options.to, steps=options.steps)
    print("\n".join(lines))
    return 0


def report_command(options: argparse.Namespace) -> int:
    """Write the report of a Run folder and its files for 3-D viewers again."""
    from annelid.results.report.report import write_report
    from annelid.results.show.show_files import write_show

    require_libraries()
    with MinuteLines(REPORTING):
        report = write_report(options.rundir)
        shown = write_show(options.rundir)
    print(report, *filter(None, [shown]), sep="\n")
    return 0


def sheet_command(options: argparse.Namespace) -> int:
    """Write the fabrication sheet of a case or a run."""
    from annelid.cases.cli.fabrication import write_sheet_of

    require_libraries()
    with MinuteLines("laying out blanks, masks and moulds"):
        files = write_sheet_of(options.source, options.run, options.out)
    print("\n".join(f"written: {file}" for file in files))
    return 0


def view_command(options: argparse.Namespace) -> int:
    """Show a state of a run in 3-D, in a window or as a picture."""
    from annelid.results.views.state_pictures import show_window, write_picture

    require_libraries()
    if options.image:
        with MinuteLines("drawing"):
            picture = write_picture(options.rundir, options.image, field=options.field, state=options.state)
        print(picture)
    else:
        show_window(options.rundir, field=options.field, state=options.state)
    return 0


def animate_command(options: argparse.Namespace) -> int:
    """Animate a run in which time passes."""
    from annelid.results.animation.animate import write_animation

    require_libraries()
    with MinuteLines("drawing the frames"):
        file, made = write_animation(
            options.rundir,
            options.out,
            view=options.view,
            cycle=options.cycle,
            field=options.field,
            frames=options.frames,
            angle=options.angle,
        )
    print(
        f"{len(made.timing.times)} frames, {made.timing.speed_text}, coloured by {made.label}", file, sep="\n"
    )
    return 0


def schema_command(options: argparse.Namespace) -> int:
    """Print the JSON Schema of case files."""
    from annelid.cases.schema.case import json_schema

    print(json.dumps(json_schema(), indent=2))
    return 0


def study_command(options: argparse.Namespace) -> int:
    """Run a parameter study."""
    from annelid.cases.cli.study import run_study_command

    return run_study_command(options)


def library_command(options: argparse.Namespace) -> int:
    """List the library cases, or print the file of one of them."""
    import tomllib

    from annelid.cases.validate.reading import companion_files, find_case, library_cases

    if options.name:
        path = find_case(options.name)
        print(path.read_text(), end="")
        for companion in companion_files(path):
            text = f"this case reads {companion.name}; copy that file to the folder of the case: {companion}"
            print(text, file=sys.stderr)
        return 0
    cases = library_cases()
    width = max(map(len, cases))
    for name, path in cases.items():
        print(f"{name:<{width}}  {tomllib.loads(path.read_text())['title']}")
    print("\nThe scenarios are invented. Run a case: annelid run NAME. Print its file: annelid library NAME.")
    return 0


def with_chosen_mesh(case: "Case") -> "Case":
    """Choose the mesh of a case that has an accuracy in place of sizes, and print each mesh on the way."""
    if case.mesh.accuracy is None:
        return case
    from annelid.cases.adapt.adapting import adapted

    require_libraries()
    with MinuteLines("choosing the mesh"):
        chosen, adaptation = adapted(case, say=lambda line: print(line, file=sys.stderr, flush=True))
    print(adaptation.text, *adaptation.notes, sep="\n", file=sys.stderr)
    return chosen


def given_case(options: argparse.Namespace) -> "Case":
    """Read the case that a command names, on a coarser mesh if requested."""
    from annelid.cases.validate.reading import find_case, read_case
    from annelid.cases.validate.resolved import coarsened

    case = read_case(find_case(options.case))
    return case if options.coarse == 1 else coarsened(case, options.coarse)
