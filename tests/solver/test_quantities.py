# SPDX-License-Identifier: MIT
"""Reported quantities against closed forms on an inflated tube and sphere, and on an energised tube.

Source: finite elasticity of the neo-Hookean tube and sphere (Green & Zerna, Theoretical Elasticity, ch. 3,
from memory), capacitor formulas, and own derivations where noted. Quantities of shape are also computed from
prescribed displacements.
"""

from functools import cache

import numpy as np
import pytest
from dielectric_cases import EPS, MU, RUBBER, VOLTAGE, follow, sheet, value, volts
from exact import dielectric

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.display import KINDS
from annelid.solver.model.boundary import BareStroke, Electrode, Section, Support
from annelid.solver.model.flow_quantities import FLOW_QUANTITIES
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.quantities import MARGINS, QUANTITIES, names_for, quantity_of
from annelid.solver.model.stages import Stage
from annelid.solver.readout import deformed_shape
from annelid.solver.readout.wall_thickness import wall_thickness

LENGTH = 0.5
RATIO, LZ, LA = 1.5, 1.2, 1.5
PRESSURE = 0.262382  # P/μ at these, recomputed from the closed form
REDUCED_FORCE = 1.18705  # F/(μ A²), recomputed
AXIAL = (Support("end_low", "axial"), Support("end_high", "axial"))
MODELS = {
    "axisymmetric": MeshSize(along=LENGTH, through=2),
    "hexahedra": MeshSize(model="sector", along=LENGTH, through=2, around=16),
    "tetrahedra": MeshSize(model="sector", along=LENGTH, through=2, around=16, cells="tetrahedra"),
}
RADIUS = 2e-4
STRESS = {"axisymmetric": 1e-2, "hexahedra": 1e-2, "tetrahedra": 4e-2}  # at a face, extrapolated from inside

# The outer face is approximated by flat pieces between its nodes, which are shorter than its arcs.
THICKNESS = {"axisymmetric": 3e-3, "hexahedra": 6e-3, "tetrahedra": 6e-3}


AREA = {"axisymmetric": 4e-4, "hexahedra": 3e-3, "tetrahedra": 3e-3}  # by straight lines around, as well
MEAN = {"axisymmetric": 1e-9, "solid": 1e-3}  # facets of a solid are quadratic around, not circular
PERCENTILE = 8e-3  # with equal weights of all nodes of a cell it would be the peak


@cache
def inflated_tube(kind, through=2):
    size = MODELS[kind] if through == 2 else MeshSize(along=LENGTH, through=through)
    body = build(Tube(1.0, LENGTH, (Layer("wall", RATIO - 1),)), size)
    model = Model(body, (Part("wall", RUBBER),), AXIAL, sections=(Section("middle", LENGTH / 2),))
    states, outcome = follow(
        model,
        Stage("stretch", displacements={"end_high": (LZ - 1) * LENGTH}, steps=1),
        Stage("inflate", pressure=PRESSURE * MU, steps=4),
    )
    assert outcome.kind == "reached"
    return states[-1]


@pytest.mark.exact
def test_closed_forms_of_the_tube_are_the_tabulated_ones():
    assert dielectric.tube_pressure(RATIO, LZ, LA) == pytest.approx(PRESSURE, rel=1e-5)
    assert dielectric.tube_force(RATIO, LZ, LA) == pytest.approx(REDUCED_FORCE, rel=1e-5)


@pytest.mark.exact
@pytest.mark.parametrize("kind", MODELS)
def test_shape_of_an_inflated_tube(kind):
    state = inflated_tube(kind)
    b = dielectric.outer_radius(RATIO, LZ, LA)
    for quantity in ("mean radial expansion", "largest radial expansion", "radial expansion middle"):
        assert value(state, quantity) == pytest.approx(LA - 1, rel=2 * RADIUS)
    assert value(state, "radial contraction middle") == -value(state, "radial expansion middle")
    assert value(state, "largest radial contraction") == pytest.approx(1 - LA, rel=2 * RADIUS)
    assert value(state, "axial shortening") == pytest.approx(1 - LZ, rel=1e-9)
    assert value(state, "largest diameter") == pytest.approx(2 * LA, rel=2 * RADIUS)
    assert value(state, "smallest lumen diameter") == pytest.approx(2 * LA, rel=2 * RADIUS)
    assert value(state, "smallest open area") == pytest.approx(np.pi * LA**2, rel=AREA[kind])
    assert value(state, "closed length") == 0.0
    assert value(state, "lumen volume") == pytest.approx(np.pi * LA**2 * LZ * LENGTH, rel=2 * RADIUS)
    assert value(state, "volume change") == pytest.approx(np.pi * LENGTH * (LA**2 * LZ - 1), rel=4 * RADIUS)
    assert value(state, "minimum wall thickness") == pytest.approx(b - LA, rel=THICKNESS[kind])
    assert state.profiles["outer"].radius == pytest.approx(b, rel=RADIUS)
    assert state.profiles["outer"].current_height == pytest.approx(
        LZ * state.profiles["outer"].height, rel=RADIUS, abs=1e-9
    )


