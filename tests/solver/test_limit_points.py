# SPDX-License-Identifier: MIT
"""Pressure maxima and minima of tubes and spheres, located on paths through them.

Tabulated values were recomputed from the formulas in exact/tube.py (Rivlin 1949; Haughton, Ogden 1979; from
memory), exact/sphere.py and exact/shells.py (Green, Adkins 1960; Treloar 1975; from memory); the loads are
then compared with extremes computed to the last digits. Past a maximum the volume or the arc length is
prescribed.
"""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from exact import shells, sphere, tube
from models import CLOSED, neo_hookean, tube_body, tube_model, value
from scipy.optimize import minimize_scalar
from walls import half_sphere, root_mean_square_motion

from annelid.solver.continuation.path import Path
from annelid.solver.model.material import Material
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

LOAD = 1e-5  # relative, of an extreme against the exact solution of the same wall
FLAT = 1e-4  # of the stretch there: the load is flat, so the stretch is less accurate
TABLE = 2e-5  # rounding of tabulated values
MEMBRANE = 5e-5  # of a wall of 1/1000 of its radius against the membrane
MEMBRANE_STRETCH = 5e-4  # of the stretch there
MEMBRANE_FLAT = 5e-6  # of the load: so close to its extreme, rounding dominates in a wall of 1/10,000
ARC = 1e-7  # of the requested arc length
RESIDUAL = 1e-8  # out-of-balance force over the forces at play

# B/A, la, lz, P/μ at the first pressure maximum of the closed neo-Hookean tube.
TUBES = (
    (1.05, 1.602779, 1.178174, 0.036586),
    (1.1, 1.628565, 1.178136, 0.071467),
    (1.25, 1.705253, 1.177903, 0.167292),
    (1.5, 1.831036, 1.177257, 0.303837),
    (2.0, 2.076105, 1.175526, 0.518807),
    (3.0, 2.545673, 1.171786, 0.820604),
)
# B/A, la, P/μ at the pressure maximum of the neo-Hookean sphere.
SPHERES = (
    (1.05, 1.404669, 0.060457),
    (1.1, 1.426385, 0.118013),
    (1.25, 1.492201, 0.275039),
    (1.5, 1.603434, 0.493519),
    (2.0, 1.828147, 0.816424),
)
# λ and P R/(μ H) at the extremes of thin spheres of μ = 1: maximum, then minimum.
THIN = {
    "neo-hookean": ((1.383088, 1.239463),),
    "mooney-rivlin": ((1.476070, 1.355107), (3.142621, 1.148748)),
    "gent 97.2": ((1.397673, 1.254081), (4.085023, 0.712019)),
    "gent 30": ((1.445146, 1.292599), (2.318007, 1.157450)),
}
LAWS = {"neo-hookean": {}, "mooney-rivlin": {"ratio": 0.1}, "gent 97.2": {"J": 97.2}, "gent 30": {"J": 30.0}}
MATERIALS = {
    "neo-hookean": neo_hookean(),
    "mooney-rivlin": Material("rubber", "mooney-rivlin", {"c1": 0.5 / 1.1, "c2": 0.05 / 1.1}),
    "gent 97.2": Material("rubber", "gent", {"shear_modulus": 1.0, "stretch_limit": 97.2}),
    "gent 30": Material("rubber", "gent", {"shear_modulus": 1.0, "stretch_limit": 30.0}),
}
W = tube.mooney_rivlin(0.5)

each_tube = pytest.mark.parametrize("row", TUBES, ids=lambda row: f"B/A {row[0]}")
each_sphere = pytest.mark.parametrize("row", SPHERES, ids=lambda row: f"B/A {row[0]}")


def largest(pressure, low, high):
    """Where a pressure has its maximum, and its value there."""
    found = minimize_scalar(
        lambda x: -pressure(x), bounds=(low, high), method="bounded", options={"xatol": 1e-10}
    )
    return found.x, -found.fun


