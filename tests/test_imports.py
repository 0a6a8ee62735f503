# SPDX-License-Identifier: MIT
"""Imports go in one direction without a circle, and each heavy library is imported only in its own folder."""

import ast
import functools
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = ("geometry", "solver", "results", "compare", "cases")  # each may import those before it

# The packages of the project that each package may import, besides the modules at the top of its folder.
MAY_IMPORT = {
    "geometry.shapes": (),
    "geometry.meshing": ("geometry.shapes",),
    "geometry.io": ("geometry.meshing",),
    "geometry.lattice": ("geometry.shapes", "geometry.meshing"),
    "geometry.lattice_mesh": ("geometry.shapes", "geometry.meshing", "geometry.lattice"),
    "geometry.printing": ("geometry.lattice",),
    "geometry.fabrication": ("geometry.shapes", "geometry.meshing"),
    "solver.model": ("solver.fluid",),
    "solver.constraints": ("solver.model",),
    "solver.energy": ("solver.model",),
    "solver.linalg": (),
    "solver.fluid": (),
    "solver.assembly": (
        "solver.fluid",
        "solver.model",
        "solver.constraints",
        "solver.energy",
        "solver.linalg",
    ),
    "solver.readout": ("solver.fluid", "solver.model", "solver.energy", "solver.assembly"),
    "solver.harmonics": (
        "solver.model",
        "solver.constraints",
        "solver.energy",
        "solver.linalg",
        "solver.assembly",
        "solver.readout",
    ),
    "solver.continuation": (
        "solver.fluid",
        "solver.model",
        "solver.constraints",
        "solver.energy",
        "solver.assembly",
        "solver.readout",
        "solver.harmonics",
    ),
    "solver.adaptivity": (
        "solver.model",
        "solver.energy",
        "solver.assembly",
        "solver.readout",
        "solver.continuation",
    ),
    "solver.homogenisation": (
        "solver.model",
        "solver.constraints",
        "solver.energy",
        "solver.assembly",
        "solver.continuation",
    ),
    "results.pages": (),
    "results.fields": (),
    "results.folder": ("results.fields",),
    "results.figures": ("results.fields", "results.folder"),
    "results.views": ("results.fields", "results.folder"),
    "results.show": ("results.fields", "results.folder"),
    "results.animation": (
        "results.fields",
        "results.folder",
        "results.figures",
        "results.views",
        "results.show",
    ),
    "results.lattice": ("results.fields", "results.figures", "results.views"),
    "results.verification": ("results.pages", "results.folder", "results.figures"),
    "results.evidence": ("results.folder", "results.verification"),
    "results.report": (
        "results.pages",
        "results.fields",
        "results.folder",
        "results.verification",
        "results.evidence",
        "results.figures",
        "results.views",
        "results.animation",
    ),
    "results.fabrication": (
        "results.pages",
        "results.fields",
        "results.folder",
        "results.figures",
        "results.report",
    ),
    "results.study": ("results.pages", "results.figures"),
    "compare.scans": (),
    "compare.invented": ("compare.scans",),
    "compare.alignment": ("compare.scans",),
    "compare.deviation": ("compare.scans", "compare.alignment"),
    "compare.comparison": ("compare.scans", "compare.invented", "compare.alignment", "compare.deviation"),
    "compare.repeatability": (
        "compare.scans",
        "compare.alignment",
        "compare.deviation",
        "compare.comparison",
    ),
    "compare.page": ("compare.scans", "compare.deviation", "compare.comparison", "compare.repeatability"),
    "compare.measured": (
        "compare.scans",
        "compare.invented",
        "compare.alignment",
        "compare.comparison",
        "compare.page",
    ),
    "cases.schema": (),
    "cases.convert": ("cases.schema",),
    "cases.validate": ("cases.schema", "cases.convert"),
    "cases.adapt": ("cases.schema", "cases.convert", "cases.validate"),
    "cases.run": ("cases.schema", "cases.convert", "cases.validate", "cases.adapt"),
    "cases.studies": ("cases.schema", "cases.convert", "cases.validate", "cases.run"),
    "cases.verify": ("cases.schema", "cases.convert", "cases.validate", "cases.run", "cases.studies"),
    "cases.selfcheck": ("cases.convert", "cases.validate", "cases.run"),
    "cases.cluster": ("cases.schema", "cases.validate", "cases.run", "cases.studies"),
    "cases.cli": (
        "cases.schema",
        "cases.convert",
        "cases.validate",
        "cases.adapt",
        "cases.run",
        "cases.studies",
        "cases.cluster",
        "cases.verify",
        "cases.selfcheck",
    ),
    "cases.library": (),
}
OF_THE_SOLVER = {"solver", "solver.model"}  # for results and compare: records without DOLFINx
HEAVY = {
    "gmsh": ("geometry",),
    "matplotlib": ("results", "compare"),
    "pyvista": ("results", "compare"),
    "vtk": ("results", "compare"),
    "vtkmodules": ("results", "compare"),
    "trimesh": ("compare",),
    "igl": ("compare",),
    "ezdxf": ("results",),
    "pint": ("cases",),
    "pydantic": ("cases",),
}
BINDINGS = {"basix", "dolfinx", "dolfinx_solver", "ffcx", "mpi4py", "petsc4py", "slepc4py", "ufl"}
WITH_BINDINGS = {  # of the solver
    "energy",
    "linalg",
    "assembly",
    "readout",
    "harmonics",
    "continuation",
    "adaptivity",
    "homogenisation",
}


