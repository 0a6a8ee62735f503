# SPDX-License-Identifier: MIT
"""The unit of a scan is judged likely or not by its size, whatever its pose."""

import numpy as np
import pytest
from invented_parts import bulged_tube
from scipy.spatial.transform import Rotation

from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.units import UNITS, unit_plausibility, unit_scale
from annelid.geometry.errors import InvalidValue

TUBE = bulged_tube(40).points
SIZE = 2.0 * np.hypot(30.0, 8.3)  # from one end of the tube to the other, across


def scan_of(points, seed):
    """The points in a random pose, with a tenth of them anywhere."""
    random = np.random.default_rng(seed)
    stray = random.uniform(-60.0, 60.0, size=(len(points) // 200, 3))
    turned = Rotation.random(rng=random).apply(np.concatenate([points, stray]))
    return turned + random.uniform(-500.0, 500.0, size=3)


@pytest.mark.parametrize("true", UNITS)
@pytest.mark.parametrize("read", UNITS)
def test_the_likelier_unit_is_named(true, read):
    for seed in range(5):
        cloud = PointCloud(scan_of(TUBE, seed) / unit_scale(true) * unit_scale(read), None, None, None)
        found = unit_plausibility(cloud, SIZE, unit=read)
        assert found.likelier == true
        assert found.plausible == (read == true)
        assert ("likelier" in found.text) == (read != true)
        assert found.text.endswith(".")


def test_half_a_part_still_has_its_unit():
    cloud = PointCloud(scan_of(TUBE[TUBE[:, 2] > 0.0], 1), None, None, None)
    assert unit_plausibility(cloud, SIZE).plausible


def test_another_part_fits_in_no_unit():
    cloud = PointCloud(scan_of(TUBE, 1), None, None, None)
    found = unit_plausibility(cloud, 3e5 * SIZE)
    assert not found.plausible
    assert found.likelier == ""
    assert "no unit fits" in found.text


@pytest.mark.parametrize("size", [0.0, -1.0, float("nan")])
def test_the_size_of_the_part_must_be_positive(size):
    with pytest.raises(InvalidValue, match="size_mm"):
        unit_plausibility(PointCloud(TUBE, None, None, None), size)
