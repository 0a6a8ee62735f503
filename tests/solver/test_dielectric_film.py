# SPDX-License-Identifier: MIT
"""Flat dielectric film with free edges, below its pull-in voltage.

Source: Zhao & Suo, Appl. Phys. Lett. 91, 061921 (2007): stretch 1.26 and nominal field 0.69 at the limit
(from memory); all digits recomputed from e² = λ⁻² - λ⁻⁸. Limits under an axial dead load: own derivation.
"""

from functools import cache

import numpy as np
import pytest
from dielectric_cases import MU, RUBBER, VOLTAGE, disc, follow, sheet, value, volts
from exact import dielectric

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage

THICKNESS = 0.05  # mm
LIMIT = 0.687364818  # nominal field at pull-in
TABLE = (  # stretch, nominal field, true field; the last row is the limit
    (1.01, 0.238354415, 0.243145338),
    (1.02, 0.328143886, 0.341400899),
    (1.05, 0.479781321, 0.528958907),
    (1.10, 0.599949082, 0.725938389),
    (1.15, 0.655165547, 0.866456435),
    (1.25992105, LIMIT, 1.09112364),
)


def film(electrics):
    return Model(
        disc(THICKNESS),
        (sheet("film", THICKNESS),),
        (Support("end_low", "axial"),),
        electrodes=(Electrode("film"),),
        electrics=electrics,
    )


@cache
def states_at_table(electrics):
    fields = [row[1] for row in TABLE[:-1]]
    stages = [Stage(f"{e}", voltages={"film": volts(e, THICKNESS)}, steps=1) for e in fields]
    states, outcome = follow(film(electrics), *stages)
    assert outcome.kind == "reached"
    return [state for state in states if state.parameter == 1.0]


@pytest.mark.exact
@pytest.mark.parametrize(("stretch", "e", "true"), TABLE)
def test_closed_form_is_the_tabulated_one(stretch, e, true):
    assert dielectric.film_field(stretch) == pytest.approx(e, rel=1e-8)
    assert e * stretch**2 == pytest.approx(true, rel=1e-8)


@pytest.mark.exact
@pytest.mark.parametrize("electrics", ["layered", "solved"])
@pytest.mark.parametrize("row", range(len(TABLE) - 1))
def test_free_disc_stretches_equally_in_its_plane(electrics, row):
    """The field is uniform and so is the strain: exact for any mesh, within the tolerance of Newton."""
    stretch, _, true = TABLE[row]
    state = states_at_table(electrics)[row]
    λ = state.fields["principal stretches"]
    assert λ[..., :2] == pytest.approx(stretch, rel=1e-6)
    assert λ[..., 2] == pytest.approx(stretch**-2, rel=1e-6)
    assert value(state, "mean radial expansion") == pytest.approx(stretch - 1, rel=1e-5)
    assert value(state, "axial shortening") == pytest.approx(1 - stretch**-2, rel=1e-5)
    field = true * volts(1.0, 1.0)  # kV/mm
    assert state.fields["true field"] == pytest.approx(field, rel=1e-6)
    assert value(state, "largest true field") == pytest.approx(field, rel=1e-6)
    assert value(state, "unstable modes") == 0


@pytest.mark.exact
@pytest.mark.parametrize("electrics", ["layered", "solved"])
def test_no_equilibrium_beyond_pull_in(electrics):
    """Energised well beyond the limit: the path ends just below it at a limit point."""
    target = 1.2 * LIMIT
    states, outcome = follow(
        film(electrics), Stage("pull in", voltages={"film": volts(target, THICKNESS)}, steps=6)
    )
    assert outcome.kind == "limit point"
    stable = [s for s in states if s.unstable_modes == 0]
    reached = value_of_field(stable[-1])
    assert reached == pytest.approx(LIMIT, rel=2e-3)
    assert reached <= LIMIT * (1 + 1e-4)
    assert value(stable[-1], "largest stretch") == pytest.approx(1.25992105, rel=2.5e-2)  # flat maximum


def value_of_field(state):
    return state.loads["voltage film"].value / volts(1.0, THICKNESS)


DEAD_LOAD = ((0.25, 1.09066, 0.642175), (0.5, 1.19743, 0.597903), (1.0, 1.46557, 0.514432))


@pytest.mark.exact
@pytest.mark.parametrize(("stress", "stretch_before", "limit"), DEAD_LOAD)
def test_film_under_dead_load_along_one_direction(stress, stretch_before, limit):
    """A tube of radius 1000 walls is a film that is free around; an axial force is a dead load along it.

    Prestretches and limit fields recomputed from the own derivation; the mean of both faces differs from a
    flat film by the square of wall over radius.
    """
    radius, wall = 50.0, 0.05
    body = build(
        Tube(radius, 1.0, (Layer("film", wall),)),
        MeshSize(along=1.0, through=1),
        (Band("film", "film", 0.0, 1.0),),
    )
    model = Model(
        body,
        (sheet("film", wall),),
        (Support("end_low", "axial"), Support("end_high", "plate")),
        electrodes=(Electrode("film"),),
    )
    force = stress * MU * np.pi * ((radius + wall) ** 2 - radius**2)
    states, outcome = follow(
        model,
        Stage("pull", forces={"end_high": force}, steps=2),
        Stage("energise", voltages={"film": volts(0.9 * limit, wall)}, steps=3),
    )
    assert outcome.kind == "reached"
    along = [1 - value(s, "axial shortening") for s in states]
    around = [
        1 + (s.profiles["inner"].radius + s.profiles["outer"].radius).mean() / (2 * radius + wall) - 1
        for s in states
    ]
    pulled = next(i for i, s in enumerate(states) if s.stage == "pull" and s.parameter == 1.0)
    assert along[pulled] == pytest.approx(stretch_before, rel=1e-5)
    for i in range(pulled + 1, len(states)):
        e, across = dielectric.film_field_uniaxial(along[i], stress)
        assert e == pytest.approx(states[i].loads["voltage film"].value / volts(1.0, wall), rel=VOLTAGE)
        assert around[i] == pytest.approx(across, rel=1e-4)


def test_field_is_independent_of_the_number_of_sheets():
    """N sheets of thickness t at V strain like one sheet of N t at N V, and have N² times the capacitance."""
    results = {}
    for count in (1, 4):
        model = Model(
            disc(THICKNESS),
            (sheet("film", THICKNESS / count, count=count, material=RUBBER),),
            (Support("end_low", "axial"),),
            electrodes=(Electrode("film"),),
        )
        states, _ = follow(model, Stage("on", voltages={"film": volts(0.6, THICKNESS) / count}, steps=2))
        results[count] = states[-1]
    one, four = results[1], results[4]
    assert value(one, "mean radial expansion") > 0.09
    assert value(four, "mean radial expansion") == pytest.approx(
        value(one, "mean radial expansion"), rel=1e-7
    )
    assert value(four, "largest true field") == pytest.approx(value(one, "largest true field"), rel=1e-7)
    assert value(four, "capacitance") == pytest.approx(16 * value(one, "capacitance"), rel=1e-7)
    assert value(four, "charge") == pytest.approx(4 * value(one, "charge"), rel=1e-7)
    assert value(four, "stored electrical energy") == pytest.approx(
        value(one, "stored electrical energy"), rel=1e-7
    )
