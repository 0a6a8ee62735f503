# SPDX-License-Identifier: MIT
"""Walls that carry no compression, against tension-field theory.

Formulas: Reissner 1938, Pipkin 1986, Steigmann 1990 (from memory), re-derived; the tabulated values were
computed from them apart from this program, those of the annulus and of the rings in two ways each. Films are
thin, 0.4 % of the radius, so that a wall with a thickness comes within 0.5 % of them.
"""

from dataclasses import replace

import numpy as np
import pytest
from dielectric_cases import MU, RUBBER, grid_body, volts
from models import SLIDING, last_of, neo_hookean, reached, run, tube_body, value

from annelid.geometry.inventory import inventory_of
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.solver.assembly.system import System
from annelid.solver.energy.fold_search import ROUND
from annelid.solver.energy.problem import Problem
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.fold_checks import check_folds
from annelid.solver.model.loads import Loads
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import RESIDUAL_STIFFNESS, Fibres, Part, Sheets
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

H = 0.004  # mm, thickness of films of radius 1 mm
LOAD = 5e-3  # relative error allowed of a load or a size


def film(material=None, **more):
    return Part("wall", material or neo_hookean(), folds=True, **more)


def straight(*knots):
    """The straight meridian of a tube of middle radius 1, with cell edges at the knots between its ends."""

    def curve(z):
        zero = np.zeros_like(z)
        return (
            np.stack([zero + 1 - H / 2, z], axis=1),
            np.stack([zero, zero + 1], axis=1),
            np.zeros((len(z), 2)),
        )

    return Meridian("straight", curve, knots, knots[1:-1])


def tube(part, lz, *, electrics=None, length=0.5, cells=1):
    """A tube of middle radius 1, and the stage that takes it to its length."""
    bands = (Band("whole", "wall", 0.0, length),) if electrics else ()
    body = tube_body(
        length=length, A=1 - H / 2, along=length / cells, layers=[("wall", H)], through=1, bands=bands
    )
    model = Model(
        body,
        (part,),
        SLIDING,
        electrodes=(Electrode("whole"),) if electrics else (),
        electrics=electrics or "layered",
    )
    return model, Stage("pull", displacements={"end_high": (lz - 1) * length}, steps=1)


def middle_radius(state, model):
    r = model.body.points[:, 0] + state.displacement[:, 0]
    return np.sqrt((r.min() ** 2 + r.max() ** 2) / 2)


# lz, pressure P R/(μ H), nominal field over √(μ/ε), stretch around, natural axial stretch
UNDER_VOLTAGE = (
    (1.0, 0.0, 0.3, 1.0164, 1.0164),
    (1.0, 0.0, 0.6, 1.10003, 1.10003),
    (1.0, 0.1, 0.2, 1.03843, 1.0),
    (1.0, 0.1, 0.6, 1.15515, 1.09587),
    (1.1, 0.0, 0.5, 1.04332, 1.1),
    (1.1, 0.1, 0.5, 1.08906, 1.1),
    (1.1, 0.1, 0.65, 1.23532, 1.1654),
)
SOLVED = (UNDER_VOLTAGE[3], UNDER_VOLTAGE[5])


def under_voltage(row, electrics):
    lz, p, e, *_ = row
    model, pull = tube(film(RUBBER, sheets=Sheets(1, H)), lz, electrics=electrics)
    on = Stage("on", voltages={"whole": volts(e, H)}, steps=2)
    stages = [pull] * (lz > 1) + [Stage("inflate", pressure=p * MU * H, steps=1)] * (p > 0)
    return model, [*stages, on]


@pytest.mark.parametrize(
    ("row", "electrics"),
    [
        *((row, "layered") for row in UNDER_VOLTAGE),
        *(pytest.param(row, "solved", marks=pytest.mark.long) for row in SOLVED),
    ],
    ids=lambda x: x if isinstance(x, str) else "lz {} p {} e {}".format(*x),
)
def test_tube_of_held_length_goes_slack_under_voltage(row, electrics):
    """Taut: e² = (1 - λ⁻⁴ lz⁻²)/lz² at p = 0; slack: the wall is as long as it would be free."""
    lz, p, _, around, natural = row
    model, stages = under_voltage(row, electrics)
    state = last_of(reached(model, stages), "on")
    assert middle_radius(state, model) == pytest.approx(around, rel=LOAD)
    assert value(state, "folded axial length") == pytest.approx(1 - lz / natural, abs=LOAD)
    # Without axial tension the energy at given pressure is concave in the local height: folds gather.
    assert state.unstable_modes == (p > 0 and natural > lz)


