# SPDX-License-Identifier: MIT
"""Cleaning removes what it says, nothing else, and most faults of invented scans."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from invented_parts import ball, bulged_tube
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial import KDTree
from scipy.spatial.distance import cdist

from annelid.compare.invented.invented_scan import GHOST, OUTLIER, SURFACE, invent_scan
from annelid.compare.invented.scanner import InventedScanner
from annelid.compare.scans.cleaning import KEPT, clean
from annelid.compare.scans.cleaning_settings import Cleaning
from annelid.compare.scans.cleaning_steps import STEPS, point_spacing
from annelid.compare.scans.grouping import cell_numbers, connected_groups, first_of_equal_rows
from annelid.compare.scans.point_cloud import PointCloud
from annelid.geometry.errors import InvalidValue

NOTHING = Cleaning(duplicate_distance=0.0, outlier_deviations=0.0, smallest_patch=0.0)
NUMBER = {name: number for number, name in enumerate(STEPS)}
VIEWS = ((-1.0, 0.0, 0.0), (0.5, 0.9, 0.0), (0.5, -0.9, 0.0), (-0.3, 0.0, -1.0), (-0.3, 0.2, 1.0))


def grid(count=30, spacing=0.5):
    """Points of an even plane grid."""
    x, y = np.meshgrid(spacing * np.arange(count), spacing * np.arange(count))
    return np.column_stack([x.ravel(), y.ravel(), 0.0 * x.ravel()])


def even_sphere(count=4000, radius=10.0):
    """Points of a spiral that is even over a sphere, the normals, and no intensities."""
    height = 1.0 - (2.0 * np.arange(count) + 1.0) / count
    angle = np.pi * (3.0 - np.sqrt(5.0)) * np.arange(count)
    across = np.sqrt(1.0 - height**2)
    normals = np.column_stack([across * np.cos(angle), across * np.sin(angle), height])
    return PointCloud(radius * normals, normals, None, None)


def bare(points):
    return PointCloud(points, None, None, None)


def removed_by(result, name):
    return np.flatnonzero(result.removed == NUMBER[name])


@pytest.mark.exact
def test_an_even_grid_is_left_as_it_is():
    points = grid()
    assert point_spacing(points) == pytest.approx(0.5)
    result = clean(bare(points))
    np.testing.assert_array_equal(result.cloud.points, points)
    assert (result.removed == KEPT).all()
    assert [step.name for step in result.steps] == list(STEPS)
    assert all(step.why for step in result.steps)


@pytest.mark.exact
def test_one_of_each_group_of_duplicates_is_left():
    points = grid()
    again = np.concatenate([points, points[100:200], points[150:160], points[:5] + 1e-7])
    result = clean(bare(again), replace(NOTHING, duplicate_distance=1e-3))
    np.testing.assert_array_equal(removed_by(result, "duplicates"), np.arange(len(points), len(again)))
    assert clean(bare(again), NOTHING).steps[0].points_out == len(again)


@pytest.mark.exact
def test_saturated_returns_are_found_or_given():
    light = np.full(900, 100.0)
    light[::50] = 255.0
    cloud = PointCloud(grid(), None, light, None)
    np.testing.assert_array_equal(removed_by(clean(cloud, NOTHING), "saturated"), np.arange(0, 900, 50))
    light[1] = 300.0  # one brightest point is no saturation
    assert len(removed_by(clean(cloud, NOTHING), "saturated")) == 0
    given = clean(cloud, replace(NOTHING, saturated_intensity=200.0))
    assert len(removed_by(given, "saturated")) == 19


def test_dark_returns_go_if_asked_for_and_no_point_goes_without_cleaning():
    scan = even_sphere()
    light = np.arange(len(scan.points), dtype=float)
    shown = PointCloud(scan.points, scan.normals, light, None)
    np.testing.assert_array_equal(
        removed_by(clean(shown, replace(NOTHING, least_intensity=100.0, saturated_intensity=1e9)), "dark"),
        np.arange(100),
    )
    with pytest.raises(InvalidValue, match="least_intensity: was given, but the scan has no intensities"):
        clean(scan, Cleaning(least_intensity=1.0))
    far = PointCloud(np.concatenate([scan.points, [[90.0, 0.0, 0.0]] * 2]), None, None, None)
    assert (clean(far, Cleaning.none()).removed == KEPT).all()
    assert (clean(far).removed != KEPT).sum() >= 2


def test_voxels_may_be_given_in_mm():
    points = grid(30, 0.5)
    in_mm, in_spacings = (
        clean(bare(points), replace(NOTHING, **v)) for v in ({"voxel_mm": 1.0}, {"voxel": 2.0})
    )
    np.testing.assert_array_equal(in_mm.removed, in_spacings.removed)
    assert (in_mm.removed != KEPT).any()
    with pytest.raises(InvalidValue, match="voxel_mm: give either this or voxel"):
        Cleaning(voxel=2.0, voxel_mm=1.0)


@pytest.mark.exact
@pytest.mark.parametrize("angle", [20.0, 60.0, 85.0])
def test_grazing_returns_are_those_beyond_the_angle(angle):
    """A cap of a sphere up to the angle θ from its pole has the share (1 - cos θ) / 2 (Archimedes)."""
    settings = replace(NOTHING, grazing_angle_deg=angle, view_direction=(0.0, 3.0, -4.0))
    result = clean(even_sphere(), settings)
    share = len(result.cloud.points) / 4000
    assert share == pytest.approx((1.0 - np.cos(np.radians(angle))) / 2.0, abs=2e-3)
    assert (result.cloud.normals @ [0.0, -0.6, 0.8] >= np.cos(np.radians(angle)) - 1e-12).all()


@pytest.mark.exact
def test_a_near_scanner_sees_a_smaller_part_of_a_sphere():
    """From the distance d of its centre a sphere is seen up to arccos(R / d): there the angle is 90°."""
    settings = replace(NOTHING, grazing_angle_deg=90.0, scanner_position=(0.0, 0.0, 25.0))
    share = len(clean(even_sphere(), settings).cloud.points) / 4000
    assert share == pytest.approx((1.0 - 10.0 / 25.0) / 2.0, abs=2e-3)


def test_steps_without_their_data_are_left_out_and_say_so():
    result = clean(bare(grid()), replace(NOTHING, view_direction=(0.0, 0.0, 1.0)))
    why = {step.name: step.why for step in result.steps}
    assert why["grazing"] == "left out: the scan has no normals"
    assert why["saturated"] == "left out: the scan has no intensities"
    blind = clean(even_sphere(), NOTHING)
    assert "neither position nor direction" in blind.steps[NUMBER["grazing"]].why


def test_outliers_are_those_of_all_distances():
    random = np.random.default_rng(2)
    points = np.concatenate([random.uniform(0.0, 10.0, (800, 2)), random.uniform(0.0, 10.0, (60, 2))])
    points = np.column_stack([points, np.append(np.zeros(800), random.uniform(1.0, 5.0, 60))])
    result = clean(bare(points), replace(NOTHING, outlier_deviations=3.0))
    distance = np.sort(cdist(points, points), axis=1)[:, 1:13].mean(axis=1)
    logarithm = np.log(distance)
    middle = np.median(logarithm)
    scale = max(1.4826 * np.median(np.abs(logarithm - middle)), 0.15)
    expected = np.flatnonzero(logarithm > middle + 3.0 * scale)
    np.testing.assert_array_equal(removed_by(result, "outliers"), expected)
    assert 40 < len(expected) < 70


def test_isolated_patches_are_those_of_single_linkage():
    random = np.random.default_rng(3)
    centres = np.array([[0, 0, 0], [40, 0, 0], [0, 40, 0], [0, 0, 40], [40, 40, 40]])
    sizes = np.array([900, 500, 15, 14, 3])
    points = np.concatenate([c + random.uniform(-4, 4, (n, 3)) for c, n in zip(centres, sizes, strict=True)])
    linked = fcluster(linkage(points, "single"), t=9.0, criterion="distance")
    groups = connected_groups(points, 9.0)
    _, one = first_of_equal_rows(linked[:, None])
    _, two = first_of_equal_rows(groups[:, None])
    np.testing.assert_array_equal(one, two)
    result = clean(
        bare(points), replace(NOTHING, smallest_patch=0.0101, patch_gap=9.0 / point_spacing(points))
    )
    # 1.01 % of 1432 points are 14.46
    np.testing.assert_array_equal(removed_by(result, "isolated patches"), np.arange(1415, 1432))
    assert "2 patches" in result.steps[NUMBER["isolated patches"]].why


@pytest.mark.exact
def test_down_sampling_leaves_one_measured_point_in_each_cube():
    points = np.random.default_rng(4).uniform(0.0, 10.0, (5000, 3))
    result = clean(bare(points), replace(NOTHING, voxel=3.0))
    edge = 3.0 * result.spacing_mm
    cubes = np.unique(np.floor((points - points.min(axis=0)) / edge), axis=0)
    assert len(result.cloud.points) == len(cubes)
    assert 100 < len(cubes) < 4000
    assert len(
        np.unique(cell_numbers(np.vstack([points.min(axis=0), result.cloud.points]), edge)[1:], axis=0)
    ) == len(cubes)
    np.testing.assert_array_equal(result.cloud.points, points[result.removed == KEPT])


def test_groups_of_equal_rows_are_those_of_numpy():
    rows = np.random.default_rng(5).integers(-3, 3, (500, 3))
    first, group = first_of_equal_rows(rows)
    np.testing.assert_array_equal(rows[first][group], rows)
    np.testing.assert_array_equal(np.sort(np.unique(rows, axis=0, return_index=True)[1]), first)


def test_the_order_of_the_points_does_not_matter():
    cloud, _ = invent_scan(bulged_tube(), InventedScanner(0.8, 0.02, outlier_share=0.05, ghost_share=0.05))
    order = np.random.default_rng(6).permutation(len(cloud.points))
    shuffled = PointCloud(cloud.points[order], cloud.normals[order], cloud.intensities[order], None)
    one, two = clean(cloud), clean(shuffled)
    np.testing.assert_array_equal(one.removed[order], two.removed)
    assert len(removed_by(one, "outliers")) > 100


def test_the_table_agrees_with_the_mask_and_triangles_keep_their_corners():
    surface = ball(fineness=60)
    far = np.array([[30.0, 0.0, 0.0], [30.1, 0.0, 0.0], [30.0, 0.1, 0.0]])
    corners = len(surface.points) + np.arange(3)
    points = np.concatenate([surface.points, far])
    cloud = PointCloud(
        points, None, None, np.concatenate([surface.triangles, corners[None], [[0, 1, corners[0]]]])
    )
    result = clean(cloud)
    counts = [step.points_in for step in result.steps] + [result.steps[-1].points_out]
    assert counts[0] == len(points)
    assert counts[-1] == len(result.cloud.points) == len(points) - 3
    assert [a - b for a, b in pairwise(counts)] == [
        (result.removed == number).sum() for number in range(len(STEPS))
    ]
    np.testing.assert_array_equal(result.cloud.points[result.cloud.faces], surface.points[surface.triangles])
    assert clean(cloud, Cleaning(voxel=2.0)).cloud.faces is None


@pytest.mark.parametrize(
    "surface", [ball(half_axes=(1.0, 1.2, 2.0)), bulged_tube()], ids=["ellipsoid", "tube"]
)
def test_most_outliers_and_hardly_any_good_points_are_removed(surface):
    """Outliers nearer than four spacings to the surface cannot be distinguished from it by distance."""
    dense = KDTree(invent_scan(surface, InventedScanner(0.2, view_directions=VIEWS))[1].positions)
    for seed in range(3):
        scanner = InventedScanner(
            *(0.4, 0.05),
            view_directions=VIEWS,
            outlier_share=0.05,
            ghost_share=0.03,
            dropout_share=0.1,
            seed=seed,
        )
        cloud, truth = invent_scan(surface, scanner)
        result = clean(cloud)
        out = result.removed != KEPT
        part = (cloud.points - truth.translation) @ truth.rotation
        clear = dense.query(part)[0] > 4.0 * result.spacing_mm
        good = (truth.origin == SURFACE) & (result.removed != NUMBER["saturated"])
        assert out[(truth.origin == OUTLIER) & clear].mean() > 0.97
        assert out[truth.origin == OUTLIER].mean() > 0.88
        assert out[good].mean() < 0.004


def test_ghosts_that_float_freely_are_removed():
    """One patch in each scan; if it touches the surface it may stay, and is left to the alignment."""
    surface, free = bulged_tube(), 0
    for seed in range(8):
        scanner = InventedScanner(
            0.4, 0.02, view_directions=VIEWS, ghost_share=0.01, ghost_patches=1, seed=seed
        )
        cloud, truth = invent_scan(surface, scanner)
        result = clean(cloud)
        ghosts = truth.origin == GHOST
        gap = KDTree(cloud.points[truth.origin == SURFACE]).query(cloud.points[ghosts])[0].min()
        if gap > 2.0 * np.sqrt(3.0) * Cleaning().patch_gap * result.spacing_mm:
            free += 1
            assert (result.removed[ghosts] != KEPT).all()
    assert free >= 3


@pytest.mark.parametrize(
    ("key", "value"),
    [("neighbours", 0), ("smallest_patch", 0.9), ("patch_gap", float("nan")), ("grazing_angle_deg", -1.0)],
)
def test_settings_out_of_range_are_refused(key, value):
    with pytest.raises(InvalidValue, match=f"cleaning: {key}: .* must be from"):
        Cleaning(**{key: value})


def test_contradictory_settings_and_empty_results_are_refused():
    with pytest.raises(InvalidValue, match="view_direction: give either"):
        Cleaning(view_direction=(0.0, 0.0, 1.0), scanner_position=(0.0, 0.0, 1.0))
    with pytest.raises(InvalidValue, match="view_direction: must have a length"):
        Cleaning(view_direction=(0.0, 0.0, 0.0))
    with pytest.raises(InvalidValue, match="would remove all points"):
        clean(PointCloud(grid(), None, np.ones(900), None), Cleaning(saturated_intensity=0.5))
    with pytest.raises(InvalidValue, match="1 points at different places"):
        clean(bare(np.ones((500, 3))))
