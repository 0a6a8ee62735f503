# SPDX-License-Identifier: MIT
"""The number of waves, parameters and states are data of the second variation."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import pytest
from counting import Judged
from dielectric_cases import volts
from models import CLOSED, tube_body

from annelid.geometry.shapes.band import Band
from annelid.solver.energy import form_libraries
from annelid.solver.model.boundary import Electrode, Foundation
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Fibres, Part, Sheets

BASE = {"mu": 0.3, "hoop": 1.05, "angle": 30.0, "bed": 0.01, "pressure": 0.01, "field": 0.1, "along": 0.25}


def stiffnesses(harmonics=(1, 2), **changes):
    p = BASE | changes
    material = Material("m", "gent", {"shear_modulus": p["mu"], "stretch_limit": 60.0}, permittivity=2.8)
    natural = NaturalStretch(hoop=p["hoop"])
    part = Part("wall", material, Sheets(1, 0.5), natural, fibres=Fibres(p["angle"], 0.1))
    body = tube_body(1.5, along=p["along"], bands=(Band("all", "wall", 0.0, 1.0),))
    model = Model(body, (part,), CLOSED, (Electrode("all"),), (Foundation("outer", p["bed"], "all"),))
    judged = Judged(model)
    judged.at(pressure=p["pressure"], voltages={"all": volts(p["field"], 0.5)})
    return [judged.harmonics.mode(m).stiffness for m in harmonics]


@pytest.fixture(scope="module")
def base():
    return stiffnesses()


@pytest.mark.long
@pytest.mark.parametrize(
    "change",
    [
        {"mu": 0.5},
        {"hoop": 0.95, "angle": 70.0},
        {"bed": 0.05},
        {"pressure": 0.02, "field": 0.2},
        {"along": 0.2},
        {"harmonics": (3, 7)},
    ],
    ids=lambda change: ", ".join(change),
)
def test_nothing_compiles_again(base, change):
    before = form_libraries.compiled_libraries()
    changed = stiffnesses(**change)
    assert changed != base  # the change has an effect
    assert form_libraries.compiled_libraries() == before
