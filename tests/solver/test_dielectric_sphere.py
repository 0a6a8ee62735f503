# SPDX-License-Identifier: MIT
"""Thick dielectric sphere under voltage and pressure, two elements through the wall, below its limit.

Sources: radial field E = V / (r² (1/a - 1/b)), own derivation; the thin limit is that of Zhu, Cai & Suo,
Polym. Int. 59, 378 (2010); tabulated values recomputed. Uniform nominal field of the layered model: own
derivation (see ``exact.dielectric``).
"""

from functools import cache

import numpy as np
import pytest
from dielectric_cases import EPS, MU, VOLTAGE, follow, sheet, value, volts
from exact import dielectric

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

ROUND = 5e-4  # variation of the stretch over the inner face

TABLE = (  # B/A, P/μ, λa, v
    (1.1, 0.0, 1.02, 0.307615),
    (1.1, 0.0, 1.05, 0.454805),
    (1.1, 0.0, 1.1, 0.577818),
    (1.1, 0.1, 1.2, 0.0658988),
    (1.1, 0.1, 1.3, 0.240767),
    (1.5, 0.0, 1.02, 0.24312),
    (1.5, 0.0, 1.05, 0.369402),
    (1.5, 0.0, 1.1, 0.489315),
    (1.5, 0.0, 1.2, 0.609175),
    (1.5, 0.1, 1.05, 0.16296),
    (1.5, 0.1, 1.1, 0.361563),
    (1.5, 0.1, 1.2, 0.515286),
    (1.5, 0.1, 1.3, 0.577592),
)
PATHS = ((1.1, 0.0), (1.1, 0.1), (1.5, 0.0), (1.5, 0.1))


def half_sphere(ratio, electrics):
    wall = ratio - 1
    body = build(
        Balloon(sphere(1.0, half=True), (Layer("wall", wall),)),
        MeshSize(along=0.3, through=2),
        (Band("whole", "wall", 0.0, 1.0),),
    )
    return Model(
        body,
        (sheet("wall", wall),),
        (Support("end_low", "axial"),),
        electrodes=(Electrode("whole"),),
        electrics=electrics,
    )


def stretch(state, body):
    """Mean distance of the inner nodes from the centre over their drawn one, and its spread."""
    nodes = body.surface_nodes("lumen")
    ratio = np.linalg.norm((body.points + state.displacement)[nodes], axis=1) / np.linalg.norm(
        body.points[nodes], axis=1
    )
    return ratio.mean(), np.ptp(ratio)


@cache
def path(ratio, pressure, electrics):
    """Body and states at the tabulated voltages."""
    fields = [row[3] for row in TABLE if row[:2] == (ratio, pressure)]
    stages = [Stage(f"{v}", voltages={"whole": volts(v, ratio - 1)}, steps=1) for v in fields]
    if pressure:
        stages.insert(0, Stage("blow up", pressure=pressure * MU, steps=3))
    model = half_sphere(ratio, electrics)
    states, outcome = follow(model, *stages)
    assert outcome.kind == "reached"
    return model.body, {float(s.stage): s for s in states if s.parameter == 1.0 and s.stage != "blow up"}


@pytest.mark.parametrize(("ratio", "pressure", "la", "v"), TABLE)
def test_closed_form_is_the_tabulated_one(ratio, pressure, la, v):
    assert dielectric.sphere_radial_voltage(ratio, la, pressure) == pytest.approx(v, rel=1e-5)


@pytest.mark.parametrize("ratio", [1.1, 1.5])
def test_closed_forms_come_from_energies(ratio):
    """Second method: dΠ/da = 0 by differences of Π = ∫ W - C V²/2 - P 4π a³/3."""
    R = 1 + (ratio - 1) / 2 * (1 + dielectric.GAUSS_NODES)
    weights = (ratio - 1) / 2 * dielectric.GAUSS_WEIGHTS
    pressure, la, h = 0.05, 1.2, 1e-5

    def potential(a, v, capacitance):
        λ = (a**3 + R**3 - 1) ** (1 / 3) / R
        elastic = np.sum(weights * 4 * np.pi * R**2 * (2 * λ**2 + λ**-4 - 3) / 2)
        electric = capacitance(ratio, a) * (v * (ratio - 1)) ** 2 / 2
        return elastic - electric - pressure * 4 * np.pi * a**3 / 3

    for voltage, capacitance in (
        (dielectric.sphere_radial_voltage, dielectric.sphere_radial_capacitance),
        (dielectric.sphere_uniform_voltage, dielectric.sphere_uniform_capacitance),
    ):
        v = voltage(ratio, la, pressure)
        slope = (potential(la + h, v, capacitance) - potential(la - h, v, capacitance)) / (2 * h)
        assert abs(slope) < 1e-7 * 4 * np.pi


@pytest.mark.parametrize(("ratio", "pressure", "la", "v"), TABLE)
def test_solved_potential(ratio, pressure, la, v):
    body, states = path(ratio, pressure, "solved")
    state = states[v]
    reached, uneven = stretch(state, body)
    assert uneven < ROUND
    if v > 0.1:  # below, the pressure determines the radius and the voltage depends steeply on it
        assert dielectric.sphere_radial_voltage(ratio, reached, pressure) == pytest.approx(v, rel=VOLTAGE)
    assert reached - 1 == pytest.approx(la - 1, rel=1e-2)
    assert value(state, "unstable modes") == 0
    charge = EPS * dielectric.sphere_radial_capacitance(ratio, reached) * volts(v, ratio - 1) / 2
    assert value(state, "charge") == pytest.approx(charge, rel=VOLTAGE)


@pytest.mark.parametrize(("ratio", "pressure"), PATHS)
def test_layered_field(ratio, pressure):
    body, states = path(ratio, pressure, "layered")
    assert len(states) >= 2
    for v, state in states.items():
        la, uneven = stretch(state, body)
        assert uneven < ROUND
        if v > 0.1:
            assert dielectric.sphere_uniform_voltage(ratio, la, pressure) == pytest.approx(v, rel=VOLTAGE)
        capacitance = EPS * dielectric.sphere_uniform_capacitance(ratio, la) / 2
        assert value(state, "capacitance") == pytest.approx(capacitance, rel=VOLTAGE)
