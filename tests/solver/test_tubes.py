# SPDX-License-Identifier: MIT
"""Thick tubes under pressure: radially exact solutions, with two elements through the wall.

Formulas in exact/tube.py (Rivlin 1949; Haughton, Ogden 1979, from memory); the tabulated values below were
recomputed from them by quadrature and by the closed form, which agree to 1e-10.
"""

import numpy as np
import pytest
from exact import tube
from models import CLOSED, SLIDING, last_of, neo_hookean, reached, run, tube_body, tube_model, value

from annelid.solver.model.boundary import Foundation, Section, Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import ElectrodeFilm, Fibres, Part, Sheets
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

TOLERANCE = 2e-3  # of pressure, radius and length with two elements through the wall

NEO_HOOKEAN = neo_hookean(1.0)
MOONEY = Material("rubber", "mooney-rivlin", {"c1": 0.4, "c2": 0.1})

# B/A, lz, la, P/μ and F/(μ A²) of the neo-Hookean tube, the same of c1 = 0.4 μ, c2 = 0.1 μ.
INFLATION = (
    (1.1, 1.0, 1.1, 0.0281251, -0.0100886, 0.0281251, -0.00605317),
    (1.1, 1.0, 1.5, 0.0744074, -0.199077, 0.0744074, -0.119446),
    (1.1, 1.0, 2.0, 0.0884315, -0.657152, 0.0884315, -0.394291),
    (1.1, 1.2, 1.1, 0.0395308, 0.306148, 0.0430095, 0.308394),
    (1.1, 1.2, 1.5, 0.0671484, 0.118942, 0.0730575, 0.212544),
    (1.1, 1.2, 2.0, 0.07541, -0.279123, 0.0820461, 0.00873495),
    (1.5, 1.0, 1.1, 0.0947885, -0.033445, 0.0947885, -0.020067),
    (1.5, 1.0, 1.5, 0.283755, -0.724721, 0.283755, -0.434833),
    (1.5, 1.0, 2.0, 0.358784, -2.53996, 0.358784, -1.52398),
    (1.5, 1.2, 1.1, 0.139121, 1.89169, 0.151364, 1.8712),
    (1.5, 1.2, 1.5, 0.262382, 1.18705, 0.285471, 1.51042),
    (1.5, 1.2, 2.0, 0.309606, -0.416756, 0.336852, 0.689276),
    (2.0, 1.0, 1.1, 0.131562, -0.0460007, 0.131562, -0.0276004),
    (2.0, 1.0, 1.5, 0.428228, -1.05832, 0.428228, -0.63499),
    (2.0, 1.0, 2.0, 0.574054, -3.89563, 0.574054, -2.33738),
    (2.0, 1.2, 1.1, 0.198188, 4.63365, 0.215628, 4.5388),
    (2.0, 1.2, 1.5, 0.40436, 3.57963, 0.439944, 3.99914),
    (2.0, 1.2, 2.0, 0.502197, 1.03085, 0.546391, 2.69417),
)


def test_formulas_give_the_table():
    for ratio, lz, la, P, F, P_mooney, F_mooney in INFLATION:
        assert tube.neo_hookean_pressure(1.0, 1.0, ratio, la, lz) == pytest.approx(P, rel=5e-6)
        found = tube.pressure_and_force(tube.mooney_rivlin(0.5), 1.0, ratio, la, lz)
        assert found == pytest.approx((P, F), rel=5e-6)
        found = tube.pressure_and_force(tube.mooney_rivlin(0.4, 0.1), 1.0, ratio, la, lz)
        assert found == pytest.approx((P_mooney, F_mooney), rel=5e-6)


