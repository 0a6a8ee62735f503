# SPDX-License-Identifier: MIT
"""Integrals over meshes by quadrature, and the shapes of the geometry tests."""

import numpy as np

from annelid.geometry.body import Body
from annelid.geometry.elements import ELEMENT_NODES, FACETS, shape_gradients, shape_values
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.meridian_profiles import ellipsoid, necked, sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.spline_meridian import from_points
from annelid.geometry.shapes.tapered_tube import TaperedTube
from annelid.geometry.shapes.tube import Tube

LAYERS = (Layer("liner", 0.2), Layer("wall", 0.3))

VASE = (
    (0.0, 0.0),
    (3.0, 0.3),
    (6.0, 2.0),
    (7.0, 6.0),
    (5.0, 10.0),
    (4.0, 14.0),
    (5.0, 18.0),
    (4.5, 22.0),
    (4.0, 26.0),
)

SHAPES = {
    "tube": Tube(4.0, 12.0, LAYERS),
    "capped tube": Tube(4.0, 12.0, LAYERS, ends="capped", cap_thickness=1.0),
    "solid sleeve": Sleeve(4.0, 10.0, LAYERS, core_overhang=2.0),
    "hollow sleeve": Sleeve(4.0, 12.0, LAYERS, core_inner_radius=2.0),
    "sphere": Balloon(sphere(6.0), LAYERS),
    "dome": Balloon(ellipsoid(5.0, 8.0, half=True), LAYERS),
    "necked balloon": Balloon(necked(6.0, 24.0, 3.0, 3.0), LAYERS),
    "vase": Balloon(from_points(VASE), LAYERS),
    "shallow cap": Dome(6.0, 1.5, LAYERS),
    "funnel": Dome(6.0, 3.0, LAYERS, 1.0, "funnel"),
    "cone": TaperedTube(4.0, 6.0, 12.0, LAYERS),
    "smooth taper": TaperedTube(6.0, 4.0, 12.0, LAYERS, "smooth"),
}

BAND = Band("ring", "wall", 3.1, 5.3)

MODELS = {
    "axisymmetric": MeshSize(along=1.0),
    "solid": MeshSize(along=2.0, model="solid", around=16, through=1),
    "sector": MeshSize(along=2.0, model="sector", sector=60.0, around=24, through=1),
    "tetrahedra": MeshSize(along=2.0, model="sector", sector=90.0, around=16, through=1, cells="tetrahedra"),
}


def gauss(cell_type: str) -> tuple[np.ndarray, np.ndarray]:
    """Return points (k, d) and weights of a tensor (for simplices: collapsed) Gauss rule, degree 7."""
    nodes, weights = np.polynomial.legendre.leggauss(5)
    nodes, weights = (nodes + 1) / 2, weights / 2
    dimension = ELEMENT_NODES[cell_type].shape[1]
    points = np.stack(np.meshgrid(*[nodes] * dimension, indexing="ij"), axis=-1).reshape(-1, dimension)
    weight = np.prod(
        np.stack(np.meshgrid(*[weights] * dimension, indexing="ij"), axis=-1).reshape(-1, dimension), axis=1
    )
    if cell_type == "triangle6":
        a, b = points.T
        return np.column_stack([a, b * (1 - a)]), weight * (1 - a)
    if cell_type == "tetra10":
        a, b, c = points.T
        return np.column_stack([a, b * (1 - a), c * (1 - a) * (1 - b)]), weight * (1 - a) ** 2 * (1 - b)
    return points, weight


def cell_volumes(body: Body) -> np.ndarray:
    """Return the volume of each cell, of the whole ring when axisymmetric, mm^3."""
    points, weight = gauss(body.cell_type)
    nodes = body.points[body.cells]
    determinant = np.linalg.det(np.einsum("cni,qnj->cqij", nodes, shape_gradients(body.cell_type, points)))
    if body.model == "axisymmetric":
        determinant = 2 * np.pi * determinant * (nodes[..., 0] @ shape_values(body.cell_type, points).T)
    return determinant @ weight


def area_vectors(body: Body, facets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return positions and area vectors (right-hand normal times area) at the Gauss points of facets."""
    kind = FACETS[body.cell_type][0]
    points, weight = gauss(kind)
    nodes = body.points[facets]
    tangents = np.einsum("fni,qnj->fqji", nodes, shape_gradients(kind, points))
    place = np.einsum("fni,qn->fqi", nodes, shape_values(kind, points))
    if kind == "line3":
        along = tangents[..., 0, :]
        vector = np.stack([along[..., 1], -along[..., 0]], axis=-1) * 2 * np.pi * place[..., :1]
    else:
        vector = np.cross(tangents[..., 0, :], tangents[..., 1, :])
    return place, vector * weight[:, None]


def area(body: Body, surface: str) -> float:
    """Return the area of a surface of the whole part, mm^2."""
    _, vector = area_vectors(body, body.facets[body.surfaces[surface]])
    return float(np.linalg.norm(vector, axis=-1).sum()) * body.multiplicity


def enclosed_volume(body: Body) -> float:
    """Return the volume inside the surface ``lumen`` by the divergence of (X, Y, 0) / 2, mm^3.

    Planes across the axis carry no flux of that field, so open ends need not be closed.
    """
    place, vector = area_vectors(body, body.facets[body.surfaces["lumen"]])
    flat = 1 if body.model == "axisymmetric" else 2
    return -0.5 * float(np.sum(place[..., :flat] * vector[..., :flat])) * body.multiplicity
