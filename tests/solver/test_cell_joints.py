# SPDX-License-Identifier: MIT
"""Unit cells of thick walls between compliant joints, each joint solved alone by an independent library."""

import numpy as np
import pytest
from exact.frame import beam, frame_moduli, frame_of
from exact.joint import CUT, joint, jointed_moduli
from stiff_nodes import material
from test_unit_cells import as_array, honeycomb_beams, walls

from annelid.geometry.lattice_mesh.cell_mesh import unit_cell
from annelid.solver.homogenisation.unit_cell import UnitCell
from annelid.solver.model.material import Material

RUBBER = Material("rubber", "neo-hookean", {"shear_modulus": 1 / 3})
THICK = 0.1
HONEYCOMBS = [(30.0, 1.0), (-10.0, 1.0), (-10.0, 2.0), (-20.0, 2.0), (-30.0, 2.0), (-45.0, 2.0)]


def cell_moduli(pattern, of, fine):
    body = unit_cell(pattern, height=THICK, fine=fine * THICK)
    return as_array(UnitCell(body, (pattern.width, pattern.height), of).moduli())


def as_walls(pattern):
    return [strut.points for strut in pattern.struts], THICK, (pattern.width, pattern.height)


@pytest.mark.exact
def test_straight_wall_through_a_joint_is_a_beam():
    run = joint((180.0, 0.0))
    expected = beam(np.array([2 * CUT, 0.0]), 1.0, 0.0)
    np.testing.assert_allclose(run.stiffness, expected, rtol=2e-4, atol=1e-9)  # deflections are cubic


@pytest.mark.rate
def test_joints_converge_with_their_mesh():
    # Corners leave singular stresses, so the error falls with the element size, not with its square.
    coarse, middle, fine = (joint((90.0, 200.0, 340.0), fine=1 / n).stiffness for n in (8, 16, 32))
    first, second = np.abs(coarse - middle).max(), np.abs(middle - fine).max()
    assert second < 0.6 * first
    assert second < 5e-3 * np.abs(fine).max()


@pytest.mark.reference
@pytest.mark.parametrize(
    ("angle", "h"),
    [
        (30.0, 1.0),
        pytest.param(-20.0, 2.0, marks=pytest.mark.long),
        pytest.param(-45.0, 2.0, marks=pytest.mark.long),
    ],
)
def test_thick_honeycomb_is_walls_between_joints(angle, h):
    # Without Poisson effect the cell is a plane sheet, so both solve the same problem.
    pattern = walls(angle, h, THICK).pattern()
    np.testing.assert_allclose(
        cell_moduli(pattern, material(1.0), 0.25), jointed_moduli(*as_walls(pattern)), rtol=0.01
    )


@pytest.mark.long
@pytest.mark.exact
@pytest.mark.reference
@pytest.mark.parametrize(("angle", "h"), HONEYCOMBS)
def test_thick_rubber_honeycombs_follow_the_formulas(angle, h):
    # Stretch-corrected formulas (Gibson and Ashby 1997; Masters and Evans 1996; see honeycomb_beams), without
    # the size of joints, times the effect of the joints on a frame of the same beams.
    pattern = walls(angle, h, THICK).pattern()
    found = cell_moduli(pattern, RUBBER, 0.3)
    frame = frame_moduli(frame_of(*as_walls(pattern)), poisson=0.5)
    joints = jointed_moduli(*as_walls(pattern), poisson=0.5) / frame
    published = honeycomb_beams(angle, h, THICK)
    np.testing.assert_allclose(found[:4], (published * joints)[:4], rtol=0.03)
    assert found[4] == pytest.approx(joints[4] * frame[4], rel=0.03)  # the published one is of flexure alone
    assert np.all(joints[:2] > 1.05)
