# SPDX-License-Identifier: MIT
"""Spheres, thin and thick, inflated past their pressure maximum under volume control.

Formulas in exact/sphere.py (Green, Adkins 1960; Treloar 1975, from memory); the tabulated values were
recomputed from them. The models are hemispheres, cut at the equator, which slides in the plane of symmetry.
"""

import numpy as np
import pytest
from exact import sphere
from models import neo_hookean, reached, run, value

from annelid.geometry.body import FloatArray
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.shape import Layer
from annelid.solver.model.boundary import Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

NEO_HOOKEAN = neo_hookean(1.0)
GENT_30 = Material("rubber", "gent", {"shear_modulus": 1.0, "stretch_limit": 30.0})
TOLERANCE = 2e-4  # of the pressure against the exact solution for the thick shell
THICK = 1e-3  # the same with two elements through a wall as thick as the radius
THIN = 1e-3  # of the membrane formula for a wall of 1 % of the radius, stretch taken at mid wall


def quarter_circle(q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    c, s = np.cos(q), np.sin(q)
    return np.stack([c, s], axis=1), np.stack([-s, c], axis=1), np.stack([-c, -s], axis=1)


def hemisphere(thickness: float, material: Material, *, through: int = 2) -> Model:
    """Inner radius 1, equator at Z = 0, pole on the axis."""
    meridian = Meridian("hemisphere", quarter_circle, (0.0, np.pi / 2))
    size = MeshSize(along=0.2, through=through)
    body = build(Balloon(meridian, (Layer("wall", thickness),)), size)
    return Model(body, (Part("wall", material),), (Support("end_low", "symmetric"),))


def volume(la: float) -> float:
    return 2 * np.pi / 3 * la**3


def mid_stretch(la: float, thickness: float) -> float:
    """Stretch of the mid surface of the wall, from the volume of the wall inside it."""
    R = 1 + thickness / 2
    return float(np.cbrt(la**3 + R**3 - 1)) / R


def inflate(model: Model, stretches: list[float]) -> list:
    stages = [Stage(f"{la}", volume=volume(la), control="volume", steps=2) for la in stretches]
    states = reached(model, stages)
    return [next(s for s in states if s.stage == f"{la}" and s.parameter == 1.0) for la in stretches]


# B/A, la at the maximum, P/μ there.
MAXIMA = (
    (1.05, 1.404669, 0.060457),
    (1.1, 1.426385, 0.118013),
    (1.5, 1.603434, 0.493519),
    (2.0, 1.828147, 0.816424),
)


@pytest.mark.parametrize("row", MAXIMA, ids=lambda row: f"B/A {row[0]}")
def test_thick_sphere(row):
    """Pressure at prescribed volume; beyond the maximum there is one unstable mode at prescribed pressure."""
    ratio, la_max, P_max = row
    assert sphere.neo_hookean_pressure(1.0, la_max, 1.0, ratio) == pytest.approx(P_max, rel=1e-5)
    stretches = [1.1, 1.25, 0.99 * la_max, la_max, 1.01 * la_max, 2.2]
    model = hemisphere(ratio - 1, NEO_HOOKEAN)
    states = inflate(model, stretches)
    for la, state in zip(stretches, states, strict=True):
        exact = sphere.neo_hookean_pressure(1.0, la, 1.0, ratio)
        assert state.loads["pressure"].value == pytest.approx(exact, rel=THICK), la
        assert value(state, "largest radial expansion") == pytest.approx(la - 1, rel=2 * TOLERANCE)
        assert state.unstable_modes_controlled == 0
        if la != la_max:
            assert state.unstable_modes == (1 if la > la_max else 0), la
    top = max(s.loads["pressure"].value for s in states)
    assert top == pytest.approx(P_max, rel=THICK)


def test_thin_sphere_neo_hookean():
    """P R/(μ H) = 2 (λ⁻¹ - λ⁻⁷): maximum 1.239463 at λ = 7^(1/6), where the unstable mode appears."""
    H = 0.01
    stretches = [1.1, 1.2, 1.37, 1.383, 1.4, 1.75, 2.5]
    states = inflate(hemisphere(H, NEO_HOOKEAN), stretches)
    scale = (1 + H / 2) / H
    for la, state in zip(stretches, states, strict=True):
        λ = mid_stretch(la, H)
        pressure = state.loads["pressure"].value
        assert pressure == pytest.approx(sphere.neo_hookean_pressure(1.0, la, 1.0, 1 + H), rel=TOLERANCE), la
        assert pressure * scale == pytest.approx(sphere.thin_pressure(1.0, λ), rel=THIN)
        assert state.unstable_modes_controlled == 0
    assert [s.unstable_modes for s in states] == [0, 0, 0, 0, 1, 1, 1]
    assert 1.37 < 7 ** (1 / 6) < 1.4
    top = max(s.loads["pressure"].value for s in states) * scale
    assert top == pytest.approx(1.239462902, rel=2 * THIN)


# Gent, Jm = 30: λ and P R/(μ H) on the thin sphere; maximum at 1.445146, minimum at 2.318007.
GENT_TABLE = (
    (1.1, 0.794594),
    (1.3, 1.25015),
    (1.445146, 1.292599),
    (1.75, 1.23624),
    (2.318007, 1.157450),
    (2.5, 1.16739),
    (3.0, 1.3326),
)


def test_thin_sphere_gent_falls_and_rises_again():
    H = 0.01
    for λ, p in GENT_TABLE:
        assert sphere.thin_pressure(1.0, λ, 30.0) == pytest.approx(p, rel=5e-6)
    stretches = [1.1, 1.3, 1.40, 1.48, 1.75, 2.2, 2.45, 3.0]
    states = inflate(hemisphere(H, GENT_30), stretches)
    for la, state in zip(stretches, states, strict=True):
        pressure = state.loads["pressure"].value
        assert pressure == pytest.approx(sphere.gent_pressure(1.0, 30.0, la, 1.0, 1 + H), rel=TOLERANCE), la
        λ = mid_stretch(la, H)
        assert pressure * (1 + H / 2) / H == pytest.approx(sphere.thin_pressure(1.0, λ, 30.0), rel=THIN)
        assert state.unstable_modes_controlled == 0
    assert [s.unstable_modes for s in states] == [0, 0, 0, 1, 1, 1, 0, 0]


def test_sphere_under_pressure_ends_at_its_maximum():
    ratio, la_max, P_max = MAXIMA[1]
    outcome, states = run(hemisphere(ratio - 1, NEO_HOOKEAN), [Stage("inflate", pressure=0.15, steps=10)])
    assert outcome.kind == "limit point"
    assert states[-1].critical == "limit point"
    assert states[-1].loads["pressure"].value == pytest.approx(P_max, rel=TOLERANCE)
    assert value(states[-1], "largest radial expansion") == pytest.approx(la_max - 1, rel=0.01)
