# SPDX-License-Identifier: MIT
"""Limits that a load reaches as it grows from the working point, against closed forms of films and tubes."""

import numpy as np
import pytest
from dielectric_cases import EPS, MU, RUBBER, follow, sheet, volts
from exact import dielectric
from models import SLIDING, neo_hookean, run, tube_body
from scipy.optimize import brentq, minimize_scalar

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.assembly.system import System
from annelid.solver.energy.problem import Problem
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.loads import Loads
from annelid.solver.model.material import Breakdown, Material, Tearing
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

FILM = 2e-3  # of a film rolled to a tube of a thousand times its thickness
STRESS, WORKING, BREAKS, TEARS = 0.5, 1.32, 1.40, 1.45  # nominal stress over μ; stretches along the axis


def limits(model, *stages, seek=2.5, ignored=""):
    outcome, _ = run(model, stages, stepping=Stepping(seek_limit=seek))
    found = {margin.load: margin.limits for margin in outcome.margins}
    return {load: [limit for limit in found[load] if limit.kind != ignored] for load in found}, outcome


def film_field(λ, stress=STRESS):
    return dielectric.film_field_uniaxial(λ, stress)[0]


def rolled_film(breakdown_field, tearing_stretch=TEARS):
    """A film that is free around and pulled along its axis, with its limits."""
    material = Material(
        "rubber",
        "neo-hookean",
        {"shear_modulus": MU},
        permittivity=RUBBER.permittivity,
        breakdown=Breakdown(breakdown_field),
        tearing=Tearing(tearing_stretch),
    )
    size, band = MeshSize(along=1.0, through=1), Band("film", "film", 0.0, 1.0)
    body = build(Tube(50.0, 1.0, (Layer("film", 0.05),)), size, (band,))
    supports = (Support("end_low", "axial"), Support("end_high", "plate"))
    return Model(body, (sheet("film", 0.05, material=material),), supports, electrodes=(Electrode("film"),))


def energised(model, *more, stretch=WORKING, seek=2.5):
    area = np.pi * (50.05**2 - 50.0**2)
    pull = Stage("pull", forces={"end_high": STRESS * MU * area}, steps=2)
    energise = Stage("energise", voltages={"film": volts(film_field(stretch), 0.05)}, steps=3)
    # The inner skin of a tube without tension around it is compressed as the flat film is not.
    return limits(model, pull, energise, *more, seek=seek, ignored="wrinkling")


def breakdown_field():
    """True field at the stretch at which the film breaks down: E = e λ1 λ2 √(μ/ε)."""
    field, across = dielectric.film_field_uniaxial(BREAKS, STRESS)
    return field * BREAKS * across * np.sqrt(MU / EPS)


def pull_in():
    return -minimize_scalar(lambda λ: -film_field(λ), bounds=(1.1, 2.5), method="bounded").fun


@pytest.mark.exact
def test_a_voltage_reaches_breakdown_then_tearing_then_pull_in():
    found, outcome = energised(rolled_film(breakdown_field()))
    assert [limit.kind for limit in found["voltage"]] == ["electric breakdown", "tearing", "limit point"]
    fields = [film_field(BREAKS), film_field(TEARS), pull_in()]
    assert [limit.value for limit in found["voltage"]] == [
        pytest.approx(field / film_field(WORKING), rel=FILM) for field in fields
    ]
    assert outcome.working_stage == "energise"
    first = found["voltage"][0]
    assert f"voltage film {volts(film_field(BREAKS), 0.05):.3g}"[:-1] in first.text


@pytest.mark.exact
def test_a_force_tears_the_film():
    found, _ = energised(rolled_film(1e3))
    tearing = found["force"][0]
    stress = brentq(lambda s: film_field(TEARS, s) - film_field(WORKING), STRESS, 0.8)
    assert (tearing.kind, tearing.value) == ("tearing", pytest.approx(stress / STRESS, rel=FILM))


def test_limits_already_passed_at_the_working_point_come_first():
    found, _ = energised(rolled_film(breakdown_field()), stretch=1.42)
    first, second = found["voltage"][:2]
    assert (first.kind, first.value, first.already) == ("electric breakdown", 1.0, True)
    assert (second.kind, second.already) == ("tearing", False)


def test_no_limit_beyond_the_search():
    found, _ = energised(rolled_film(breakdown_field()), seek=1.001)
    assert found["voltage"] == []


def test_the_working_point_is_the_last_one_under_load():
    """A part that is let go at the end is judged where it works, and ends where it did before."""
    model, off = rolled_film(breakdown_field()), Stage("off", voltages={"film": 0.0}, steps=2)
    let_go = Stage("let go", forces={"end_high": 0.0}, steps=2)
    found, outcome = energised(model, off, let_go)
    assert (outcome.kind, outcome.stage, outcome.working_stage) == ("reached", "let go", "off")
    assert list(found) == ["force"]
    expected, _ = energised(model)
    model_off, outcome = energised(model, Stage("all off", voltages={"film": 0.0}, forces={"end_high": 0.0}))
    assert outcome.working_stage == "energise"
    assert model_off == expected


