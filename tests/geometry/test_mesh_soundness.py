# SPDX-License-Identifier: MIT
"""Properties of every mesh: complete, watertight, named, oriented outwards, on the true shape."""

import numpy as np
import pytest
from measuring import BAND, LAYERS, MODELS, SHAPES, area_vectors, cell_volumes, enclosed_volume
from scipy.spatial import cKDTree

from annelid.geometry.elements import CORNERS, ELEMENT_NODES, FACETS
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.meshing.quality import quality, scaled_jacobians
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube

ROUNDING = 1e-12
PLACE = 1e-9  # mm
ALIGNED = 0.9  # cosine between a facet's mean normal and the wall normal at its nodes

CASES = [pytest.param(shape, model, id=f"{shape}, {model}") for shape in SHAPES for model in MODELS]


def make(name, model):
    return build(SHAPES[name], MODELS[model], [BAND])


def corner_keys(body, facets):
    return np.sort(facets[:, : CORNERS[FACETS[body.cell_type][0]]], axis=1)


@pytest.mark.parametrize(("name", "model"), CASES)
def test_nodes_are_merged_and_used(name, model):
    body = make(name, model)
    assert len(cKDTree(body.points).query_pairs(1e-6)) == 0
    assert np.array_equal(np.unique(body.cells), np.arange(len(body.points)))


@pytest.mark.parametrize(("name", "model"), CASES)
def test_facets_are_shared_by_two_cells_or_named_free(name, model):
    body = make(name, model)
    _, local = FACETS[body.cell_type]
    owned = body.cells[:, local].reshape(-1, local.shape[1])
    # All nodes of the facets, including mid-side nodes, must be shared by neighbours.
    whole, count = np.unique(np.sort(owned, axis=1), axis=0, return_counts=True)
    corners = np.unique(corner_keys(body, owned), axis=0)
    assert len(whole) == len(corners)
    assert count.max() == 2
    free = {tuple(row) for row in whole[count == 1].tolist()}
    inner = {n for n in body.surfaces if "|" in n or n.startswith("ring.")}
    named = [body.facets[members] for surface, members in body.surfaces.items() if surface not in inner]
    rows = [tuple(row) for row in np.sort(np.concatenate(named), axis=1).tolist()]
    assert len(rows) == len(set(rows))
    assert set(rows) == free
    for surface in inner - {"ring.outer"}:
        between = {tuple(row) for row in np.sort(body.facets[body.surfaces[surface]], axis=1).tolist()}
        assert between
        assert not between & free


@pytest.mark.parametrize(("name", "model"), CASES)
def test_free_facets_are_closed_and_point_outwards(name, model):
    """Source: the integral of the outward normal over a closed surface is zero (axisymmetric: its Z part)."""
    body = make(name, model)
    inner = {n for n in body.surfaces if "|" in n or n.startswith("ring.")}
    free = np.concatenate([members for surface, members in body.surfaces.items() if surface not in inner])
    place, vector = area_vectors(body, body.facets[free])
    total = vector.sum(axis=(0, 1))
    scale = np.linalg.norm(vector, axis=-1).sum()
    assert total[-1] / scale == pytest.approx(0.0, abs=ROUNDING)
    if model != "axisymmetric":
        assert np.abs(total).max() / scale == pytest.approx(0.0, abs=ROUNDING)
    # The flux of the position is the volume times the dimension: positive only if turned outwards.
    flux = np.sum(place * vector) / (body.points.shape[1] if model != "axisymmetric" else 3)
    assert flux == pytest.approx(cell_volumes(body).sum(), rel=1e-9)


@pytest.mark.parametrize(("name", "model"), CASES)
def test_normals_are_unit_and_point_away_from_the_lumen(name, model):
    body = make(name, model)
    assert np.linalg.norm(body.normal, axis=1) == pytest.approx(1.0, abs=ROUNDING)
    signs = {
        "lumen": -1.0,
        "outer": 1.0,
        "liner|wall": 1.0,
        "core|liner": 1.0,
        "ring.inner": 1.0,
        "ring.outer": 1.0,
    }
    # A node at the corner between wall and cap has the normal of the wall.
    corner = body.facets[body.surfaces.get("liner|cap", np.empty(0, dtype=np.int64))]
    for surface in signs.keys() & body.surfaces.keys():
        facets = body.facets[body.surfaces[surface]]
        _, vector = area_vectors(body, facets)
        facing = vector.sum(axis=1)
        facing /= np.linalg.norm(facing, axis=1, keepdims=True)
        cosine = signs[surface] * np.einsum("fi,fni->fn", facing, body.normal[facets])
        assert cosine[~np.isin(facets, corner)].min() > ALIGNED, surface
    if body.hoop is not None:
        assert np.linalg.norm(body.hoop, axis=1) == pytest.approx(1.0, abs=ROUNDING)
        assert np.einsum("ni,ni->n", body.hoop, body.normal) == pytest.approx(0.0, abs=ROUNDING)
        assert np.einsum("ni,ni->n", body.hoop, body.points) == pytest.approx(0.0, abs=PLACE)


