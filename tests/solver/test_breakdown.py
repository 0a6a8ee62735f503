# SPDX-License-Identifier: MIT
"""Breakdown margin against its closed form: strength by stretch and thickness, natural stretch.

Strength E_b = field λ^m (h / h0)^n as measured by Huang, Shian, Diebold, Suo & Clarke, Appl. Phys. Lett. 101,
122905 (2012): for an acrylic film n = -0.25, m = 0.63; combined with natural stretch by own derivation.
"""

import numpy as np
import pytest
from dielectric_cases import MU, follow, grid_body, sheet, strong, value, volts
from exact import dielectric
from models import SLIDING

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.material import Breakdown, Material
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import Stage

THICKNESS = 0.05  # mm, as drawn
STRENGTHS = (
    {"field": 80.0},
    {"field": 80.0, "stretch_exponent": 0.63},
    {"field": 51.0, "thickness_exponent": -0.25, "reference_thickness": 1.0},
    {"field": 51.0, "stretch_exponent": 0.63, "thickness_exponent": -0.25, "reference_thickness": 1.0},
)


def disc(strength, natural, electrics="layered", count=1):
    """Free disc whose film normal is the axis."""
    body = grid_body(
        "axisymmetric",
        (2, 1),
        lambda q: q * np.array([1.0, THICKNESS]),
        "film",
        {(0, 1): "outer", (1, 0): "end_low", (1, 1): "end_high"},
        (0.0, 1.0),
        bands={"film": ((1, 0), (1, 1))},
    )
    part = Part("film", strong(**strength), Sheets(count, THICKNESS / count), natural)
    return Model(
        body,
        (part,),
        (Support("end_low", "axial"),),
        electrodes=(Electrode("film"),),
        electrics=electrics,
    )


def margin(strength, field, stretch, thickness):
    """E_b / E by the formula."""
    limit = strength["field"] * stretch ** strength.get("stretch_exponent", 0.0)
    exponent = strength.get("thickness_exponent", 0.0)
    if exponent:
        limit *= (thickness / strength["reference_thickness"]) ** exponent
    return limit / field


@pytest.mark.exact
@pytest.mark.parametrize("strength", STRENGTHS)
@pytest.mark.parametrize(("electrics", "count"), [("layered", 1), ("layered", 4), ("solved", 1)])
def test_margin_of_a_free_film(strength, electrics, count):
    """At λ = 1.15 (e = 0.655165547, recomputed): true field V/t λ², thickness t λ⁻², in-plane stretch λ."""
    stretch, e = 1.15, 0.655165547
    kv = volts(e, THICKNESS / count)
    states, outcome = follow(
        disc(strength, NaturalStretch(), electrics, count), Stage("on", voltages={"film": kv}, steps=2)
    )
    assert outcome.kind == "reached"
    sheet_thickness = THICKNESS / count
    field = kv / sheet_thickness * stretch**2
    exact = margin(strength, field, stretch, sheet_thickness / stretch**2)
    assert value(states[-1], "largest true field") == pytest.approx(field, rel=1e-5)
    assert value(states[-1], "breakdown margin") == pytest.approx(exact, rel=1e-5)
    assert states[-1].fields["breakdown margin"] == pytest.approx(exact, rel=1e-5)
    assert value(states[0], "breakdown margin") == np.inf


@pytest.mark.exact
@pytest.mark.parametrize("natural", [(0.8, 1.0), (1.25, 1.0), (0.9, 1.1)])
@pytest.mark.parametrize("strength", [STRENGTHS[0], STRENGTHS[3]])
def test_margin_with_natural_stretch(strength, natural):
    """A film g times as wide when free of stress, and swollen by s, is a film of thickness t s/g².

    Own derivation: with Fe = λ and total stretch g s λ, the energy s³ [W(λ) - ε (V g²/(t s))² λ⁴/2] is that
    of a film of natural thickness t s/g², so λ follows from its own nominal field. The strength depends on
    the elastic stretch λ.
    """
    g, s = natural
    e = 0.6
    natural_thickness = THICKNESS * s / g**2
    kv = volts(e, natural_thickness)
    states, outcome = follow(
        disc(strength, NaturalStretch(g, g, s)),
        Stage("settle", steps=3),
        Stage("on", voltages={"film": kv}, steps=2),
    )
    assert outcome.kind == "reached"
    stretch = (1 + value(states[-1], "mean radial expansion")) / (g * s)
    assert dielectric.film_field(stretch) == pytest.approx(e, rel=1e-4)
    assert value(states[-1], "largest stretch") == pytest.approx(stretch, rel=1e-6)
    field = kv / natural_thickness * stretch**2
    assert value(states[-1], "largest true field") == pytest.approx(field, rel=1e-5)
    exact = margin(strength, field, stretch, natural_thickness / stretch**2)
    assert value(states[-1], "breakdown margin") == pytest.approx(exact, rel=1e-5)