@pytest.mark.exact
def test_a_voltage_wrinkles_a_tube_of_fixed_length():
    """Stretched to λz and inflated by p, the tension along it vanishes at λh² (1 - p λz/μ) = λz².

    Own derivation: σh = p λh² λz with p = P R/H, σz = σh + μ (λz² - λh²), ε E² = μ (λh² - λr²) - σh.
    """
    R, H, λz, p = 50.0, 0.05, 1.5, 0.05 * MU
    body = tube_body(1 + H / R, 1.0, A=R, along=1.0, through=1, bands=(Band("film", "wall", 0.0, 1.0),))
    model = Model(body, (sheet("wall", H, material=RUBBER),), SLIDING, electrodes=(Electrode("film"),))
    slack = λz / np.sqrt(1 - p * λz / MU)

    def field(λh):
        return np.sqrt((λh**2 - (λh * λz) ** -2 - p / MU * λh**2 * λz) / (λh * λz) ** 2)

    draw = Stage("draw", displacements={"end_high": λz - 1}, pressure=p * H / R, steps=4)
    energise = Stage("energise", voltages={"film": volts(field(0.9 * slack), H)}, steps=3)
    found, _ = limits(model, draw, energise)
    wrinkling = found["voltage"][0]
    assert wrinkling.kind == "wrinkling"
    assert wrinkling.value == pytest.approx(field(slack) / field(0.9 * slack), rel=FILM)


def test_plates_that_are_sucked_together_touch():
    """The caps of a short box move towards each other until they meet in the middle."""
    box = Tube(4.0, 1.0, (Layer("wall", 2.0),), ends="capped", cap_thickness=0.2)
    body = build(box, MeshSize(along=0.5, through=1))
    parts = tuple(Part(region, neo_hookean(1.0)) for region in body.regions)
    model = Model(body, parts, (Support("outer", "all"),))
    states, outcome = follow(model, Stage("suck", pressure=-3e-3, steps=4))
    assert outcome.kind == "self-contact"
    touching = states[-1].loads["pressure"].value
    (missed,) = outcome.margins
    assert (missed.kind, missed.value) == ("self-contact", pytest.approx(touching / -3e-3))
    assert missed.limits[-1].kind == "self-contact"
    found, outcome = limits(model, Stage("suck", pressure=touching / 2, steps=2), ignored="wrinkling")
    assert outcome.kind == "reached"
    (limit,) = found["pressure"]
    assert (limit.kind, limit.value) == ("self-contact", pytest.approx(2.0, rel=0.01))


def test_the_scale_of_forces_belongs_to_the_present_loads():
    """Also where loads take the place in memory of others; ranks that disagreed waited for each other."""
    system = System(Problem(rolled_film(1e3)))

    def norm(voltage):
        system.apply(Loads(voltages={"film": voltage}))
        return system.load_norm()

    first = norm(1.0)
    for voltage in (2.0, 3.0, 4.0, 5.0):
        for between in range(int(voltage)):
            system.apply(Loads(voltages={"film": between}))
        assert norm(voltage) == pytest.approx(voltage**2 * first)


def test_the_search_is_not_work_of_the_next_state():
    model, rest = rolled_film(breakdown_field()), {"voltages": {"film": 0.0}, "forces": {"end_high": 0.0}}
    area = np.pi * (50.05**2 - 50.0**2)
    load = Stage(
        "load",
        voltages={"film": volts(film_field(WORKING), 0.05)},
        forces={"end_high": STRESS * MU * area},
        steps=2,
    )
    stages = (load, Stage("rest", steps=2, **rest))
    searched, plain = (run(model, stages, stepping=Stepping(seek_limit=seek))[1] for seek in (1.5, 1.0))
    assert [s.factorisations for s in searched] == [s.factorisations for s in plain]


def test_a_path_that_ends_before_the_working_point_has_none():
    """Its margins are those of the loads requested."""
    area, field = np.pi * (50.05**2 - 50.0**2), pull_in()
    force = {"end_high": STRESS * MU * area}
    pull = Stage("pull", forces=force, steps=2)
    too_far = Stage("energise", voltages={"film": volts(1.2 * field, 0.05)}, steps=3)
    outcome, _ = run(rolled_film(1e3), (pull, too_far), stepping=Stepping(seek_limit=1.5))
    assert (outcome.kind, outcome.working_stage) == ("limit point", "")
    assert outcome.margins[0].value < 1