@pytest.mark.parametrize("material", [NEO_HOOKEAN, MOONEY], ids=["neo-hookean", "mooney-rivlin"])
@pytest.mark.parametrize("lz", [1.0, 1.2])
@pytest.mark.parametrize("ratio", [1.1, 1.5, 2.0])
def test_inflation_at_given_length(ratio, lz, material):
    """Inflated to a prescribed inner radius: the pressure, and the reaction of the ends.

    The ends slide in their planes, so the reaction is the force of the wall. The tabulated force is without
    the thrust P π a² of the fluid on closed ends: F = reaction - P π a².
    """
    rows = [row for row in INFLATION if row[:2] == (ratio, lz)]
    model = tube_model(tube_body(ratio), material)
    stages = [Stage("stretch", displacements={"end_high": lz - 1}, steps=1)] + [
        Stage(f"to {la}", volume=np.pi * la**2 * lz, control="volume", steps=3) for _, _, la, *_ in rows
    ]
    states = reached(model, stages)
    for _, _, la, *expected in rows:
        P, F = expected[:2] if material is NEO_HOOKEAN else expected[2:]
        state = last_of(states, f"to {la}")
        pressure = state.loads["pressure"].value
        assert value(state, "radial expansion mid") == pytest.approx(la - 1, rel=TOLERANCE)
        assert pressure == pytest.approx(P, rel=TOLERANCE)
        thrust = pressure * np.pi * la**2
        force = value(state, "axial reaction end_high") - thrust
        assert force == pytest.approx(F, rel=TOLERANCE, abs=TOLERANCE * thrust)
        assert value(state, "axial reaction end_low") == pytest.approx(-force - thrust, rel=1e-6)
        assert value(state, "lumen volume") == pytest.approx(np.pi * la**2 * lz, rel=1e-8)
        thickness = float(tube.radius(ratio, 1.0, la, lz)) - la
        assert value(state, "minimum wall thickness") == pytest.approx(thickness, rel=TOLERANCE)


@pytest.mark.parametrize("row", [INFLATION[1], INFLATION[7], INFLATION[16]], ids=["thin", "middle", "thick"])
def test_radius_at_given_pressure(row):
    ratio, lz, la, P, *_ = row
    stages = [
        Stage("stretch", displacements={"end_high": lz - 1}, steps=1),
        Stage("inflate", pressure=P, steps=4),
    ]
    state = reached(tube_model(tube_body(ratio), NEO_HOOKEAN), stages)[-1]
    assert 1 + value(state, "radial expansion mid") == pytest.approx(la, rel=TOLERANCE)
    outer = state.profiles["outer"]
    assert outer.radius == pytest.approx(float(tube.radius(ratio, 1.0, la, lz)), rel=TOLERANCE)


# Closed tube without axial force: B/A, la, lz and P/μ neo-Hookean, the same of c1 = 0.4 μ, c2 = 0.1 μ.
CAPPED = (
    (1.1, 1.1, 1.00536, 0.0286322, 1.00315, 0.0284604),
    (1.1, 1.4, 1.07846, 0.0665395, 1.04332, 0.0685015),
    (1.5, 1.1, 1.00292, 0.0957964, 1.00173, 0.0954537),
    (1.5, 1.4, 1.04468, 0.252869, 1.02547, 0.256154),
    (1.5, 1.6, 1.09704, 0.292191, 1.05391, 0.305262),
    (2.0, 1.2, 1.00657, 0.235341, 1.00388, 0.234909),
    (2.0, 1.6, 1.05737, 0.459581, 1.03278, 0.470212),
)


def test_formulas_give_the_table_of_closed_tubes():
    for ratio, la, *expected in CAPPED:
        for W, (lz, P) in zip(
            (tube.mooney_rivlin(0.5), tube.mooney_rivlin(0.4, 0.1)), (expected[:2], expected[2:]), strict=True
        ):
            assert tube.capped_stretch(W, 1.0, ratio, la) == pytest.approx(lz, rel=5e-6)
            assert tube.pressure_and_force(W, 1.0, ratio, la, lz)[0] == pytest.approx(P, rel=2e-5)