@pytest.mark.exact
def test_smallest_margin_is_at_the_inner_face():
    """The radial field is largest at the inner face, V / (a ln(b/a)); the wall hardly deforms."""
    kv, ratio = 1e-3, 1.5
    body = build(
        Tube(1.0, 0.5, (Layer("wall", ratio - 1),)),
        MeshSize(along=0.5, through=4),
        (Band("whole", "wall", 0.0, 0.5),),
    )
    model = Model(
        body,
        (sheet("wall", ratio - 1, material=strong(field=80.0)),),
        (Support("end_low", "all"), Support("end_high", "all")),
        electrodes=(Electrode("whole"),),
        electrics="solved",
    )
    states, _ = follow(model, Stage("on", voltages={"whole": kv}, steps=1))
    assert value(states[-1], "breakdown margin") == pytest.approx(80.0 / (kv / np.log(ratio)), rel=1e-2)
    assert states[-1].places["breakdown margin"][0] == pytest.approx(1.0, rel=1e-9)
    assert states[-1].places["largest true field"][0] == pytest.approx(1.0, rel=1e-9)


def test_exceeded_strength_is_remarked_and_does_not_stop():
    """The margin is 1 at a nominal field below 0.6; the path continues, and a remark states the voltage."""
    weak = {"field": 0.5 * float(volts(1.0, 1.0))}  # true e = 0.5 breaks the sheet
    states, outcome = follow(
        disc(weak, NaturalStretch()), Stage("on", voltages={"film": volts(0.6, THICKNESS)}, steps=24)
    )
    assert outcome.kind == "reached"
    margins = [value(s, "breakdown margin") for s in states]
    assert margins == sorted(margins, reverse=True)
    assert margins[1] > 1 > margins[-1]
    first = next(s for s, m in zip(states, margins, strict=True) if m < 1)
    volts_there = first.loads["voltage film"].value
    assert outcome.remarks == (
        "the electric field exceeds the dielectric strength from voltage film "
        f"{volts_there:.5g}\N{NO-BREAK SPACE}kV on",
    )
    true = value(states[-1], "largest true field") / np.sqrt(MU)
    assert margins[-1] == pytest.approx(weak["field"] / true / np.sqrt(MU), rel=1e-9)


@pytest.mark.rate
def test_margin_at_the_edge_of_an_electrode_has_a_limit():
    """At its edge a solved field is singular, as 1/sqrt(r); its volume above any value is finite."""
    law = {"shear_modulus": 1.0}
    material = Material("m", "neo-hookean", law, permittivity=2.8, breakdown=Breakdown(80.0))
    margins, fields = [], []
    for elements in (8, 16, 32):
        size = MeshSize(along=0.2 / elements, through=elements)
        body = build(Tube(1.0, 1.0, (Layer("wall", 0.2),)), size, (Band("ring", "wall", 0.25, 0.75),))
        part = Part("wall", material, Sheets(1, 0.2))
        model = Model(body, (part,), SLIDING, electrodes=(Electrode("ring"),), electrics="solved")
        states, _ = follow(model, Stage("on", voltages={"ring": 1.0}, steps=1))
        quantities = states[-1].quantities
        margins.append(quantities["breakdown margin"].value)
        fields.append(quantities["largest true field"].value)
        assert quantities["least breakdown margin"].value == pytest.approx(80.0 / fields[-1], rel=1e-9)
        assert quantities["true field 99.5 %"].value == pytest.approx(80.0 / margins[-1], rel=1e-9)
    assert margins[2] == pytest.approx(margins[1], rel=0.01)
    assert fields[2] > 1.3 * fields[1] > 1.6 * fields[0]