@pytest.mark.parametrize(("name", "model"), CASES)
def test_regions_partition_cells_and_contain_their_bands(name, model):
    body = make(name, model)
    assert np.array_equal(np.sort(np.concatenate(list(body.regions.values()))), np.arange(len(body.cells)))
    ring = body.bands["ring"]
    assert len(ring)
    assert np.isin(ring, body.regions["wall"]).all()
    height = body.points[:, -1]
    if isinstance(SHAPES[name], Tube | Sleeve):
        assert height[body.cells[ring]].min() == pytest.approx(BAND.low, abs=PLACE)
        assert height[body.cells[ring]].max() == pytest.approx(BAND.high, abs=PLACE)


@pytest.mark.parametrize("model", MODELS)
def test_band_on_a_balloon_ends_at_its_inner_heights(model):
    shape = Balloon(sphere(6.0), (Layer("wall", 0.5),))
    body = build(shape, MODELS[model], [Band("ring", "wall", 4.0, 7.5)])
    inner = body.points[body.surface_nodes("ring.inner")]
    assert inner[:, -1].min() == pytest.approx(4.0, abs=PLACE)
    assert inner[:, -1].max() == pytest.approx(7.5, abs=PLACE)


@pytest.mark.exact
@pytest.mark.parametrize("model", MODELS)
def test_every_node_of_a_sphere_is_on_it(model):
    body = build(Balloon(sphere(6.0), (Layer("wall", 0.5),)), MODELS[model])
    centre = np.zeros(body.points.shape[1])
    centre[-1] = 6.0
    for surface, radius in (("lumen", 6.0), ("outer", 6.5)):
        nodes = body.points[body.surface_nodes(surface)]
        assert np.linalg.norm(nodes - centre, axis=1) == pytest.approx(radius, abs=PLACE)
    assert body.normal == pytest.approx(
        (body.points - centre) / np.linalg.norm(body.points - centre, axis=1, keepdims=True), abs=1e-7
    )


@pytest.mark.exact
@pytest.mark.parametrize("model", MODELS)
def test_every_node_of_a_tube_is_on_it(model):
    body = build(SHAPES["tube"], MODELS[model])
    radius = np.linalg.norm(body.points[:, :-1], axis=1)
    for surface, exact in (("lumen", 4.0), ("liner|wall", 4.2), ("outer", 4.5)):
        nodes = body.surface_nodes(surface)
        assert radius[nodes] == pytest.approx(exact, abs=PLACE)


def test_mid_side_nodes_lie_midway_on_straight_shapes():
    body = build(SHAPES["capped tube"], MODELS["axisymmetric"])
    corners = body.points[body.cells[:, :4]]
    place = ELEMENT_NODES["quad9"]
    weights = np.stack([(1 - place[:, 0]) * (1 - place[:, 1]), place[:, 0] * (1 - place[:, 1]),
                        place[:, 0] * place[:, 1], (1 - place[:, 0]) * place[:, 1]])  # fmt: skip
    assert np.einsum("cni,nq->cqi", corners, weights) == pytest.approx(body.points[body.cells], abs=PLACE)


@pytest.mark.parametrize("cells", ["hexahedra", "tetrahedra"])
def test_mid_side_nodes_lie_midway_in_height_and_angle(cells):
    body = build(SHAPES["tube"], MeshSize(along=2.0, model="sector", sector=60.0, around=24, cells=cells))
    reference = ELEMENT_NODES[body.cell_type]
    corner_count = CORNERS[body.cell_type]
    if cells == "tetrahedra":
        weights = np.column_stack([1 - reference.sum(axis=1), reference])
    else:
        corners = reference[:corner_count]
        weights = np.prod(1 - np.abs(reference[:, None] - corners[None]), axis=2)
    radius, angle = np.hypot(*body.points.T[:2]), np.arctan2(body.points[:, 1], body.points[:, 0])
    for coordinate in (radius, angle, body.points[:, 2]):
        middle = coordinate[body.cells[:, :corner_count]] @ weights.T
        assert middle == pytest.approx(coordinate[body.cells], abs=PLACE)


@pytest.mark.parametrize(("name", "model"), CASES)
def test_all_cells_are_well_shaped(name, model):
    body = make(name, model)
    least = scaled_jacobians(body)
    assert least.shape == (len(body.cells),)
    assert least.min() > (0.01 if model == "tetrahedra" else 0.5)