@pytest.mark.exact
@pytest.mark.parametrize("kind", MODELS)
def test_forces_and_stress_of_an_inflated_tube(kind):
    """The ends support only the wall: N = F + P π a², without radial forces."""
    state = inflated_tube(kind)
    wall = MU * (REDUCED_FORCE + PRESSURE * np.pi * LA**2)
    assert value(state, "axial reaction end_high") == pytest.approx(wall, rel=1e-3)
    assert value(state, "axial reaction end_low") == pytest.approx(-wall, rel=1e-3)
    assert abs(value(state, "radial reaction end_high")) < 1e-6 * wall
    stresses = MU * dielectric.tube_inner_stresses(RATIO, LZ, LA, PRESSURE)
    assert value(state, "peak stress") == pytest.approx(stresses.max(), rel=STRESS[kind])
    assert np.linalg.norm(state.places["peak stress"][:-1]) == pytest.approx(1.0, rel=1e-9)  # inner face
    assert value(state, "largest stretch") == pytest.approx(LA, rel=STRESS[kind])
    assert value(state, "smallest stretch") == pytest.approx(1 / (LA * LZ), rel=STRESS[kind])


@pytest.mark.exact
@pytest.mark.parametrize("kind", MODELS)
def test_strain_energy_of_an_inflated_tube(kind):
    """∫ μ/2 (λ² + λz² + λ⁻²λz⁻² - 3) over the wall, by Gauss quadrature."""
    R = 1 + (RATIO - 1) / 2 * (1 + dielectric.GAUSS_NODES)
    λ2 = (LA**2 + (R**2 - 1) / LZ) / R**2
    density = MU / 2 * (λ2 + LZ**2 + 1 / (λ2 * LZ**2) - 3)
    energy = LENGTH * (RATIO - 1) / 2 * np.sum(dielectric.GAUSS_WEIGHTS * density * 2 * np.pi * R)
    assert value(inflated_tube(kind), "strain energy") == pytest.approx(energy, rel=1e-3)


@pytest.mark.exact
def test_percentile_of_stress_is_by_volume():
    """Largest principal stress where 0.5 % of the volume lies further inside; 40 elements through the wall.

    The nodes of a cell have their share of its volume (Simpson's rule), so the radius is blurred by no more
    than a sixth of an element's width to either side.
    """
    state = inflated_tube("axisymmetric", through=40)

    def hoop(R):
        """σ_θ = σ_r + λ² - λ_r², σ_r = -P + ∫ (σ_θ - σ_r) dr/r from the inside."""
        S = 1 + (R - 1) / 2 * (1 + dielectric.GAUSS_NODES)
        r2 = LA**2 + (S**2 - 1) / LZ
        difference = r2 / S**2 - S**2 / (r2 * LZ**2)
        radial = -PRESSURE + (R - 1) / 2 * np.sum(dielectric.GAUSS_WEIGHTS * difference * S / (LZ * r2))
        now2 = LA**2 + (R**2 - 1) / LZ
        return radial + now2 / R**2 - R**2 / (now2 * LZ**2)

    inside = np.sqrt(1 + 0.005 * (RATIO**2 - 1))
    assert hoop(1.0) == pytest.approx(dielectric.tube_inner_stresses(RATIO, LZ, LA, PRESSURE)[1], rel=1e-12)
    assert value(state, "peak stress") == pytest.approx(MU * hoop(1.0), rel=1e-3)
    assert value(state, "peak stress 99.5 %") == pytest.approx(MU * hoop(inside), rel=PERCENTILE)
    assert value(state, "peak stress 99.5 %") < (1 - PERCENTILE) * value(state, "peak stress")