def test_pressurised_tube_loses_stability_where_it_goes_slack():
    """e² = (1 - p lz)/lz² - (1 - p lz)²/lz⁸ with p = P R/(μ H)."""
    lz, p = 1.1, 0.3
    model, stages = under_voltage((lz, p, 0.62), "layered")
    _, states = run(model, stages)
    slack = np.sqrt((1 - p * lz) / lz**2 - (1 - p * lz) ** 2 / lz**8)
    assert slack == pytest.approx(0.586774, rel=1e-5)
    critical = next(s for s in states if s.critical)
    assert critical.loads["voltage whole"].value == pytest.approx(volts(slack, H), rel=LOAD)


# inward motion of the inner edge, radial force per radian over μ A H that it needs; outer radius 2 A
ANNULUS = ((0.02, 0.090957), (0.1, 0.416396), (0.3, 1.0517), (0.5, 1.54721))
SLACK_TO = 1.33716  # radius over A up to which it is slack, of the last row


def annulus(cells, material=None):
    """Half of a flat film between its middle plane and its face, the outer edge held, free to thin."""
    body = grid_body(
        "axisymmetric",
        (cells, 1),
        lambda q: np.array([1.0, 0.0]) + q * np.array([1.0, H / 2]),
        "wall",
        {(0, 0): "end_low", (0, 1): "outer", (1, 0): "end_high"},
        (0.0, 1.0),
    )
    supports = (Support("outer", "radial"), Support("end_high", "axial"))
    return Model(body, (film(material),), supports)


def drawn_inwards(model, rows=ANNULUS):
    stages = [
        Stage(f"{u}", radial_forces={"end_low": -force * np.pi * H}, steps=1 + (u > 0.1)) for u, force in rows
    ]
    return [last_of(reached(model, stages), stage.name) for stage in stages]


def test_annulus_drawn_inwards():
    """Slack inside: R σ_r H/λ constant, uniaxial; taut outside. The stress around is nowhere negative."""
    model = annulus(20)
    inner = model.body.points[:, 0] < 1 + 1e-9
    for (u, _), state in zip(ANNULUS, drawn_inwards(model), strict=True):
        assert -state.displacement[inner, 0].mean() == pytest.approx(u, rel=LOAD)
        assert value(state, "least in-plane stress") > -1e-5
        assert state.unstable_modes == 0
    slack = (SLACK_TO**2 - 1) / 3
    assert value(state, "slack wall fraction") == pytest.approx(slack, abs=0.02)
    assert value(state, "folded axial length") == pytest.approx(0.0, abs=1e-6)


# suction over μ H/R, middle radius over R, force of wall and fluid on an end over 2πRμH; L = 4 R, lz = 1.1
BETWEEN_RINGS = ((0.01, 0.906128, 0.287727), (0.05, 0.700768, 0.323242), (0.1, 0.553337, 0.368289))


@pytest.mark.parametrize(
    "sector",
    [
        pytest.param({}, id="axisymmetric"),
        pytest.param({"model": "sector", "sector": 30.0, "around": 24}, id="3-D", marks=pytest.mark.long),
    ],
)
def test_tube_between_rings_under_suction(sector):
    """Slack around the middle, taut near the rings."""
    half, ring = 2.0, 0.02
    meridian = straight(-half, -ring, 0.0)
    body = build(Balloon(meridian, (Layer("wall", H),)), MeshSize(along=half / 24, through=1, **sector))
    model = Model(body, (film(),), (Support("end_low", "axial"), Support("end_high", "all")))
    stages = [Stage("pull", displacements={"end_high": 0.1 * half}, steps=2)]
    stages += [Stage(f"{q}", pressure=-q * H, steps=2) for q, *_ in BETWEEN_RINGS]
    states = reached(model, stages)
    low = body.surface_nodes("end_low")
    radius = body.points[low, 0] if model.axisymmetric else np.hypot(*body.points[low, :2].T)
    for q, middle, force in BETWEEN_RINGS:
        state = last_of(states, f"{q}")
        place = (body.points + state.displacement)[low]
        r = place[:, 0] if model.axisymmetric else np.hypot(*place[:, :2].T)
        assert 1 + (r - radius).mean() == pytest.approx(middle, rel=LOAD)
        # No plate takes the thrust q/2 of the fluid: the ring holds the wall alone.
        reaction = value(state, "axial reaction end_high") / (2 * np.pi * H)
        assert reaction == pytest.approx(force - q / 2, rel=LOAD)


# pressure P R/(μ H), radius at the equator, volume: of a sphere with natural hoop stretch 1.3
BALLOON = ((0.2, 1.28998, 6.45845), (0.05, 1.2476, 5.33209), (0.01, 1.21058, 4.87135))
# of the mylar balloon, whose meridians do not stretch: deflated radius π/2, volume 1.218524 (π/2)³
MYLAR = (0.0005, 1.198140, 4.722737)


