# SPDX-License-Identifier: MIT
"""A lattice printed on a skin whose inflated face was measured."""

import csv
from math import cos, pi, radians, sin

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from test_making import tables

from annelid.cases.convert.body import body_of
from annelid.cases.convert.making import inflated_wall
from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.geometry.errors import InputError

CLAMPED = [{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "all"}]


def face(case, *, oval=0.0, larger=1.0):
    """Return the outer face of an inflated skin as a measured face, which may be oval or larger."""
    wall, _ = inflated_wall(case)
    along = wall.grid.along
    r, z = wall.inflated_position(np.full(len(along), wall.grid.through[-1]), along).T
    heights = np.linspace(0.0, 12.0, 49)
    middle = [larger * float(radius) for radius in CubicSpline(z, r)(heights)]
    radii = [
        [
            f"{radius * (1 + oval * cos(2 * radians(angle)) * sin(pi * height / 12.0)):.7f} mm"
            for radius, height in zip(middle, heights, strict=True)
        ]
        for angle in range(0, 360, 10)
    ]
    return {"kind": "grid", "heights": [f"{height} mm" for height in heights], "radii": radii}


@pytest.fixture(scope="module")
def skin():
    return case_from_tables(tables(supports=CLAMPED))


def measured_tables(skin, making, **shape):
    return tables(
        supports=CLAMPED,
        making=making,
        mesh={"model": "solid", "along": "2.5 mm", "on_struts": "1.5 mm"},
        lattice={"measured": face(skin, **shape)},
        stages=[{"name": "release", "pressure": "0 kPa", "steps": 2}],
    )


def last(folder, name):
    return float(list(csv.DictReader((folder / "path.csv").read_text().splitlines()))[-1][name])


@pytest.mark.long
@pytest.mark.slow
def test_measured_face_as_computed_gives_the_same_part(skin, tmp_path):
    measured = run_case(case_from_tables(measured_tables(skin, {"pressure": "4 kPa"})), tmp_path / "measured")
    assert measured.outcome.kind == "reached"
    assert "deviates from the computed inflated skin by 0.000 mm" in measured.outcome.remarks[0]
    assert "in equilibrium with its pressure" in measured.outcome.remarks[2]
    drawn = tables(
        supports=CLAMPED,
        mesh={"along": "2.5 mm", "on_struts": "1.5 mm"},
        stages=[{"name": "release", "pressure": "0 kPa", "steps": 2}],
    )
    run_case(case_from_tables(drawn), tmp_path / "drawn")
    for name, tolerance in (
        ("largest diameter [mm]", 2e-3),
        ("strain energy [mJ]", 0.01),
        ("strain energy lattice [mJ]", 0.01),
        ("lumen volume [mm3]", 2e-3),  # the directions of the measured ends follow from its radii
    ):
        measured_value, expected = (last(tmp_path / folder, name) for folder in ("measured", "drawn"))
        assert measured_value == pytest.approx(expected, rel=tolerance), name


def test_oval_skin_is_drawn_oval_with_its_deviation(skin):
    case = case_from_tables(measured_tables(skin, {}, oval=0.03))
    wall, inflation = inflated_wall(case)
    # Without pressure and volume it is inflated to the volume of the measured face, nearly that of the skin.
    assert inflation[-1].loads["pressure"].value == pytest.approx(4e-3, rel=0.02)
    # r (1 + e cos 2a sin(pi z / 12)): root mean square 0.03 * r / 2, maximum 0.03 * r with r about 6.2.
    assert wall.deviation.maximum == pytest.approx(0.03 * 6.15, rel=0.05)
    assert wall.deviation.root_mean_square == pytest.approx(0.015 * 6.1, rel=0.05)
    body = body_of(case)
    assert "root mean square" in body.notes["measured face"]
    foot = body.points[np.unique(body.base_node)]
    outer = foot[np.hypot(foot[:, 0], foot[:, 1]) > 5.9]
    middle = outer[np.abs(outer[:, 2] - 6.0) < 1.0]
    radius = np.hypot(middle[:, 0], middle[:, 1])
    assert 1.03 < radius.max() / radius.min() == pytest.approx(1.03 / 0.97, abs=0.015)
    inner = (
        np.abs(body.points[:, 2] - 6.0) < 3.0
    )  # outside of the influence of the computed corners at the ends
    np.testing.assert_allclose(np.linalg.det(body.stress_free_gradient["skin"][inner]), 1.0, atol=5e-3)


@pytest.mark.long
@pytest.mark.slow
def test_face_that_does_not_match_the_skin_is_refused(skin, tmp_path):
    changed = measured_tables(skin, {"pressure": "4 kPa"}, larger=1.3)
    changed["mesh"] |= {"along": "4 mm", "on_struts": "2.5 mm"}
    outcome = run_case(case_from_tables(changed), tmp_path / "run").outcome
    assert outcome.kind == "no equilibrium"
    assert "does not match that pressure" in outcome.text
    assert "deviates from the computed inflated skin by 1.78" in outcome.remarks[0]


@pytest.mark.long
def test_electrode_edges_are_heights_of_the_measured_skin(skin):
    changed = measured_tables(skin, {"pressure": "4 kPa"})
    grid = changed["lattice"]["measured"]
    grid["heights"] = [f"{float(height.split()[0]) + 2.0} mm" for height in grid["heights"]]
    electrode = {"name": "ring", "region": "skin", "from": "0 mm", "to": "6 mm"}
    changed["parts"] = [changed["parts"][0] | {"sheets": {"count": 2}}, changed["parts"][1]]
    changed["materials"] = changed["materials"] | {
        "silicone": changed["materials"]["silicone"] | {"permittivity": 2.8}
    }
    body = body_of(case_from_tables(changed | {"electrodes": [electrode]}))
    height = body.points[body.cells[body.bands["ring"]]][..., 2]
    assert (height.min(), height.max()) == pytest.approx(
        (2.0, 8.0), abs=0.02
    )  # the middle of the skin is the middle of the face
    outside = electrode | {"to": "13 mm"}
    with pytest.raises(
        InputError,
        match=r"electrodes\[ring\]\.to: must be at least 0 and at most 12 mm \(where the layers are\), got",
    ):
        case_from_tables(changed | {"electrodes": [outside]})