def follow(model, *stages, beyond="follow"):
    path, states = Path(model, stages, stepping=Stepping(beyond_instability=beyond)), []
    outcome = path.follow(observe=states.append)
    assert outcome.kind == "reached", outcome.text
    return path, states


def criticals(states):
    return [state for state in states if state.critical]


def tube_pressure(ratio):
    return lambda la: tube.pressure_and_force(W, 1.0, ratio, la, tube.capped_stretch(W, 1.0, ratio, la))[0]


def tube_volume(ratio, la):
    return np.pi * la**2 * tube.capped_stretch(W, 1.0, ratio, la) * 0.5


def closed_tube(ratio, through=6):
    return tube_model(tube_body(ratio, length=0.5, through=through), neo_hookean(), CLOSED)


def inner(state):
    return 1 + value(state, "largest radial expansion")


@pytest.mark.exact
@each_tube
def test_pressure_maximum_of_a_closed_tube(row):
    """Stages end at 0.9997 and 1.0003 of the stretch at the maximum; the mode count changes between them."""
    ratio, *tabulated = row
    la, P = largest(tube_pressure(ratio), 1.3, 2.9)
    lz = tube.capped_stretch(W, 1.0, ratio, la)
    assert (la, lz, P) == pytest.approx(tabulated, rel=TABLE)
    below, above, far = (tube_volume(ratio, la * x) for x in (1 - 3e-4, 1 + 3e-4, 1.25))
    stages = [
        Stage(name, volume=end, control="volume", steps=steps)
        for name, end, steps in (("below", below, 8), ("above", above, 1), ("far", far, 5))
    ]
    _, states = follow(closed_tube(ratio, 12 if ratio == 3.0 else 6), *stages)
    (top,) = criticals(states)
    assert top.stage == "above"
    assert top.critical == "limit point"
    assert top.loads["pressure"].value == pytest.approx(P, rel=LOAD)
    assert inner(top) == pytest.approx(la, rel=FLAT)
    assert 1 - value(top, "axial shortening") == pytest.approx(lz, rel=FLAT)
    assert {s.unstable_modes for s in states if s.stage == "below"} == {0}
    assert {s.unstable_modes for s in states if s.stage != "below" and s is not top} == {1}
    assert not any(s.unstable_modes_controlled for s in states)
    assert max(s.residual for s in states) <= RESIDUAL


@pytest.mark.exact
@each_tube
def test_arc_through_the_maximum_of_a_closed_tube(row):
    """Arc condition by an own quadrature, equilibrium by the exact solution, sign of the increments."""
    ratio, la_max, _, P = row
    model = closed_tube(ratio, 12 if ratio == 3.0 else 6)
    path, states = follow(model, Stage("arc", pressure=1.2 * P, arc=1.3 * la_max, control="arc", steps=16))
    (top,) = criticals(states)
    assert top.loads["pressure"].value == pytest.approx(P, rel=LOAD + TABLE)
    regular = [s for s in states if not s.critical]
    assert len(regular) > 14
    length = 1.3 * la_max
    for one, two in pairwise(regular[1:]):
        moved = root_mean_square_motion(model.body, two.displacement - one.displacement)
        assert moved == pytest.approx((two.parameter - one.parameter) * length, rel=ARC)
        rises = two.loads["pressure"].value > one.loads["pressure"].value
        if two.index < top.index or one.index > top.index:
            assert rises == (two.index < top.index)
    for state in regular[2:]:
        la, lz = inner(state), 1 - value(state, "axial shortening")
        assert lz == pytest.approx(tube.capped_stretch(W, 1.0, ratio, la), rel=FLAT)
        assert state.loads["pressure"].value == pytest.approx(tube_pressure(ratio)(la), rel=1e-4)
        assert state.residual <= RESIDUAL
    path.system.assemble_residual()
    off = path.system.reduced_norm(path.system.residual)[0]
    assert off < RESIDUAL * path.system.load_norm()


