# SPDX-License-Identifier: MIT
"""Imports run one way, and each heavy library is imported in its own room only."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("geometry", "solver", "results", "compare", "cases")  # each may import those before it
RECORDS = {"solver.records", "solver.errors"}  # all that results may take from the solver
WITHOUT_DOLFINX = {"solver.records", "solver.errors", "solver.definitions"}
HEAVY = {
    "gmsh": {"geometry"},
    "dolfinx": {"solver"},
    "petsc4py": {"solver"},
    "slepc4py": {"solver"},
    "ufl": {"solver"},
    "basix": {"solver"},
    "ffcx": {"solver"},
    "matplotlib": {"results", "compare"},
    "pyvista": {"results", "compare"},
    "vtk": {"results", "compare"},
    "vtkmodules": {"results", "compare"},
    "pint": {"cases"},
    "pydantic": {"cases"},
}


def modules(room):
    return sorted(path for path in (ROOT / room).rglob("*.py"))


def imported(tree, *, always=False):
    """Names of imported modules; with ``always`` those at module level that are not for type checkers."""
    nodes = ast.walk(tree)
    if always:
        nodes = [node for node in tree.body if not isinstance(node, ast.If)]
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("room", ROOMS)
def test_imports_run_one_way(room):
    later = ROOMS[ROOMS.index(room) + 1 :]
    wrong = [
        (str(path.relative_to(ROOT)), name)
        for path in modules(room)
        for name in imported(ast.parse(path.read_text()))
        if name.split(".")[0] in later
    ]
    assert wrong == []


@pytest.mark.parametrize("room", ROOMS)
def test_heavy_libraries_stay_in_their_room(room):
    wrong = [
        (str(path.relative_to(ROOT)), name)
        for path in modules(room)
        for name in imported(ast.parse(path.read_text()))
        if room not in HEAVY.get(name.split(".")[0], {room})
    ]
    assert wrong == []


@pytest.mark.parametrize("room", ["results", "compare"])
def test_results_need_only_records_of_the_solver(room):
    taken = {
        name
        for path in modules(room)
        for name in imported(ast.parse(path.read_text()))
        if name.startswith("solver.") and name.count(".") == 1
    }
    assert taken <= RECORDS


def test_some_modules_of_the_solver_load_without_dolfinx():
    for name in WITHOUT_DOLFINX:
        tree = ast.parse((ROOT / f"{name.replace('.', '/')}.py").read_text())
        taken = set(imported(tree, always=True))
        ours = {found for found in taken if found.startswith("solver.") and found.count(".") == 1}
        assert ours <= WITHOUT_DOLFINX, name
        assert not {found.split(".")[0] for found in taken} & {
            "dolfinx",
            "ufl",
            "petsc4py",
            "dolfinx_solver",
        }, name


def test_the_rooms_are_there_to_be_looked_at():
    assert {room for room in ROOMS if modules(room)} >= {"geometry", "solver", "results", "cases"}
    assert "gmsh" in {name for path in modules("geometry") for name in imported(ast.parse(path.read_text()))}