@pytest.mark.parametrize(
    ("rows", "along"),
    [((BALLOON[0], MYLAR), 0.2), pytest.param((*BALLOON, MYLAR), 0.1, marks=pytest.mark.long)],
    ids=["coarse", "fine"],
)
def test_balloon_of_too_much_width(rows, along):
    """For small pressure the mylar balloon: Paulsen, Am. Math. Mon. 101, 953, 1994 (from memory).

    The pressure falls: a wall without pressure is slack all over, and hard to find from there.
    """
    skin = Balloon(sphere(1.0 - H / 2, half=True), (Layer("wall", H),))
    body = build(skin, MeshSize(along=along, through=1))
    model = Model(body, (film(natural_stretch=NaturalStretch(hoop=1.3)),), (Support("end_low", "symmetric"),))
    pressures = sorted({row[0] for row in rows} | {0.02, 0.002}, reverse=True)
    states = reached(model, [Stage(f"{p}", pressure=p * H, steps=1) for p in pressures])
    middle = np.flatnonzero(np.abs(np.hypot(*body.points.T) - 1) < 1e-6)
    middle = middle[np.argsort(body.points[middle, 1])]
    for p, radius, volume in rows:
        r, z = (body.points + last_of(states, f"{p}").displacement)[middle].T
        assert r[0] == pytest.approx(radius, rel=LOAD)
        assert 2 * np.pi * np.trapezoid(r**2, z) == pytest.approx(volume, rel=LOAD)


SHEET = film(RUBBER, sheets=Sheets(1, H))
STRESSED = {"natural_stretch": NaturalStretch(hoop=1.01, axial=0.98), "fibres": Fibres(30.0, 0.05)}
GENT = Material("m", "gent", {"shear_modulus": MU, "stretch_limit": 30.0}, permittivity=2.8)
OGDEN = Material("m", "ogden", {"moduli": (0.1, 0.01), "exponents": (2.0, 4.0)}, 20 * MU, permittivity=2.8)
SOLVED_FILMS = (SHEET, replace(SHEET, material=GENT, **STRESSED), replace(SHEET, material=OGDEN, **STRESSED))


@pytest.mark.parametrize(
    ("part", "electrics"),
    [(SHEET, "layered"), *(pytest.param(part, "solved", marks=pytest.mark.long) for part in SOLVED_FILMS)],
)
def test_tangent_is_the_derivative_of_the_residual(part, electrics):
    """Central differences at a state with points that are taut, slack along one direction, and along both."""
    model, _ = tube(part, 1.0, electrics=electrics, cells=8)
    system = System(Problem(model))
    system.apply(Loads(voltages={"whole": volts(0.2, H)}, pressure=0.1 * MU * H))
    system.problem.fields.set_natural(1.0)
    x = system.x
    rng = np.random.default_rng(7)
    u, Z = system.blocks.part(x, 0).copy().reshape(-1, 2), model.body.points[system.problem.node_of_dof][:, 1]
    u[:, 0] += 0.08 * Z / Z.max() - 0.04
    u[:, 1] += 0.3 * Z * (Z - 0.5)
    system.blocks.set_part(x, 0, u.ravel())
    system.blocks.set_part(x, 1, 0.1 * MU * rng.standard_normal(len(system.blocks.part(x, 1))))

    direction = system.vector()
    direction.array_w[:] = rng.standard_normal(direction.array_r.size)
    direction.array_w[: u.size] *= H
    system.zero_fixed(direction)
    system.assemble_residual()
    system.factorise()
    D = system.problem.folds.values.x.array.reshape(-1, 3)
    kinds = {(bool(h), bool(a)) for h, a in D[:, :2] > 1e-6}
    assert kinds >= {(False, False), (True, False), (True, True)}
    tangent = system.vector()
    system.tangent.matrix.mult(direction, tangent)
    difference = system.vector()
    for sign in (1, -1):
        x.axpy(sign * 1e-6, direction)
        system.assemble_residual()
        difference.axpy(sign / 2e-6, system.residual)
        x.axpy(-sign * 1e-6, direction)
    system.zero_fixed(tangent)
    for block in range(len(system.problem.spaces)):
        ours, theirs = (system.blocks.part(vector, block) for vector in (tangent, difference))
        assert ours == pytest.approx(theirs, abs=1e-6 * np.abs(theirs).max()), block
    assert system.symmetric_tangent()
    if electrics == "layered":
        rate, expected, volt = system.vector(), system.vector(), volts(1e-6, H)
        system.assemble_residual()
        system.load_rate(Loads(voltages={"whole": 1.0}, natural=0.0), rate)
        for sign in (1, -1):
            on = {"whole": volts(0.2, H) + sign * volt}
            system.apply(Loads(voltages=on, pressure=0.1 * MU * H))
            system.assemble_residual()
            expected.axpy(-sign / (2 * volt), system.residual)
        assert rate.array_r == pytest.approx(expected.array_r, abs=1e-5 * np.abs(expected.array_r).max())