@pytest.mark.parametrize("material", [NEO_HOOKEAN, MOONEY], ids=["neo-hookean", "mooney-rivlin"])
@pytest.mark.parametrize("ratio", [1.1, 1.5, 2.0])
def test_closed_tube(ratio, material):
    """A rigid plate, free along the axis, closes the tube: radius and length at prescribed pressure."""
    rows = [row for row in CAPPED if row[0] == ratio]
    wanted = [row[2:4] if material is NEO_HOOKEAN else row[4:6] for row in rows]
    model = tube_model(tube_body(ratio), material, CLOSED)
    stages = [Stage(f"{la}", pressure=P, steps=3) for (_, la, *_), (_, P) in zip(rows, wanted, strict=True)]
    states = reached(model, stages)
    for (_, la, *_), (lz, _) in zip(rows, wanted, strict=True):
        state = last_of(states, f"{la}")
        assert 1 + value(state, "radial expansion mid") == pytest.approx(la, rel=TOLERANCE)
        assert 1 - value(state, "axial shortening") == pytest.approx(lz, rel=TOLERANCE)
        # a closed tube needs no reaction: its plates balance the thrust of the fluid
        assert abs(value(state, "axial reaction end_low")) < 1e-8
        assert state.unstable_modes == 0


@pytest.mark.parametrize("angle", [0.0, 35.0, 54.7356, 80.0])
def test_helical_fibres(angle):
    """Tube with a balanced helical fibre pair, radially exact (own derivation, exact/tube.py).

    Inflated at the fixed length 1.05, so that fibres near the axis are also in tension.
    """
    W = tube.helical_fibres(1.0, angle, 2.0, 0.8)
    la, lz, ratio = 1.3, 1.05, 1.1
    P, F = tube.pressure_and_force(W, 1.0, ratio, la, lz)
    bare = tube.pressure_and_force(tube.mooney_rivlin(0.5), 1.0, ratio, la, lz)
    assert abs(P - bare[0]) + abs(F - bare[1]) > 0.01  # the fibres have an effect
    part = Part("wall", NEO_HOOKEAN, fibres=Fibres(angle, 2.0, 0.8, families=2))
    model = Model(tube_body(ratio, through=4), (part,), SLIDING, sections=(Section("mid", 0.5),))
    stages = [
        Stage("stretch", displacements={"end_high": lz - 1}, steps=1),
        Stage("inflate", volume=np.pi * la**2 * lz, control="volume", steps=4),
    ]
    state = reached(model, stages)[-1]
    pressure = state.loads["pressure"].value
    assert pressure == pytest.approx(P, rel=1e-5)
    force = value(state, "axial reaction end_high") - pressure * np.pi * la**2
    assert force == pytest.approx(F, rel=1e-5, abs=1e-5)


def test_compressed_fibres_carry_no_force():
    """Fibres along the axis of an axially compressed tube carry no force."""
    part = Part("wall", NEO_HOOKEAN, fibres=Fibres(90.0, 5.0, 1.0))
    model = Model(tube_body(), (part,), SLIDING, sections=(Section("mid", 0.5),))
    state = reached(model, [Stage("push", displacements={"end_high": -0.1}, steps=2)])[-1]
    area = np.pi * (1.1**2 - 1)
    assert value(state, "axial reaction end_high") == pytest.approx((0.9 - 0.9**-2) * area, rel=1e-7)
    pulled = reached(model, [Stage("pull", displacements={"end_high": 0.1}, steps=2)])[-1]
    assert value(pulled, "axial reaction end_high") > 2 * (1.1 - 1.1**-2) * area


