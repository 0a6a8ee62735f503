# SPDX-License-Identifier: MIT
import numpy as np
import pytest
from vtkmodules.vtkCommonDataModel import (
    vtkBiQuadraticQuad,
    vtkQuadraticEdge,
    vtkQuadraticTetra,
    vtkQuadraticTriangle,
    vtkTriQuadraticHexahedron,
)

from annelid.geometry.elements import (
    CORNERS,
    ELEMENT_NODES,
    FACETS,
    LUMPING_WEIGHTS,
    shape_gradients,
    shape_values,
)

ROUNDING = 1e-12

VTK_CELLS = {
    "line3": vtkQuadraticEdge,
    "triangle6": vtkQuadraticTriangle,
    "quad9": vtkBiQuadraticQuad,
    "tetra10": vtkQuadraticTetra,
    "hexahedron27": vtkTriQuadraticHexahedron,
}


@pytest.mark.parametrize("kind", VTK_CELLS)
def test_node_order_is_that_of_vtk(kind):
    """Source: the parametric coordinates that VTK itself reports."""
    theirs = np.array(VTK_CELLS[kind]().GetParametricCoords()).reshape(-1, 3)
    dimension = ELEMENT_NODES[kind].shape[1]
    assert np.array_equal(ELEMENT_NODES[kind], theirs[:, :dimension])
    assert np.all(theirs[:, dimension:] == 0.0)


@pytest.mark.parametrize("kind", ELEMENT_NODES)
def test_shape_functions_are_nodal_and_reproduce_quadratics(kind):
    nodes = ELEMENT_NODES[kind]
    assert shape_values(kind, nodes) == pytest.approx(np.eye(len(nodes)), abs=ROUNDING)
    at = np.random.default_rng(1).random((7, nodes.shape[1])) / nodes.shape[1]

    def polynomial(x):
        return 1.0 + x.sum(axis=1) + 3.0 * x[:, 0] ** 2 - 2.0 * x[:, 0] * x[:, -1]

    def gradient(x):
        slope = np.ones_like(x)
        slope[:, 0] += 6.0 * x[:, 0] - 2.0 * x[:, -1]
        slope[:, -1] -= 2.0 * x[:, 0]
        return slope

    assert shape_values(kind, at) @ polynomial(nodes) == pytest.approx(polynomial(at), abs=ROUNDING)
    computed = np.einsum("qni,n->qi", shape_gradients(kind, at), polynomial(nodes))
    assert computed == pytest.approx(gradient(at), abs=100 * ROUNDING)


@pytest.mark.parametrize(("kind", "size"), [("quad9", 1.0), ("tetra10", 1 / 6), ("hexahedron27", 1.0)])
def test_facets_are_oriented_outwards_and_close_the_cell(kind, size):
    """Source: divergence theorem on the reference cell."""
    facet_type, local = FACETS[kind]
    nodes = ELEMENT_NODES[kind]
    total, flux = np.zeros(nodes.shape[1]), 0.0
    for facet in local:
        corners = nodes[facet[: CORNERS[facet_type]]]
        if facet_type == "line3":
            step = corners[1] - corners[0]
            vector = np.array([step[1], -step[0]])
        else:
            vector = np.cross(corners[1] - corners[0], corners[-1] - corners[0])
            vector = vector / 2 if facet_type == "triangle6" else vector
        total += vector
        flux += corners.mean(axis=0) @ vector
    assert total == pytest.approx(0.0, abs=ROUNDING)
    assert flux / nodes.shape[1] == pytest.approx(size, rel=ROUNDING)


@pytest.mark.parametrize("kind", FACETS)
def test_mid_side_nodes_of_facets_lie_between_their_corners(kind):
    facet_type, local = FACETS[kind]
    for facet in local:
        corners = ELEMENT_NODES[kind][facet[: CORNERS[facet_type]]]
        place = ELEMENT_NODES[facet_type]
        if facet_type == "quad9":
            origin, u, v = corners[0], corners[1] - corners[0], corners[3] - corners[0]
            expected = origin + place[:, :1] * u + place[:, 1:] * v
        elif facet_type == "triangle6":
            expected = (
                corners[0]
                + place[:, :1] * (corners[1] - corners[0])
                + place[:, 1:] * (corners[2] - corners[0])
            )
        else:
            expected = corners[0] + place * (corners[1] - corners[0])
        assert ELEMENT_NODES[kind][facet] == pytest.approx(expected, abs=ROUNDING)


@pytest.mark.parametrize("kind", LUMPING_WEIGHTS)
def test_lumping_weights_are_integrals_of_squared_functions(kind):
    """Second method: ∫ N² by a Gauss rule (collapsed to the simplex for tetrahedra, weight (1-x)² (1-y))."""
    x, w = np.polynomial.legendre.leggauss(6)
    x, w = (x + 1) / 2, w / 2
    d = ELEMENT_NODES[kind].shape[1]
    points = np.stack(np.meshgrid(*[x] * d, indexing="ij"), axis=-1).reshape(-1, d)
    weights = np.prod(np.stack(np.meshgrid(*[w] * d, indexing="ij"), axis=-1).reshape(-1, d), axis=1)
    if kind == "tetra10":
        a, b, c = points.T
        weights = weights * (1 - a) ** 2 * (1 - b)
        points = np.stack([a, b * (1 - a), c * (1 - a) * (1 - b)], axis=1)
    squares = weights @ shape_values(kind, points) ** 2
    np.testing.assert_allclose(LUMPING_WEIGHTS[kind], squares / squares.sum(), rtol=1e-10)
    assert LUMPING_WEIGHTS[kind].sum() == pytest.approx(1.0, abs=ROUNDING)
