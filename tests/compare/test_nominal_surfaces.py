# SPDX-License-Identifier: MIT
"""Nominal surfaces of the states of a run."""

import numpy as np
import pytest
from synthetic_parts import INNER, LENGTH, OUTER, meridian_tube, solid_tube
from synthetic_runs import finished

from annelid.compare.alignment.nominal import nominal_surface
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run


@pytest.fixture(scope="module", params=[meridian_tube(2, 6), solid_tube(2, 6, 3)], ids=lambda b: b.model)
def run(request, tmp_path_factory):
    return open_run(finished(tmp_path_factory.mktemp("runs") / "tube", request.param))


@pytest.mark.exact
def test_a_state_of_a_run_becomes_a_surface_with_outward_normals(run):
    # The invented tube is incompressible and keeps its length; its lumen becomes 1.2 times as wide.
    lumen, outer = (nominal_surface(run, name=name) for name in ("lumen", "outer"))
    inner = 1.2 * INNER
    outside = np.sqrt(OUTER**2 - INNER**2 + inner**2)
    for surface, radius in ((lumen, inner), (outer, outside)):
        r = np.hypot(*surface.points.T[:2])
        np.testing.assert_allclose(r, radius, rtol=5e-3)
        middle = surface.corners.mean(axis=1)
        assert ((surface.normals * middle)[:, :2].sum(axis=1) > 0).all()
        assert np.ptp(surface.points[:, 2]) == pytest.approx(LENGTH)
        assert surface.open_points.any()


@pytest.mark.exact
@pytest.mark.parametrize("share", [1e-2, 1e-4])
def test_a_surface_of_revolution_keeps_its_chord_error(tmp_path, share):
    run = open_run(finished(tmp_path / "tube", meridian_tube(2, 6)))
    surface = nominal_surface(run, chord_error=share)
    edges = 0.5 * (surface.corners + np.roll(surface.corners, 1, axis=1))
    inward = np.hypot(*surface.points.T[:2]).max() - np.hypot(edges[..., 0], edges[..., 1]).min()
    # The middle of a chord is the worst place; the number of stations is rounded up.
    assert 0.5 * surface.chord_error < inward <= surface.chord_error * (1.0 + 1e-9)
    assert surface.chord_error == pytest.approx(share * 2.0 * np.hypot(*surface.points.T[:2]).max())


def test_states_and_surfaces_that_do_not_exist_are_refused(run):
    with pytest.raises(InputError, match="does not exist"):
        nominal_surface(run, name="belly")
    with pytest.raises(InputError, match="its fields were not written"):
        nominal_surface(run, 99)
