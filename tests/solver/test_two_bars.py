# SPDX-License-Identifier: MIT
"""Von Mises truss as a solid: two bars whose hinges are necks of stiff wedges, pressed through their plane.

Source: truss of neo-Hookean bars, limit recomputed (own derivation in exact/truss.py). One bar is modelled,
the other is its mirror image. A wedge tapers to a neck of a thousandth of the bar, which bends as easily as a
hinge; its compliance along the bar, a few percent, is counted section by section.
"""

from dataclasses import replace

import numpy as np
import pytest
from dielectric_cases import grid_body
from exact import truss
from models import FOLLOW, neo_hookean, reached

from annelid.solver.model.boundary import Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import PointMotion, Stage

pytestmark = pytest.mark.exact

# h, crown height and P/(E A) at the limit of a truss of even neo-Hookean bars.
EVEN = ((0.1, 0.0575753, 0.000382355), (0.3, 0.1690301, 0.009812119), (0.5, 0.2704801, 0.041465339))
SLENDER = 0.01  # of the load: bars a tenth as thick as long, wedges stiff across
TABLE = 4e-6  # of numbers of six digits
PLACE = 5e-4  # of the rise, of the crown's height at the limit
RISE, THICK, NECK, WEDGE, STIFF = 0.1, 0.1, 1e-4, 0.05, 20.0
IN_WEDGE, IN_BAR = 8, 4  # cells along
LENGTH = np.hypot(1, RISE)
CELLS = 2 * IN_WEDGE + IN_BAR


@pytest.mark.parametrize(("h", "y", "P"), EVEN)
def test_even_bars_are_the_tabulated_ones(h, y, P):
    L0 = np.hypot(1, h)
    found = truss.snap(h, lambda shortening: truss.pressed(np.ones(1), np.full(1, L0), shortening))
    assert found == pytest.approx((y, P), rel=TABLE)


def place(q):
    """A bar from the support (X = 1, Z = 0) to the crown (X = 0, Z = RISE) by grid parameters in [0, 1]³."""
    step = q[:, 0] * CELLS
    near = np.minimum(step, CELLS - step)  # to the next end
    thick = np.minimum(NECK * (THICK / NECK) ** (near / IN_WEDGE), THICK)
    end = WEDGE * (thick - NECK) / (THICK - NECK)
    bar = WEDGE + (LENGTH - 2 * WEDGE) * (step - IN_WEDGE) / IN_BAR
    s = np.where(near >= IN_WEDGE, bar, np.where(step < CELLS / 2, end, LENGTH - end))
    across = (q[:, 2] - 0.5) * thick
    upright = np.clip(1 - np.minimum(s, LENGTH - s) / WEDGE, 0, 1)  # the end faces are planes of X
    x = 1 - s / LENGTH + (1 - upright) * across * RISE / LENGTH
    return np.stack([x, q[:, 1] * THICK, (s * RISE + across) / LENGTH], axis=1)


def two_bars():
    body = grid_body(
        "solid",
        (CELLS, 1, 1),
        place,
        "bar",
        {(0, 0): "end_low", (0, 1): "end_high", (1, 0): "side", (2, 1): "outer"},
        (0.0, 0.0, 1.0),
        hoop=(0.0, 1.0, 0.0),
    )
    cells = np.arange(CELLS)
    bar = (cells >= IN_WEDGE) & (cells < CELLS - IN_WEDGE)
    body = replace(body, regions={"bar": cells[bar], "wedges": cells[~bar]})
    parts = (Part("bar", neo_hookean(1 / 3)), Part("wedges", neo_hookean(STIFF / 3)))  # E = 1
    held = [("end_low", "axial"), ("end_low", "symmetric"), ("end_high", "symmetric"), ("side", "symmetric")]
    return Model(body, parts, tuple(Support(*pair) for pair in held))


def bar_force(shortening):
    """N over E of one bar, its wedges taken in sections."""
    s = (np.arange(2000) + 0.5) / 2000
    widths = np.append(STIFF * (NECK + (THICK - NECK) * s), THICK)
    lengths = np.append(np.full(2000, 2 * WEDGE / 2000), LENGTH - 2 * WEDGE)
    return truss.pressed(THICK * widths, lengths, shortening)


def test_two_solid_bars_snap_like_the_truss():
    """From the rise to its mirror image: a maximum and a minimum of the load, no other critical point."""
    y, P = truss.snap(RISE, bar_force)
    down = PointMotion((0.0, 0.0, RISE), 2, -2 * RISE)
    push = Stage("push", forces={"end_high": -P / 2}, point=down, control="displacement", steps=16)
    states = reached(two_bars(), [push], stepping=FOLLOW)
    top, bottom = (state for state in states if state.critical)
    assert top.critical == bottom.critical == "limit point"
    for state, load, height in ((top, P, y), (bottom, -P, -y)):
        assert -2 * state.loads["axial force end_high"].value == pytest.approx(load, rel=SLENDER)
        assert RISE - 2 * RISE * state.parameter == pytest.approx(height, abs=PLACE * RISE)
    for state in states:
        if not state.critical:
            assert state.unstable_modes == (top.index < state.index < bottom.index)
            assert state.unstable_modes_controlled == 0
