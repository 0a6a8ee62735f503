# SPDX-License-Identifier: MIT
"""A deep circular arch as a solid, clamped at one end, hinged at the other, loaded at its crown to collapse.

Source: DaDeppo and Schmidt, J. Appl. Mech. 42, 896 (1975), P R²/(E I) = 8.97 for 215 degrees (from memory);
the rows below were recomputed from the inextensible elastica. In plane strain an incompressible strip bends
with E/(1 - ν²) = 4 μ. The hinge is a wedge that tapers to a neck, stiff so that it bends at the neck alone.
"""

from dataclasses import replace

import numpy as np
import pytest
from dielectric_cases import grid_body
from models import FOLLOW, neo_hookean, reached

from annelid.solver.model.boundary import Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import PointMotion, Stage

pytestmark = [pytest.mark.exact, pytest.mark.reference]

# Drop of the crown over R, P R²/(E I).
ROWS = {0.26: 4.01951, 0.56: 5.8635, 0.86: 7.49193, 1.06: 8.67999}
TOP, DROP = 8.9752, 1.1355
LAST = 1.17  # the motion of the crown reverses a little beyond
SLENDER = 5e-3  # of the load: a strip of 1/25 of its radius, elements as long as it is thick or twice
FLAT = 5e-3  # of the drop at the maximum, which is flat
THICK, NECK, WEDGE, STIFF = 0.04, 4e-5, 0.12, 20.0
IN_WEDGE, IN_ARCH = 8, 100  # cells along
HALF = np.radians(215 / 2)


def place(q):
    """From the clamp over the crown (X = 0, Z = 1) to the hinge by grid parameters in [0, 1]³."""
    step = q[:, 0] * (IN_ARCH + IN_WEDGE)
    near = IN_ARCH + IN_WEDGE - step  # cells to the hinge
    thick = np.minimum(NECK * (THICK / NECK) ** (near / IN_WEDGE), THICK)
    half = IN_ARCH / 2  # cells on each side of the crown
    share = np.abs(step / half - 1)  # the cells at the crown, which carry the load, are the smallest
    share = 0.2 * share + 0.8 * share**2
    arch = np.where(step < half, -HALF * share, (HALF - WEDGE) * share)
    φ = np.where(near >= IN_WEDGE, arch, HALF - WEDGE * (thick - NECK) / (THICK - NECK))
    r = 1 + (q[:, 1] - 0.5) * thick
    return np.stack([r * np.sin(φ), (q[:, 2] - 0.5) * THICK, r * np.cos(φ)], axis=1)


def arch():
    cells = np.arange(IN_ARCH + IN_WEDGE)
    sides = {(2, 0): "side_low", (2, 1): "side_high"}
    body = grid_body(
        "solid",
        (len(cells), 1, 1),
        place,
        "arch",
        {(0, 0): "clamp", (0, 1): "hinge", (1, 1): "outer"} | sides,
        (0.0, 0.0, 1.0),
        hoop=(1.0, 0.0, 0.0),
    )
    outer = body.surfaces["outer"]
    middle = body.points[body.facets[outer]].mean(axis=1)
    # Dead forces act on ends; here the crown is one.
    crown = outer[np.argsort(np.abs(middle[:, 0]) + 10 * (middle[:, 2] < 0))[:2]]
    body = replace(
        body,
        regions={"arch": cells[:IN_ARCH], "wedge": cells[IN_ARCH:]},
        surfaces=body.surfaces | {"end_high": crown},
    )
    parts = (Part("arch", neo_hookean()), Part("wedge", neo_hookean(STIFF)))
    held = [("clamp", "all"), ("hinge", "all"), ("side_low", "symmetric"), ("side_high", "symmetric")]
    return Model(body, parts, tuple(Support(*pair) for pair in held))


@pytest.mark.long
def test_arch_collapses_at_the_load_of_the_elastica():
    stiffness = 4 * THICK * THICK**3 / 12  # E I of plane strain over the width, R = 1
    down = PointMotion((0.0, 0.0, 1.0), 2, -LAST)
    press = Stage(
        "press", forces={"end_high": -TOP * stiffness}, point=down, control="displacement", steps=12
    )
    states = reached(arch(), [press], stepping=FOLLOW)
    found = {LAST * s.parameter: -s.loads["axial force end_high"].value / stiffness for s in states}
    drops, loads = np.array(list(found)), np.array(list(found.values()))
    for drop, load in ROWS.items():
        assert np.interp(drop, drops, loads) == pytest.approx(load, rel=SLENDER)
    (top,) = (state for state in states if state.critical)
    assert top.critical == "limit point"
    assert -top.loads["axial force end_high"].value / stiffness == pytest.approx(TOP, rel=SLENDER)
    assert LAST * top.parameter == pytest.approx(DROP, rel=FLAT)
    for state in states:
        if not state.critical:
            assert state.unstable_modes == (state.index > top.index)