def test_electrode_film():
    """A film mixed in by volume: the tube is neo-Hookean with (1 - f) μ + f μ_film inside the electrode."""
    from annelid.geometry.shapes.band import Band
    from annelid.solver.model.boundary import Electrode

    f, μ_film, la = 0.2, 6.0, 1.4
    whole = tube_body(bands=(Band("ring", "wall", 0.0, 1.0),))
    part = Part(
        "wall",
        neo_hookean(1.0, permittivity=2.8),
        Sheets(1, 0.1),
        electrode_film=ElectrodeFilm(f, μ_film),
    )
    model = Model(whole, (part,), SLIDING, (Electrode("ring"),), sections=(Section("mid", 0.5),))
    state = reached(model, [Stage("blow", volume=np.pi * la**2, control="volume", steps=3)])[-1]
    μ = (1 - f) * 1.0 + f * μ_film
    exact = tube.neo_hookean_pressure(μ, 1.0, 1.1, la, 1.0)
    assert state.loads["pressure"].value == pytest.approx(exact, rel=TOLERANCE / 10)


@pytest.mark.parametrize("direction", ["normal", "all"])
@pytest.mark.parametrize("stiffness", [0.05, 1.0])
def test_elastic_foundation(direction, stiffness):
    """An elastic foundation presses with k (b - B) per drawn area, k (b - B) B/b per deformed area.

    At the fixed length 1 there is no axial motion, so both directions agree. Own derivation.
    """
    la, ratio = 1.5, 1.5
    b = float(tube.radius(ratio, 1.0, la, 1.0))
    exact = tube.neo_hookean_pressure(1.0, 1.0, ratio, la, 1.0) + stiffness * (b - ratio) * ratio / b
    model = tube_model(
        tube_body(ratio, through=3), NEO_HOOKEAN, foundations=(Foundation("outer", stiffness, direction),)
    )
    state = reached(model, [Stage("blow", volume=np.pi * la**2, control="volume", steps=4)])[-1]
    assert state.loads["pressure"].value == pytest.approx(exact, rel=1e-4)


@pytest.mark.parametrize("force", [0.15, -0.15])
def test_dead_axial_force(force):
    """A free tube under a dead axial force is in uniaxial tension: N = μ A0 (λ - λ⁻²)."""
    from scipy.optimize import brentq

    area = np.pi * (1.1**2 - 1)
    λ = brentq(lambda x: (x - x**-2) * area - force, 0.5, 3.0, xtol=1e-14)
    supports = (Support("end_low", "axial"), Support("end_high", "plate"))
    state = reached(
        tube_model(tube_body(), NEO_HOOKEAN, supports), [Stage("pull", forces={"end_high": force}, steps=3)]
    )[-1]
    assert 1 - value(state, "axial shortening") == pytest.approx(λ, rel=1e-7)
    assert value(state, "radial expansion mid") == pytest.approx(λ**-0.5 - 1, rel=1e-6)
    assert value(state, "axial reaction end_low") == pytest.approx(-force, rel=1e-6)
    assert state.loads["axial force end_high"].value == force


def test_dead_force_without_a_plate_spreads_over_the_end():
    """The same force without the plate acts on the mean motion of the end; the tube remains uniform."""
    supports = (Support("end_low", "axial"),)
    state = reached(
        tube_model(tube_body(), NEO_HOOKEAN, supports), [Stage("pull", forces={"end_high": 0.15}, steps=3)]
    )[-1]
    λ = 1 - value(state, "axial shortening")
    assert (λ - λ**-2) * np.pi * 0.21 == pytest.approx(0.15, rel=1e-7)


def test_pressure_at_fixed_length_has_no_maximum():
    """At fixed length the neo-Hookean pressure tends to μ ln(B/A) from below and has no maximum."""
    model = tube_model(tube_body(1.5), NEO_HOOKEAN)
    outcome, states = run(model, [Stage("blow", volume=np.pi * 25, control="volume", steps=10)])
    assert outcome.kind == "reached"
    pressures = np.array([s.loads["pressure"].value for s in states])
    assert np.all(np.diff(pressures) > 0)
    assert pressures[-1] == pytest.approx(tube.neo_hookean_pressure(1.0, 1.0, 1.5, 5.0, 1.0), rel=TOLERANCE)
    assert pressures[-1] < np.log(1.5)
    assert all(s.unstable_modes == 0 for s in states)