def test_surface_names_of_each_shape():
    ends, core_ends = {"end_low", "end_high"}, {"core_end_low", "core_end_high"}
    expected = {
        "tube": ends | {"lumen", "outer", "liner|wall"},
        "capped tube": ends | {"lumen", "outer", "liner|wall", "liner|cap", "wall|cap", "cap_rim"},
        "solid sleeve": ends | core_ends | {"outer", "core_side", "core|liner", "liner|wall"},
        "hollow sleeve": ends | core_ends | {"lumen", "outer", "core|liner", "liner|wall"},
        "sphere": {"lumen", "outer", "liner|wall"},
        "dome": {"lumen", "outer", "end_low", "liner|wall"},
        "necked balloon": ends | {"lumen", "outer", "liner|wall"},
        "vase": {"lumen", "outer", "end_high", "liner|wall"},
        "shallow cap": {"lumen", "outer", "end_low", "liner|wall"},
        "funnel": ends | {"lumen", "outer", "liner|wall"},
    }
    for name, surfaces in expected.items():
        closed = ("capped tube", "solid sleeve", "sphere", "dome", "vase", "shallow cap")
        axis = {"axis"} if name in closed else set()
        assert set(build(SHAPES[name], MODELS["axisymmetric"]).surfaces) == surfaces | axis, name
        assert set(build(SHAPES[name], MODELS["solid"]).surfaces) == surfaces, name
        sides = {"side_low", "side_high"}
        assert set(build(SHAPES[name], MODELS["sector"]).surfaces) == surfaces | sides, name


@pytest.mark.exact
def test_planes_of_a_sector():
    body = build(SHAPES["solid sleeve"], MeshSize(along=2.0, model="sector", sector=60.0, around=24))
    assert body.multiplicity == pytest.approx(6.0, rel=ROUNDING)
    for surface, outward in (("side_low", (0.0, -1.0, 0.0)), ("side_high", (-np.sqrt(0.75), 0.5, 0.0))):
        place, vector = area_vectors(body, body.facets[body.surfaces[surface]])
        assert vector / np.linalg.norm(vector, axis=-1, keepdims=True) == pytest.approx(
            np.broadcast_to(outward, vector.shape), abs=1e-9
        )
        assert place @ outward == pytest.approx(0.0, abs=PLACE)
        # Core 14 mm by 4 mm and layers 10 mm by 0.5 mm.
        assert np.linalg.norm(vector, axis=-1).sum() == pytest.approx(14 * 4 + 10 * 0.5, rel=1e-9)


def test_cap_interface_is_oriented_towards_the_cap():
    body = build(SHAPES["capped tube"], MODELS["axisymmetric"])
    facets = body.facets[body.surfaces["wall|cap"]]
    _, vector = area_vectors(body, facets)
    upper = body.points[facets[:, 2], 1] > 6.0
    assert upper.any()
    assert not upper.all()
    assert np.all((vector.sum(axis=1)[:, 1] > 0) == upper)


def test_sizes_are_kept():
    tube = Tube(4.0, 12.0, LAYERS)
    body = build(tube, MeshSize(along=0.7, through=3), [Band("ring", "wall", 3.0, 5.3)], lines=[9.1])
    heights = np.unique(np.round(body.points[body.cells[:, :4]][..., 1], 9))
    assert np.diff(heights).max() <= 0.7 + PLACE
    assert np.isin([0.0, 3.0, 5.3, 9.1, 12.0], heights).all()
    radii = np.unique(np.round(body.points[body.cells[:, :4]][..., 0], 9))
    assert radii == pytest.approx([4.0, 4.0667, 4.1333, 4.2, 4.3, 4.4, 4.5], abs=1e-4)
    solid = build(tube, MeshSize(along=4.0, model="solid", around=18, through=1))
    assert len(solid.cells) == 18 * 3 * 2


@pytest.mark.exact
@pytest.mark.parametrize("model", ["axisymmetric", "sector"])
def test_elements_follow_a_bend_for_any_element_size(model):
    body = build(Balloon(sphere(6.0), (Layer("wall", 0.5),)), MeshSize(along=100.0, model=model, through=1))
    if model == "axisymmetric":
        assert len(body.cells) == 6
    error = enclosed_volume(body) / (4 / 3 * np.pi * 6.0**3) - 1
    assert abs(error) < 1e-3


def test_quality_table_names_the_worst():
    measured = quality(build(SHAPES["tube"], MeshSize(along=0.5, through=1)))
    assert measured.minimum_scaled_jacobian == pytest.approx(1.0, abs=ROUNDING)
    assert measured.maximum_aspect_ratio == pytest.approx(0.5 / 0.2, rel=1e-9)
    assert measured.regions["wall"].maximum_aspect_ratio == pytest.approx(0.5 / 0.3, rel=1e-9)
    lines = measured.table().splitlines()
    assert lines[0].split() == [
        "region",
        "cells",
        "minimum",
        "scaled",
        "Jacobian",
        "maximum",
        "aspect",
        "ratio",
    ]
    assert lines[1].split() == ["liner", "24", "1.000", "2.50"]
    assert lines[3].split() == ["whole", "48", "1.000", "2.50"]