# sphere

SPHERE_RATIO, SPHERE_LA = 1.25, 1.3
SPHERE_MODELS = {
    "axisymmetric": MeshSize(along=0.3, through=2),
    "hexahedra": MeshSize(model="sector", along=0.4, through=2, around=16),
    "tetrahedra": MeshSize(model="sector", along=0.4, through=2, around=16, cells="tetrahedra"),
}


@cache
def inflated_sphere(kind):
    body = build(Balloon(sphere(1.0, half=True), (Layer("wall", SPHERE_RATIO - 1),)), SPHERE_MODELS[kind])
    model = Model(
        body, (Part("wall", RUBBER),), (Support("end_low", "axial"),), sections=(Section("tropic", 0.4),)
    )
    volume = 2 / 3 * np.pi * SPHERE_LA**3
    states, outcome = follow(model, Stage("fill", volume=volume, control="volume", steps=3))
    assert outcome.kind == "reached"
    return states[-1]


@pytest.mark.exact
@pytest.mark.parametrize("kind", SPHERE_MODELS)
def test_sphere_filled_to_a_volume(kind):
    """A half sphere is filled to 1.3 times its inner radius; the pressure is computed."""
    state = inflated_sphere(kind)
    pressure = dielectric.sphere_pressure(SPHERE_RATIO, SPHERE_LA)
    assert state.loads["pressure"].value == pytest.approx(MU * pressure, rel=1e-3)
    assert value(state, "lumen volume") == pytest.approx(2 / 3 * np.pi * SPHERE_LA**3, rel=1e-8)
    inner = state.profiles["inner"]
    assert len(inner.radius) > 5
    assert inner.radius / inner.reference_radius == pytest.approx(SPHERE_LA, rel=5e-3)
    assert value(state, "radial expansion tropic") == pytest.approx(SPHERE_LA - 1, rel=5e-3)
    assert value(state, "mean radial expansion") == pytest.approx(SPHERE_LA - 1, rel=5e-3)
    thickness = dielectric.sphere_outer_radius(SPHERE_RATIO, SPHERE_LA) - SPHERE_LA
    assert value(state, "minimum wall thickness") == pytest.approx(thickness, rel=THICKNESS[kind])
    assert value(state, "peak stress") == pytest.approx(
        MU * dielectric.sphere_inner_stress(SPHERE_LA, pressure), rel=STRESS[kind]
    )
    assert value(state, "largest stretch") == pytest.approx(SPHERE_LA, rel=STRESS[kind])


# charge


def energised(electrics, fields, lz=1.0):
    body = build(
        Tube(1.0, LENGTH, (Layer("wall", RATIO - 1),)),
        MeshSize(along=LENGTH, through=2),
        (Band("whole", "wall", 0.0, LENGTH),),
    )
    model = Model(
        body, (sheet("wall", RATIO - 1),), AXIAL, electrodes=(Electrode("whole"),), electrics=electrics
    )
    stages = [Stage(f"{v}", voltages={"whole": volts(v, RATIO - 1)}, steps=1) for v in fields]
    stretch = Stage("stretch", displacements={"end_high": (lz - 1) * LENGTH}, steps=1)
    states, outcome = follow(model, stretch, *stages, beyond="follow")
    assert outcome.kind == "reached"
    return [s for s in states if s.parameter == 1.0 and s.stage != "stretch"]


@pytest.mark.exact
@pytest.mark.parametrize("electrics", ["layered", "solved"])
def test_charge_capacitance_and_energy(electrics):
    capacitance = {
        "solved": dielectric.tube_radial_capacitance,
        "layered": dielectric.tube_uniform_capacitance,
    }[electrics]
    for state in energised(electrics, (0.2, 0.5), lz=1.2):
        V = state.loads["voltage whole"].value
        la = 1 + value(state, "mean radial expansion")
        C = EPS * LENGTH * capacitance(RATIO, 1.2, la)  # nF
        for suffix in ("", " whole"):
            assert value(state, f"capacitance{suffix}") == pytest.approx(C, rel=VOLTAGE)
            assert value(state, f"charge{suffix}") == pytest.approx(C * V, rel=VOLTAGE)
        assert value(state, "stored electrical energy") == pytest.approx(C * V**2 / 2, rel=VOLTAGE)