def name_of(path):
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


MODULES = {name_of(path): path for folder in FOLDERS for path in sorted((ROOT / folder).rglob("*.py"))}
PACKAGES = {name for name, path in MODULES.items() if path.name == "__init__.py"}


@functools.cache  # after the collection, which every worker of pytest repeats
def tree(name):
    return ast.parse(MODULES[name].read_text())


def imported(name, *, always=False):
    """Yield the imports of a module; with ``always`` only those that the interpreter always executes."""
    nodes = ast.walk(tree(name))
    if always:
        nodes = [node for node in tree(name).body if not isinstance(node, ast.If)]
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def ours(name, *, always=False):
    """Return the modules of the project that a module imports, without the leading ``annelid``."""
    names = {target.removeprefix("annelid.") for target in imported(name, always=always)}
    return {target for target in names if target in MODULES and target not in (name, *PACKAGES)}


def package_of(name):
    return name if name in PACKAGES else name.rpartition(".")[0]


def test_project_modules_are_imported_by_installed_name():
    wrong = [
        (name, target) for name in MODULES for target in imported(name) if target.split(".")[0] in FOLDERS
    ]
    assert wrong == []
    assert any(ours(name) for name in MODULES)


def circle(graph):
    """Nodes of a circle of a graph; none if it has no circle."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return error.args[1]
    return []


def test_modules_do_not_import_each_other_in_a_circle():
    assert circle({name: ours(name) for name in MODULES}) == []


@pytest.mark.parametrize("package", sorted(PACKAGES - set(FOLDERS)))
def test_packages_import_only_allowed_packages(package):
    folder = package.split(".")[0]
    allowed = {package, folder, *MAY_IMPORT[package]}
    taken = {package_of(target) for name in MODULES if package_of(name) == package for target in ours(name)}
    assert {other for other in taken if other.split(".")[0] == folder} <= allowed


def test_the_allowed_imports_have_no_circle():
    assert set(MAY_IMPORT) == PACKAGES - set(FOLDERS)
    assert circle(MAY_IMPORT) == []
    assert circle({"a": ["b"], "b": ["c"], "c": ["a"]}) != []


@pytest.mark.parametrize("folder", FOLDERS)
def test_top_modules_import_none_of_their_packages(folder):
    wrong = [
        (name, target)
        for name in MODULES
        if package_of(name) == folder
        for target in ours(name)
        if target.split(".")[0] == folder and package_of(target) != folder
    ]
    assert wrong == []


@pytest.mark.parametrize("folder", FOLDERS)
def test_folders_import_only_earlier_folders(folder):
    later = FOLDERS[FOLDERS.index(folder) + 1 :]
    wrong = [
        (name, target)
        for name in MODULES
        if name.split(".")[0] == folder
        for target in ours(name)
        if target.split(".")[0] in later
    ]
    assert wrong == []


@pytest.mark.parametrize("library", HEAVY)
def test_heavy_libraries_are_imported_only_in_their_folders(library):
    takers = {name for name in MODULES for target in imported(name) if target.split(".")[0] == library}
    assert {name.split(".")[0] for name in takers} <= set(HEAVY[library])
    assert takers or library in ("vtk", "vtkmodules")


def test_bindings_are_imported_only_in_solver_packages():
    for name in MODULES:
        parts = name.split(".")
        taken = {target.split(".")[0] for target in imported(name)} & BINDINGS
        heavy = name == "solver.mpi" or (parts[0] == "solver" and parts[1:2] and parts[1] in WITH_BINDINGS)
        assert heavy or not taken, name
        orders = name == "solver.mpi" or (heavy and name in PACKAGES)
        assert ("dolfinx_solver" in taken) == bool(orders), name


@pytest.mark.parametrize("folder", ["results", "compare"])
def test_results_import_only_records_of_the_solver(folder):
    taken = {package_of(target) for name in MODULES if name.split(".")[0] == folder for target in ours(name)}
    assert {package for package in taken if package.split(".")[0] == "solver"} <= OF_THE_SOLVER


def test_test_modules_have_different_names():
    names = [path.name for path in (ROOT / "tests").rglob("test_*.py")]
    assert sorted(set(names)) == sorted(names)  # pytest imports them by name alone
