# SPDX-License-Identifier: MIT
"""Distance of a working point from its next critical point, against extremes from closed forms.

Tubes: Rivlin 1949 (from memory), by exact/tube.py. Films under a dead load: own derivation, in
exact/dielectric.py.
"""

import math

import numpy as np
import pytest
from dielectric_cases import MU, sheet, volts
from exact import dielectric, tube
from models import CLOSED, neo_hookean, run, tube_body, tube_model
from scipy.optimize import minimize_scalar

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

MARGIN = 1e-5  # relative, of a limit point of the same wall
FILM = 2e-3  # of a film rolled to a tube of a thousand times its thickness
LONG = 1.25


def margins(model, *stages, seek=2.5):
    outcome, states = run(model, stages, stepping=Stepping(seek_limit=seek))
    return {margin.load: margin for margin in outcome.margins}, outcome, states


def closed_tube():
    return tube_model(tube_body(LONG, length=0.5, through=6), neo_hookean(), CLOSED)


def largest_pressure():
    W = tube.mooney_rivlin(0.5)

    def pressure(la):
        return tube.pressure_and_force(W, 1.0, LONG, la, tube.capped_stretch(W, 1.0, LONG, la))[0]

    return -minimize_scalar(lambda la: -pressure(la), bounds=(1.3, 2.9), method="bounded").fun


@pytest.mark.exact
def test_pressure_may_grow_to_the_maximum_of_a_closed_tube():
    asked = 0.6 * largest_pressure()
    found, outcome, states = margins(closed_tube(), Stage("fill", pressure=asked, steps=3))
    (margin,) = found.values()
    assert (margin.load, margin.quantity) == ("pressure", "stability margin pressure")
    assert margin.value == pytest.approx(1 / 0.6, rel=MARGIN)
    assert (margin.kind, margin.is_bound) == ("limit point", False)
    assert "pressure maximum" in margin.text
    assert outcome.kind == "reached"
    assert states[-1].loads["pressure"].value == pytest.approx(asked, rel=1e-12)


def test_a_margin_that_was_not_found_is_only_a_bound():
    asked = 0.6 * largest_pressure()
    found, _, _ = margins(closed_tube(), Stage("fill", pressure=asked, steps=3), seek=1.5)
    margin = found["pressure"]
    assert (margin.value, margin.kind, margin.is_bound) == (1.5, "", True)
    assert margin.text == "pressure: no critical point up to 1.5 times the present value"


@pytest.mark.exact
def test_unreached_pressure_has_a_margin_below_one():
    most = largest_pressure()
    found, outcome, _ = margins(closed_tube(), Stage("fill", pressure=1.25 * most, steps=4))
    assert outcome.kind == "limit point"
    assert found["pressure"].value == pytest.approx(1 / 1.25, rel=MARGIN)
    assert "that stage 'fill' requests" in found["pressure"].text


def test_an_unstable_working_point_has_no_margin():
    drawn = np.pi * 0.5
    found, _, states = margins(closed_tube(), Stage("fill", volume=6 * drawn, control="volume", steps=8))
    assert states[-1].unstable_modes == 1
    assert math.isnan(found["pressure"].value)
    assert "unstable" in found["pressure"].text


def rolled_film():
    """A tube of a thousand times its thickness: a film that is free around, pulled along its axis."""
    body = build(
        Tube(50.0, 1.0, (Layer("film", 0.05),)),
        MeshSize(along=1.0, through=1),
        (Band("film", "film", 0.0, 1.0),),
    )
    return Model(
        body,
        (sheet("film", 0.05),),
        (Support("end_low", "axial"), Support("end_high", "plate")),
        electrodes=(Electrode("film"),),
    )


def film_limit(stress):
    """Largest nominal field under a dead load along one direction."""
    return -minimize_scalar(
        lambda λ: -dielectric.film_field_uniaxial(λ, stress)[0], bounds=(1.1, 2.5), method="bounded"
    ).fun


@pytest.mark.exact
def test_each_load_grows_while_the_other_is_constant():
    """A film under a dead load and a voltage: pull-in by the voltage alone, by the load alone, by both."""
    stress, field = 0.5, 0.8 * film_limit(0.5)
    area = np.pi * (50.05**2 - 50.0**2)
    found, _, _ = margins(
        rolled_film(),
        Stage("pull", forces={"end_high": stress * MU * area}, steps=2),
        Stage("energise", voltages={"film": volts(field, 0.05)}, steps=3),
    )
    assert list(found) == ["voltage", "force", "all loads"]
    assert {margin.kind for margin in found.values()} == {"limit point"}
    assert "pull-in" in found["voltage"].text
    assert found["voltage"].value == pytest.approx(1 / 0.8, rel=FILM)
    assert film_limit(found["force"].value * stress) == pytest.approx(field, rel=FILM)
    both = found["all loads"].value
    assert film_limit(both * stress) == pytest.approx(both * field, rel=FILM)
    assert 1 < both < found["voltage"].value < found["force"].value