@pytest.mark.exact
def test_capacitance_before_any_voltage():
    """Small-signal capacitance of the layered tube as drawn: ε ∫ dX / t², in the first state of the path."""
    body = build(
        Tube(4.0, 2.0, (Layer("wall", 0.2),)),
        MeshSize(along=2.0, through=2),
        (Band("ring", "wall", 0.5, 1.5),),
    )
    model = Model(body, (sheet("wall", 0.05, count=4),), AXIAL, electrodes=(Electrode("ring"),))
    states, _ = follow(model, Stage("on", voltages={"ring": 0.1}, steps=1))
    assert value(states[0], "capacitance ring") == pytest.approx(
        EPS * np.pi * (4.2**2 - 4.0**2) * 1.0 / 0.05**2, rel=1e-9
    )
    assert value(states[0], "charge ring") == 0.0
    assert value(states[0], "stored electrical energy") == 0.0


@pytest.mark.parametrize("electrics", ["layered", "solved"])
def test_charge_is_the_slope_of_the_potential(electrics):
    """Q = -dΠ/dV at equilibrium, Π = strain energy - ½ Q V; by central difference over 2 % of the voltage."""
    before, here, after = energised(electrics, (0.495, 0.5, 0.505))

    def potential(state):
        return value(state, "strain energy") - value(state, "stored electrical energy")

    step = after.loads["voltage whole"].value - before.loads["voltage whole"].value
    slope = (potential(after) - potential(before)) / step
    assert value(here, "charge") > 0
    assert -slope == pytest.approx(value(here, "charge"), rel=1e-4)


# prescribed shapes


def bulge(points, length, height, oval):
    """Displacement of a tube: bulge ``height`` R (4 Z (L - Z) / L²), ovality ``oval``, 10 % longer."""
    factor = height * 4 * points[:, -1] * (length - points[:, -1]) / length**2
    u = points * factor[:, None]
    u[:, -1] = 0.1 * points[:, -1]
    if points.shape[1] == 3:
        angle = np.arctan2(points[:, 1], points[:, 0])
        out = oval * np.cos(2 * angle)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        u[:, :-1] += out
    return u


@pytest.mark.exact
@pytest.mark.parametrize(
    "size",
    [
        MeshSize(along=0.25, through=1),
        MeshSize(model="solid", along=0.25, through=1, around=16),
        MeshSize(model="solid", along=0.25, through=1, around=16, cells="tetrahedra"),
    ],
    ids=["axisymmetric", "hexahedra", "tetrahedra"],
)
@pytest.mark.parametrize("height", [0.2, -0.3])
def test_shape_of_a_bulge(size, height):
    """The axial mean of a parabola is two thirds of its height; an ovalisation does not change mean radii."""
    length = 3.0
    body = build(Tube(2.0, length, (Layer("wall", 0.1),)), size)
    u = bulge(body.points, length, height, oval=0.02)
    inner, shape = deformed_shape.profiles(body, u)["inner"], deformed_shape.RadialShape(body)
    expansion = shape.expansion(u)
    assert inner.reference_radius == pytest.approx(2.0, rel=1e-12)

    def exact(z):
        return height * 4 * z * (length - z) / length**2

    assert inner.radius / 2.0 - 1 == pytest.approx(exact(inner.height), abs=1e-4)
    assert shape.mean(expansion) == pytest.approx(2 / 3 * height, rel=MEAN[size.model])
    for z in (0.0, 0.7, 1.5, 3.0):
        assert shape.section(expansion, z) == pytest.approx(exact(z), abs=MEAN[size.model])
    oval = 0.0 if size.model == "axisymmetric" else 0.02 / 2.0
    assert np.nanmax(expansion) == pytest.approx(max(height, 0) + oval, abs=1e-3)
    assert 1 - shape.length(u) / length == pytest.approx(-0.1, rel=1e-12)
    assert inner.current_height == pytest.approx(1.1 * inner.height, rel=1e-9, abs=1e-12)


