# SPDX-License-Identifier: MIT
"""Tearing margin against closed forms: stretch, true and nominal strength, natural stretch, voltage."""

import numpy as np
import pytest
from dielectric_cases import MU, disc, follow, sheet, volts
from exact import homogeneous, sphere
from models import SLIDING, cylinder_body, neo_hookean, reached, run, tube_body, value
from test_membranes import hemisphere, inflate, mid_stretch

from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.material import Material, Tearing
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

LENGTH, PULL = 3.0, 1.4
GENT = {"shear_modulus": 0.3, "stretch_limit": 30.0}
NOMINAL = float(homogeneous.nominal_stress("gent", GENT, "uniaxial", PULL))
LIMITS = {
    "stretch": (Tearing(3.5), 3.5 / PULL),
    "true": (Tearing(None, 2.0, "true"), 2.0 / (PULL * NOMINAL)),
    "nominal": (Tearing(None, 2.0, "nominal"), 2.0 / NOMINAL),
    "stretch before stress": (Tearing(3.5, 2.0, "true"), 3.5 / PULL),
    "stress before stretch": (Tearing(9.0, 2.0, "true"), 2.0 / (PULL * NOMINAL)),
}
LIMIT = pytest.mark.parametrize("limit", LIMITS)


def bar(tearing, swelling=1.0):
    part = Part(
        "core", Material("rubber", "gent", GENT, tearing=tearing), None, NaturalStretch(swelling=swelling)
    )
    return Model(cylinder_body(1.0, LENGTH, (1, 1)), (part,), SLIDING)


def stretched(stretch, **more):
    return Stage("pull", displacements={"end_high": LENGTH * (stretch - 1)}, steps=2, **more)


@pytest.mark.exact
@LIMIT
def test_a_bar_in_tension(limit):
    """The nominal stress of a Gent solid at the pull, and the true stress, which is λ times as large."""
    tearing, exact = LIMITS[limit]
    last = reached(bar(tearing), [stretched(PULL)])[-1]
    for name in ("tearing margin", "least tearing margin"):
        assert value(last, name) == pytest.approx(exact, rel=1e-6)
    assert last.fields["tearing margin"] == pytest.approx(exact, rel=1e-6)


@pytest.mark.exact
@LIMIT
def test_the_elastic_stretch_and_the_stress_free_area_count(limit):
    """A bar with stress-free sizes of 0.8 of the drawn ones is stretched by 1.25 as drawn, by PULL in all."""
    tearing, exact = LIMITS[limit]
    model = bar(tearing, swelling=0.8)
    last = reached(model, [Stage("shrink", steps=2), stretched(0.8 * PULL)])[-1]
    assert value(last, "length") == pytest.approx(0.8 * PULL * LENGTH, rel=1e-9)
    assert value(last, "tearing margin") == pytest.approx(exact, rel=1e-6)


@pytest.mark.exact
@pytest.mark.parametrize("kind", ["true", "nominal"])
def test_a_strength_is_not_reached_in_compression(kind):
    """A squeezed bar has no tension, though its nominal stress is large; its largest stretch is 1/sqrt(λ)."""
    states = reached(bar(Tearing(None, 1e-2, kind)), [stretched(0.5)])
    assert [value(s, "tearing margin") for s in states] == [np.inf] * len(states)
    last = reached(bar(Tearing(3.5, 1e-2, kind)), [stretched(0.5)])[-1]
    assert value(last, "tearing margin") == pytest.approx(3.5 * np.sqrt(0.5), rel=1e-6)


@pytest.mark.exact
@pytest.mark.parametrize("kind", ["true", "nominal"])
def test_a_thin_sphere(kind):
    """Equal-biaxial tension, S = μ (λ - λ⁻⁵), true stress λ S; at the middle of a wall of 1 % of R."""
    la, t = 1.6, 0.01
    λ = mid_stretch(la, t)
    model = hemisphere(t, neo_hookean(1.0, tearing=Tearing(None, 3.0, kind)))
    (state,) = inflate(model, [la])
    S = homogeneous.nominal_stress("neo-hookean", {"shear_modulus": 1.0}, "biaxial", λ)
    exact = 3.0 / (S * (λ if kind == "true" else 1))
    assert value(state, "tearing margin") == pytest.approx(exact, rel=0.015)


@pytest.mark.exact
def test_a_thick_sphere_is_nearest_to_tearing_at_its_inner_face():
    """The stretch is largest there, and r³ - a³ = R³ - A³ at the outer face."""
    la = 1.5
    (state,) = inflate(hemisphere(0.5, neo_hookean(1.0, tearing=Tearing(4.0))), [la])
    assert value(state, "least tearing margin") == pytest.approx(4.0 / la, rel=5e-3)
    assert np.hypot(*state.places["least tearing margin"]) == pytest.approx(1.0, rel=1e-6)
    margins = state.fields["tearing margin"]
    assert margins.max() == pytest.approx(4.0 / sphere.outer_stretch(la, 1.0, 1.5), rel=5e-3)


