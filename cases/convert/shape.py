# SPDX-License-Identifier: MIT
"""From the shape table of a resolved case to the shape."""

from annelid.cases.schema import shape as drawn
from annelid.cases.schema.case import Case
from annelid.geometry.shapes import meridian as curves
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.meridian_profiles import ellipsoid, necked, sphere
from annelid.geometry.shapes.shape import Layer, Shape
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.spline_meridian import from_points
from annelid.geometry.shapes.tube import Tube

__all__ = ["shape_of"]


def shape_of(case: Case) -> Shape:
    """The drawing."""
    shape = case.shape
    layers = tuple(Layer(layer.name, layer.thickness) for layer in shape.layers)
    if isinstance(shape, drawn.Tube):
        return Tube(
            shape.inner_radius, shape.length, layers, ends=shape.ends, cap_thickness=shape.cap_thickness
        )
    if isinstance(shape, drawn.Sleeve):
        return Sleeve(
            shape.core_radius,
            shape.length,
            layers,
            core_inner_radius=shape.core_inner_radius,
            core_overhang=shape.core_overhang,
        )
    if isinstance(shape, drawn.Dome):
        return Dome(
            shape.rim_radius,
            shape.rise,
            layers,
            hole_radius=shape.hole_radius,
            profile=shape.profile,
            tip_radius=shape.tip_radius,
        )
    return Balloon(_meridian_of(shape.meridian), layers)


def _meridian_of(given: drawn.Meridian) -> curves.Meridian:
    if isinstance(given, drawn.SphereMeridian):
        return sphere(given.radius, half=given.half)
    if isinstance(given, drawn.EllipsoidMeridian):
        return ellipsoid(given.radius, given.half_length, half=given.half)
    if isinstance(given, drawn.NeckedMeridian):
        return necked(
            given.radius, given.length, given.neck_radius, given.neck_length, shoulder=given.shoulder
        )
    assert isinstance(given, drawn.PointsMeridian)
    points = list(zip(given.radius, given.height, strict=True))
    return from_points(points, smoothing=given.smoothing)