@pytest.mark.exact
@pytest.mark.parametrize("elements", [20, 199, 200, 201, 402])
def test_shape_does_not_depend_on_the_number_of_stations(elements):
    """Profiles for figures have bins above 400 stations; quantities are integrals and maxima on any mesh."""
    length = 3.0
    body = build(Tube(2.0, length, (Layer("wall", 0.1),)), MeshSize(along=length / elements, through=1))
    u, shape = bulge(body.points, length, -0.3, oval=0.0), deformed_shape.RadialShape(body)
    expansion = shape.expansion(u)
    assert shape.mean(expansion) == pytest.approx(-0.2, rel=1e-9)
    assert (np.nanmin(expansion), np.nanmax(expansion)) == pytest.approx((-0.3, 0.0), abs=1e-12)
    assert shape.section(expansion, 0.7) == pytest.approx(-0.3 * 4 * 0.7 * 2.3 / 9, abs=1e-9)
    inner = deformed_shape.profiles(body, u)["inner"]
    assert inner.height[[0, -1]] == pytest.approx([0.0, length], abs=1e-12)
    assert inner.radius[[0, -1]] == pytest.approx(2.0, rel=1e-12)


@pytest.mark.exact
def test_mean_of_a_sphere():
    """(1/L) ∫ f dZ over a sphere whose points move outwards by 0.1 Z²/R²: 0.1/3; own integral."""
    body = build(Balloon(sphere(5.0), (Layer("wall", 0.1),)), MeshSize(along=0.1, through=1))
    x = body.points
    u = 0.1 * (x[:, 1:] / 5.0 - 1) ** 2 * np.column_stack([x[:, 0], 0 * x[:, 0]])
    shape = deformed_shape.RadialShape(body)
    assert shape.mean(shape.expansion(u)) == pytest.approx(0.1 / 3, rel=1e-3)


@pytest.mark.exact
@pytest.mark.parametrize("model", ["axisymmetric", "solid"])
def test_wall_thickness_is_the_shortest_distance(model):
    """A tube whose outer face is pushed in by a sinusoid: the wall is thinnest at its trough; own example."""
    size = MeshSize(model=model, along=0.2, through=1, around=48)
    body = build(Tube(2.0, 4.0, (Layer("wall", 0.2),)), size)
    r = body.points[:, 0] if model == "axisymmetric" else np.hypot(body.points[:, 0], body.points[:, 1])
    push = -0.05 * np.clip((r - 2.0) / 0.2, 0, 1) * (1 - np.cos(np.pi * body.points[:, -1] / 2)) / 2
    u = np.zeros_like(body.points)
    u[:, :-1] = body.points[:, :-1] * (push / r)[:, None]
    assert wall_thickness(body, np.zeros_like(u)) == pytest.approx(0.2, rel=5e-3)
    assert wall_thickness(body, u) == pytest.approx(0.15, rel=5e-3)


# definitions


def test_reported_quantities_match_their_definitions():
    body = build(
        Tube(1.0, LENGTH, (Layer("wall", RATIO - 1),)),
        MeshSize(along=LENGTH, through=2),
        (Band("whole", "wall", 0.0, LENGTH),),
    )
    model = Model(
        body,
        (sheet("wall", RATIO - 1),),
        (Support("end_low", "axial twist"), Support("end_high", "axial")),
        electrodes=(Electrode("whole"),),
        sections=(Section("mid", 0.2),),
        bare_stroke=BareStroke(np.array([0.0, 1.0]), np.zeros(2), np.zeros(2)),
        twist=True,
        timed=True,
        pressed=("outer",),
    )
    names = names_for(model.scope)
    assert len(names) == len(set(names))
    for name in names:
        assert quantity_of(name).kind in KINDS
    defined = {quantity.name for quantity in QUANTITIES}
    families = ("<contact>", "<load>", "<part>", "<wall>")
    absent = MARGINS | {name for name in defined if name.endswith(families)}
    absent |= {quantity.name for quantity in QUANTITIES if {"seal", "folds"} & {*quantity.needs}}
    absent |= {quantity.name for quantity in QUANTITIES if quantity.of_path or quantity in FLOW_QUANTITIES}
    stems = {name.split("<")[0].rstrip() for name in defined - absent}
    assert all(any(name.startswith(stem) for name in names) for stem in stems)
    with pytest.raises(KeyError, match="weight"):
        quantity_of("weight")
    states, _ = follow(model, Stage("on", voltages={"whole": 0.1}, steps=1))
    assert list(states[-1].quantities) == names
    for name in names:
        assert states[-1].quantities[name].unit == quantity_of(name).unit