@pytest.mark.exact
@pytest.mark.parametrize("model", ["axisymmetric", "sector"])
def test_a_part_without_a_limit_is_left_out(model):
    """Plane strain, r² = R² + a² - A²: the outer layer is most stretched at the interface, R = 1.2."""
    size = {} if model == "axisymmetric" else {"model": "sector", "sector": 45.0, "around": 16}
    body = tube_body(1.5, layers=[("inside", 0.2), ("outside", 0.3)], along=1.0, **size)
    limited = neo_hookean(tearing=Tearing(5.0, 1e3, "nominal"))
    parts = Part("inside", neo_hookean()), Part("outside", limited)
    states = reached(
        Model(body, parts, SLIDING), [Stage("fill", volume=np.pi * 1.4**2, control="volume", steps=2)]
    )
    stretch = np.sqrt(1.2**2 + 1.4**2 - 1) / 1.2
    assert value(states[-1], "least tearing margin") == pytest.approx(5.0 / stretch, rel=5e-3)
    *across, _ = states[-1].places["least tearing margin"]
    assert np.linalg.norm(across) == pytest.approx(1.2, rel=1e-3)
    judged = ~np.isnan(states[-1].fields["tearing margin"])
    assert judged[body.regions["outside"]].all()
    assert not judged[body.regions["inside"]].any()


@pytest.mark.exact
@pytest.mark.parametrize("stretch", [1.02, 0.98])
@pytest.mark.parametrize(("fraction", "left_out"), [(0.003, True), (0.01, False)])
def test_the_most_loaded_half_per_cent_is_left_out(fraction, left_out, stretch):
    """A skin of a given fraction of the volume tears early, the wall late, or never where it is squeezed."""
    thickness = np.sqrt(1 + fraction * (1.2**2 - 1)) - 1
    body = tube_body(1.2, layers=[("skin", thickness), ("wall", 0.2 - thickness)], along=0.5)
    skin = Part("skin", neo_hookean(tearing=Tearing(1.001)))
    wall = Part("wall", neo_hookean(tearing=Tearing(None, 1e3, "nominal")))
    stage = Stage("load", displacements={"end_high": stretch - 1}, steps=1)
    last = reached(Model(body, (skin, wall), SLIDING), [stage])[-1]
    of_skin = 1.001 / max(stretch, stretch**-0.5)
    S = homogeneous.nominal_stress("neo-hookean", {"shear_modulus": 1.0}, "uniaxial", stretch)
    of_wall = 1e3 / S if S > 0 else np.inf
    assert value(last, "least tearing margin") == pytest.approx(of_skin, rel=1e-6)
    assert value(last, "tearing margin") == pytest.approx(of_wall if left_out else of_skin, rel=1e-5)


@pytest.mark.exact
@pytest.mark.parametrize("electrics", ["layered", "solved"])
@pytest.mark.parametrize("kind", ["true", "nominal"])
def test_the_maxwell_stress_does_not_relieve_the_rubber(electrics, kind):
    """A free film under voltage has no stress in all; its rubber has that of a test at the same stretch."""
    thickness, λ, e = 0.05, 1.15, 0.655165547  # as in test_breakdown.py
    rubber = Material(
        "rubber", "neo-hookean", {"shear_modulus": MU}, permittivity=2.8, tearing=Tearing(None, 1.0, kind)
    )
    model = Model(
        disc(thickness),
        (sheet("film", thickness, material=rubber),),
        (Support("end_low", "axial"),),
        electrodes=(Electrode("film"),),
        electrics=electrics,
    )
    states, _ = follow(model, Stage("on", voltages={"film": volts(e, thickness)}, steps=2))
    S = homogeneous.nominal_stress("neo-hookean", {"shear_modulus": MU}, "biaxial", λ)
    stress = S * λ if kind == "true" else S
    assert value(states[-1], "tearing margin") == pytest.approx(1 / stress, rel=1e-5)
    assert value(states[-1], "peak stress") < 0.6 * S


def test_tearing_is_remarked_and_does_not_stop():
    outcome, states = run(bar(Tearing(1.3)), [stretched(PULL)])
    assert outcome.kind == "reached"
    assert [value(s, "tearing margin") < 1 for s in states] == [False, False, True]
    (remark,) = outcome.remarks
    assert remark.startswith("the stretch or stress exceeds that at which the part tears from ")


def test_only_models_with_a_limit_report_it():
    without = reached(bar(None), [stretched(PULL)])[-1]
    assert not [name for name in (*without.quantities, *without.fields) if "tearing" in name]
