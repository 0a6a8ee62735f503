# SPDX-License-Identifier: MIT
"""Building the shape and the mesh sizes of a case; their errors are collected."""

from collections.abc import Iterator

from annelid.cases.convert.imperfection import imperfection_of
from annelid.cases.convert.shape import (
    edge_range,
    layer_of,
    measured_heights,
    meridian_of,
    mesh_size_of,
    shape_of,
)
from annelid.cases.schema.case import Case
from annelid.cases.schema.shape import BalloonTable, LayerTable, SleeveTable, TubeTable
from annelid.cases.validate.findings import Findings
from annelid.geometry.checks import within
from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.meshing.imperfection import imperfection_findings
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.meshing.uneven_wall import unevenness_findings
from annelid.geometry.shapes.shape import Shape
from annelid.geometry.shapes.sleeve import Sleeve

LEAST_ACCURACY, MOST_ACCURACY = 1e-4, 0.2

__all__ = ["build_shape", "build_size", "check_imperfection"]


def build_shape(case: Case, findings: Findings) -> Shape | None:
    """The shape of a case; ``None`` with errors if it is not valid."""
    if not findings.complete("shape"):
        return None
    catching = findings.catching
    for index, layer in enumerate(case.shape.layers):
        with catching("shape", "layers", index):
            layer_of(layer)
    if isinstance(case.shape, BalloonTable):
        with catching("shape", "meridian"):
            meridian_of(case.shape.meridian)
    if not findings.complete("shape"):
        with catching("shape"):  # other values of the table may also be wrong
            shape_of(_with_placeholder_layer(case))
        return None
    with catching("shape"):
        shape = shape_of(case)
        findings.check(_thick_wall(case, shape))
        return shape
    return None


def build_size(case: Case, shape: Shape | None, findings: Findings) -> MeshSize | None:
    """The mesh sizes of a case, checked against its shape; ``None`` with errors if they are not valid."""
    if not findings.complete("mesh"):
        return None
    if case.mesh.accuracy is not None and shape is None:  # the first mesh depends on the shape
        return None
    with findings.catching("mesh"):
        _check_accuracy(case)
        size = mesh_size_of(case)
        if shape is not None:
            if size.across_core is not None and not isinstance(shape, Sleeve):
                raise InvalidValue("this shape has no core: leave it out", key="across_core")
            low, high = edge_range(case, shape)
            if not size.edges_along and size.along > high - low:
                raise InvalidValue(
                    f"{size.along:g} mm is longer than the part: it must be at most {high - low:g} mm",
                    key="along",
                    value=size.along,
                )
            _check_unevenness(case, shape, size, findings)
        return size
    return None


def _check_accuracy(case: Case) -> None:
    """Check that a mesh whose sizes are chosen can be chosen."""
    mesh = case.mesh
    if mesh.accuracy is None:
        return
    within("accuracy", mesh.accuracy, least=LEAST_ACCURACY, most=MOST_ACCURACY)
    if mesh.model != "axisymmetric":
        text = f"is for axisymmetric models, not for '{mesh.model}': give mesh.along and mesh.around instead"
        raise InvalidValue(text, key="accuracy")
    if case.circuit is not None or case.fluid is not None or case.feeds:
        text = (
            "cannot be judged where a fluid, a circuit or a feed answers over time, since its steps have "
            "errors, too: give mesh.along instead"
        )
        raise InvalidValue(text, key="accuracy")
    for key in mesh.given_sizes:
        raise InvalidValue(f"contradicts {key}, which would be chosen: give one of them", key="accuracy")


def check_imperfection(case: Case, shape: Shape, size: MeshSize, findings: Findings) -> None:
    """Check an imperfection against the shape and the model."""
    if not findings.complete("imperfection"):
        return
    with findings.catching("imperfection"):
        imperfection = imperfection_of(case)
        if imperfection is None:
            return
        if case.lattice is not None:
            raise InvalidValue("cannot be combined with [lattice]: remove one of them")
        findings.check(imperfection_findings(imperfection, shape, size))


def _check_unevenness(case: Case, shape: Shape, size: MeshSize, findings: Findings) -> None:
    """Check that uneven layers cover the wall and fit the model."""
    if shape.uneven and not findings.complete("lattice"):
        return
    measured = measured_heights(case) if case.making is None else None
    findings.check(unevenness_findings(shape, size, measured=measured))


def _with_placeholder_layer(case: Case) -> Case:
    layers = (LayerTable.model_construct(name="layer", thickness=1e-3),)
    return case.model_copy(update={"shape": case.shape.model_copy(update={"layers": layers})})


def _thick_wall(case: Case, shape: Shape) -> Iterator[Finding]:
    """Refuse a wall thicker than its inner radius unless the case allows it: probably a wrong unit."""
    if isinstance(case.shape, TubeTable | SleeveTable):
        key = "inner_radius" if isinstance(case.shape, TubeTable) else "core_radius"
        radius = getattr(case.shape, key)
        if shape.thickest > radius and not case.shape.thick_wall:
            text = (
                f"the wall of {shape.thickest:g} mm is thicker than {key} = {radius:g} mm, which is "
                "probably a wrong unit: make the layers thinner or the radius larger, or set thick_wall = "
                "true"
            )
            yield Finding(("shape",), InvalidValue(text, key="layers"))
