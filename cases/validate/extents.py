# SPDX-License-Identifier: MIT
"""What a drawing has, told from its numbers alone: regions, surfaces, extent along the axis."""

from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import MeasuredGrid
from annelid.cases.schema.shape import EllipsoidMeridian, Mesh, NeckedMeridian, PointsMeridian, SphereMeridian
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.shape import Shape
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube

__all__ = [
    "band_span",
    "every_region",
    "has_lumen",
    "lattice_span",
    "part_span",
    "regions",
    "span",
    "surfaces",
    "wall_of",
]

OPTIONAL = ("lattice", "end ring")
"""Regions that a case may leave out: a lattice that is only printed, rings made of what the struts are."""


def wall_of(shape: Shape) -> float:
    """Thickness of all layers together, mm."""
    return sum(layer.thickness for layer in shape.layers)


def regions(shape: Shape) -> dict[str, float | None]:
    """Regions of a shape with their thickness, mm; ``None`` for a core or cap."""
    found: dict[str, float | None] = {layer.name: layer.thickness for layer in shape.layers}
    if isinstance(shape, Sleeve):
        found["core"] = None
    if isinstance(shape, Tube) and shape.ends == "capped":
        found["cap"] = None
    return found


def every_region(case: Case) -> dict[str, float | None]:
    """Regions of a case with their thickness, those of its lattice included."""
    found = regions(case.shape)
    if case.lattice is not None:
        found["lattice"] = None
        if case.lattice.ring > 0:
            found["end ring"] = None
    return found


def span(shape: Shape) -> tuple[float, float]:
    """Lower and upper end of the layers along the axis, mm."""
    if isinstance(shape, Sleeve):
        return shape.core_overhang, shape.core_overhang + shape.length
    if isinstance(shape, Tube):
        return 0.0, shape.length
    if isinstance(shape, Dome):
        return 0.0, shape.rise
    meridian = shape.meridian
    if isinstance(meridian, SphereMeridian):
        return 0.0, meridian.radius * (1 if meridian.half else 2)
    if isinstance(meridian, EllipsoidMeridian):
        return 0.0, meridian.half_length * (1 if meridian.half else 2)
    if isinstance(meridian, NeckedMeridian):
        return 0.0, meridian.length
    if isinstance(meridian, PointsMeridian):
        return min(meridian.height), max(meridian.height)
    raise ValueError("a contour from a file must be replaced by its points first")


def measured_heights(case: Case) -> tuple[float, float] | None:
    """Lowest and highest height of a measured surface, mm; ``None`` if the lattice lies on the drawn one."""
    if case.lattice is None or not isinstance(case.lattice.measured, MeasuredGrid):
        return None
    return min(case.lattice.measured.heights), max(case.lattice.measured.heights)


def part_span(case: Case) -> tuple[float, float]:
    """Lower and upper end of the layers as they are meshed, mm, on a measured surface if there is one."""
    meshed = measured_heights(case) if case.mesh.model != "axisymmetric" else None
    return meshed or span(case.shape)


def band_span(case: Case) -> tuple[float, float]:
    """Lowest and highest edge of an electrode, mm: heights, on a dome radii of its inner face."""
    shape = case.shape
    if isinstance(shape, Dome):
        return shape.hole_radius, shape.rim_radius
    return part_span(case) if case.making is None else span(shape)  # those of the skin before it is inflated


def lattice_span(case: Case) -> tuple[float, float]:
    """Lowest and highest edge that a lattice may have, mm, in the same terms."""
    return measured_heights(case) or band_span(case)


def has_lumen(shape: Shape) -> bool:
    """Whether there is a lumen that a fluid can fill."""
    return not isinstance(shape, Sleeve) or shape.core_inner_radius > 0


def surfaces(shape: Shape, mesh: Mesh) -> list[str]:
    """Names of the surfaces that can be held, bedded or loaded."""
    found = ["lumen"] if has_lumen(shape) else []
    found.append("outer")
    low, high = _open_ends(shape)
    found += ["end_low"] * low + ["end_high"] * high
    if isinstance(shape, Sleeve):
        found += ["core_end_low", "core_end_high"] + ["core_side"] * (shape.core_overhang > 0)
    if "cap" in regions(shape):
        found.append("cap_rim")
    if mesh.model == "sector":
        found += ["side_low", "side_high"]
    return found


def _open_ends(shape: Shape) -> tuple[bool, bool]:
    """Whether the low and the high end are faces; a contour that reaches the axis closes."""
    if isinstance(shape, Dome):
        return True, shape.hole_radius > 0
    if not isinstance(shape, Balloon):
        return True, True
    meridian = shape.meridian
    if isinstance(meridian, SphereMeridian | EllipsoidMeridian):
        return meridian.half, False
    if isinstance(meridian, PointsMeridian):
        first, last = sorted((meridian.height[i], meridian.radius[i]) for i in (0, -1))
        return first[1] > 0, last[1] > 0
    return True, True