def test_slack_all_over_and_taut_again():
    """A tube without pressure, pulled, pushed together and pulled again.

    Taut it is a strip in uniaxial tension; slack it has the force of its residual stiffness and of
    the rounding off, λ μ (η (1 - λ²)/2 + 2 δ).
    """
    model, _ = tube(film(), 1.0)
    moves = (0.1, -0.1, 0.1)
    stages = [Stage(f"{i}", displacements={"end_high": 0.5 * move}, steps=2) for i, move in enumerate(moves)]
    states = reached(model, stages)
    for i, move in enumerate(moves):
        state, λ = last_of(states, f"{i}"), 1 + move
        force = value(state, "axial reaction end_high") / (2 * np.pi * H)
        expected = λ - λ**-2 if move > 0 else -λ * (RESIDUAL_STIFFNESS * (1 - λ**2) / 2 + 2 * ROUND)
        assert force == pytest.approx(expected, rel=LOAD)
        assert middle_radius(state, model) == pytest.approx(max(λ, 1) ** -0.5, rel=LOAD)
        assert state.unstable_modes == 0


REFUSED = (
    ({"region": "core"}, {}, "is for walls"),
    ({}, {"thick": 8.0}, "at least 10 times"),
    ({"sheets": Sheets(1, H)}, {"charged": True}, "solved potential"),
    ({}, {"lattice": True}, "bonded struts hold the wall"),
)


@pytest.mark.parametrize(("part", "model", "words"), REFUSED, ids=[row[2] for row in REFUSED])
def test_what_cannot_fold_is_refused(part, model, words):
    inventory = inventory_of(tube_body())
    part = replace(film(), **part)
    more = {key: key in model for key in ("charged", "lattice")}
    more["slenderness"] = {"wall": model.get("thick", 50.0)}
    found = list(check_folds([part], inventory, **more))
    assert len(found) == 1
    assert found[0].error.key == "compression"
    assert words in found[0].error.message
    assert not list(check_folds([replace(part, folds=False)], inventory))


RUBBERS = (
    Material("m", "mooney-rivlin", {"c1": 0.4, "c2": 0.1}),
    Material("m", "yeoh", {"c1": 0.5, "c2": 0.02, "c3": 0.001}),
    GENT,
    Material("m", "ogden", {"moduli": (0.8, 0.05), "exponents": (2.0, 4.0)}),
    Material("m", "arruda-boyce", {"shear_modulus": 1.0, "chain_links": 20.0}),
)


@pytest.mark.long
@pytest.mark.parametrize("material", RUBBERS, ids=lambda m: m.law)
def test_natural_width_of_a_film(material):
    """λ^(-1/2) of an isotropic incompressible film that is pulled to λ; made narrower it presses on nothing.

    A ring around the pulled tube narrows it.
    """
    ring = Contact("ring", "outer", position=0.8, part_is="inside", tolerance=1e-4)
    model, pull = tube(film(material), 1.3)
    body, top = model.body, float(model.body.points[:, 0].max())
    model = replace(model, contacts=(replace(ring, position=top),))
    state = reached(model, [pull, Stage("narrow", obstacles={"ring": 0.8}, steps=4)])[-1]
    width = middle_radius(state, model)
    assert width == pytest.approx(0.8, rel=LOAD)
    assert value(state, "folded hoop length") == pytest.approx(1 - width * np.sqrt(1.3), abs=LOAD)
    assert value(state, "largest stretch") == pytest.approx(1.3, rel=1e-3)
    assert value(state, "smallest stretch") == pytest.approx(1.3**-0.5, rel=1e-3)
    assert abs(value(state, "contact force ring")) < 1e-4 * 2 * np.pi * H
    assert len(body.cells) == 1


@pytest.mark.long
def test_annulus_on_halved_meshes():
    """The pull at a given motion converges; the edge of the slack part, a kink, lies anywhere in a cell."""
    (u, _), rows = ANNULUS[2], ANNULUS[2:3]
    found = []
    for cells in (5, 10, 20):
        model = annulus(cells)
        inner = model.body.points[:, 0] < 1 + 1e-9
        found.append(-drawn_inwards(model, rows)[0].displacement[inner, 0].mean())
    errors = np.abs(np.array(found) - u) / u
    assert errors[-1] < 1e-3
    assert errors[0] > errors[-1]