@pytest.mark.exact
@each_sphere
def test_pressure_maximum_of_a_thick_sphere(row):
    ratio, *tabulated = row
    la, P = largest(lambda x: sphere.neo_hookean_pressure(1.0, x, 1.0, ratio), 1.2, 2.2)
    assert (la, P) == pytest.approx(tabulated, rel=TABLE)
    stages = [
        Stage(f"{x}", volume=2 * np.pi / 3 * (x * la) ** 3, control="volume", steps=6)
        for x in (1 - 3e-4, 1 + 3e-4, 1.2)
    ]
    _, states = follow(half_sphere(ratio - 1, neo_hookean(), through=6), *stages)
    (top,) = criticals(states)
    assert top.critical == "limit point"
    assert top.loads["pressure"].value == pytest.approx(P, rel=LOAD)
    assert inner(top) == pytest.approx(la, rel=FLAT)
    assert [s.unstable_modes for s in states] == [int(s.index > top.index) for s in states]
    assert [s.unstable_modes for s in states if s.parameter > 1 - 1e-9] == [0, 1, 1]
    assert not any(s.unstable_modes_controlled for s in states)
    assert max(s.residual for s in states) <= RESIDUAL


THIN_WALLS = (1e-3, 1e-4)  # of the radius


@cache
def inflated(name, H):
    """A thin sphere inflated well past its extremes."""
    λ = THIN[name][-1][0] * 1.2
    _, states = follow(
        half_sphere(H, MATERIALS[name], through=1),
        Stage("fill", volume=2 * np.pi / 3 * λ**3, control="volume", steps=14),
    )
    return states


@pytest.mark.exact
@pytest.mark.parametrize("H", THIN_WALLS)
@pytest.mark.parametrize("name", THIN)
def test_extremes_of_a_thin_sphere(name, H):
    """In so thin a wall rounding keeps the residual above its tolerance; states are found nevertheless."""
    law = LAWS[name]
    λs = shells.extremes(lambda λ: shells.sphere_pressure(λ, **law), 1.1, THIN[name][-1][0] * 1.2)
    assert len(λs) == len(THIN[name])
    found = criticals(inflated(name, H))
    assert len(found) == len(λs)
    for λ, row, state in zip(λs, THIN[name], found, strict=True):
        p = shells.sphere_pressure(λ, **law)
        assert (λ, p) == pytest.approx(row, rel=TABLE)
        assert state.critical == "limit point"
        R = 1 + H / 2
        middle = np.cbrt(inner(state) ** 3 + R**3 - 1) / R
        assert state.loads["pressure"].value * R / H == pytest.approx(p, rel=MEMBRANE)
        assert shells.sphere_pressure(middle, **law) == pytest.approx(p, rel=MEMBRANE_FLAT)
        if H > 2e-4:
            assert middle == pytest.approx(λ, rel=MEMBRANE_STRETCH)


@pytest.mark.parametrize("H", THIN_WALLS)
@pytest.mark.parametrize("name", THIN)
def test_thin_sphere_is_unstable_between_its_extremes(name, H):
    states = inflated(name, H)
    turns = [state.index for state in criticals(states)]
    for state in states:
        if not state.critical:
            assert state.unstable_modes == sum(state.index > turn for turn in turns) % 2
        assert state.unstable_modes_controlled == 0


@pytest.mark.exact
def test_exact_extremes_are_the_known_ones():
    """7^(1/6) for a neo-Hookean sphere; above c2/c1 = 0.214458 (recomputed) there is no maximum."""
    (top,) = shells.extremes(shells.sphere_pressure, 1.05, 3.0)
    assert top == pytest.approx(7 ** (1 / 6), rel=1e-9)
    assert shells.sphere_pressure(top) == pytest.approx(1.239462902, rel=1e-9)
    assert shells.extremes(lambda λ: shells.sphere_pressure(λ, ratio=0.2144), 1.05, 4.0)
    assert not shells.extremes(lambda λ: shells.sphere_pressure(λ, ratio=0.2145), 1.05, 4.0)
