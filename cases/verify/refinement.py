# SPDX-License-Identifier: MIT
"""The runs of a verification: finer meshes, smaller steps, a tighter tolerance, a higher quadrature degree.

Element sizes and numbers of elements all change together by factors of two, so that every direction is
refined alike. Steps change on the mesh of the case, so that both errors are seen apart.
"""

from collections.abc import Iterator
from typing import NamedTuple

from annelid.cases.convert.flow import most_sections
from annelid.cases.convert.lattice import lattice_of
from annelid.cases.convert.path import seek_limit_of
from annelid.cases.convert.shape import edge_range, shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.units import show
from annelid.cases.studies.values import Value
from annelid.geometry.errors import InputError
from annelid.solver.model.stepping import Tolerance

__all__ = ["CASE", "MESH", "QUADRATURE", "STEPS", "TOLERANCE", "RefinedRun", "refined_runs"]

CASE, MESH, STEPS, TOLERANCE, QUADRATURE = "case", "mesh", "steps", "tolerance", "quadrature"
FINER = {"axisymmetric": 2}
"""How often the mesh is halved by default; once in 3-D, where each time costs ten times as much or more."""
_FINER_STEPS = 2
_TIGHTER, _HIGHER_DEGREE = 0.1, 8
_MOST_FINER = 5


class RefinedRun(NamedTuple):
    """A run of a verification.

    Attributes:
        name: Name, such as ``"mesh 1/2"``.
        family: What differs from the case.
        factor: Size of elements or steps relative to those of the case.
        keys: Values of keys by path, as a case file writes them.
    """

    name: str
    family: str
    factor: float
    keys: dict[str, Value]


def refined_runs(case: Case, *, finer: int | None = None) -> list[RefinedRun]:
    """Return the runs of a verification, with that of the case itself first.

    Args:
        case: A resolved case.
        finer: How often the mesh is halved; ``None`` for twice, in 3-D once.

    Raises:
        InputError: ``finer`` is out of range.
    """
    count = FINER.get(case.mesh.model, 1) if finer is None else finer
    if not 1 <= count <= _MOST_FINER:
        raise InputError(f"--finer: must be between 1 and {_MOST_FINER}, got {count}", key="--finer")
    found = [RefinedRun(CASE, CASE, 1.0, _keys(case))]
    if _can_be_coarser(case):
        found.append(_on_mesh(case, -1))
    found += [_on_mesh(case, level) for level in range(1, count + 1)]
    found += [
        RefinedRun(f"steps 1/{2**level}", STEPS, 0.5**level, _keys(case, steps=2**level))
        for level in range(1, _FINER_STEPS + 1)
    ]
    tighter = _TIGHTER * (case.path.tolerance or Tolerance.force)
    found.append(RefinedRun("tolerance 1/10", TOLERANCE, _TIGHTER, _keys(case) | {"path.tolerance": tighter}))
    degree = max(_HIGHER_DEGREE, (case.mesh.quadrature_degree or 0) + 2)
    keys = _keys(case) | {"mesh.quadrature_degree": degree}
    return [*found, RefinedRun(f"quadrature degree {degree}", QUADRATURE, 1.0, keys)]


def _on_mesh(case: Case, level: int) -> RefinedRun:
    """The run on a mesh that is halved ``level`` times; -1 for elements of twice the size."""
    name = f"mesh 1/{2**level}" if level > 0 else "mesh 2"
    return RefinedRun(name, MESH, 2.0**-level, _keys(case, level=level))


def _keys(case: Case, *, level: int = 0, steps: int = 1) -> dict[str, Value]:
    """All keys of sizes and steps, also those that stay, so that all runs have the same keys."""
    keys = {f"mesh.{key}": value for key, value in _mesh_keys(case, level)}
    if case.fluid is not None and case.fluid.sections is not None:
        keys["fluid.sections"] = _sections(case, level)
    for number, stage in enumerate(case.stages, start=1):
        for key in ("steps", "steps_per_period"):
            count = getattr(stage, key)
            if count is not None:
                keys[f"stages.#{number}.{key}"] = count * steps
    if case.making is not None:
        keys["making.steps"] = case.making.steps * steps
    keys["path.smallest_step"] = case.path.smallest_step / steps
    keys["path.seek_limit"] = seek_limit_of(case)
    keys["path.tolerance"] = case.path.tolerance or Tolerance.force
    keys["mesh.quadrature_degree"] = case.mesh.quadrature_degree or 5
    return keys


def _mesh_keys(case: Case, level: int) -> Iterator[tuple[str, Value]]:
    """Element sizes and numbers of elements, also those that have defaults."""
    mesh, factor = case.mesh, 2.0**-level
    if mesh.edges_along or mesh.edges_through:
        yield "divide", round(mesh.pieces / factor)
        return
    yield "along", show(mesh.size * factor, "mm")
    yield "through", round(mesh.elements / factor)
    if mesh.across_core is not None:
        yield "across_core", show(mesh.across_core * factor, "mm")
    if case.lattice is not None:
        width = min(strut.width for strut in lattice_of(case).pattern.struts)
        yield "on_struts", show((mesh.on_struts or width / 2) * factor, "mm")
        yield "through_struts", max(1, round(mesh.through_struts / factor))
    elif mesh.model != "axisymmetric":
        yield "around", round(mesh.around / factor)


def _sections(case: Case, level: int) -> int:
    """Sections of the flow along the lumen, at most those that the mesh of this level resolves."""
    assert case.fluid is not None
    assert case.fluid.sections is not None
    mesh = case.mesh.model_copy(update={"along": case.mesh.size * 2.0**-level})
    most = most_sections(case.model_copy(update={"mesh": mesh}), shape_of(case))
    return min(max(1, round(case.fluid.sections * 2.0**level)), most)


def _can_be_coarser(case: Case) -> bool:
    """Whether elements of twice the size fit in all directions."""
    mesh = case.mesh
    if mesh.edges_along or mesh.edges_through:
        return mesh.pieces % 2 == 0
    counts = [mesh.elements]
    if case.lattice is not None:
        counts.append(mesh.through_struts)
    elif mesh.model != "axisymmetric":
        counts.append(mesh.around // 8 if mesh.around % 8 == 0 and mesh.around >= 16 else 1)
    low, high = edge_range(case, shape_of(case))
    even = all(count % 2 == 0 for count in counts[:1]) and all(count > 1 for count in counts)
    return even and 4 * mesh.size <= high - low
