# SPDX-License-Identifier: MIT
"""Parts deposited stress-free on a skin under pressure: in equilibrium as printed, exact when released."""

from dataclasses import replace

import numpy as np
import pytest
from exact import tube as exact
from models import SLIDING, neo_hookean, tube_body, value
from scipy.optimize import brentq

from annelid.geometry.errors import InputError
from annelid.geometry.lattice_mesh.base_nodes import without_regions
from annelid.solver.continuation import deposition, initial_state
from annelid.solver.continuation.path import follow
from annelid.solver.display import DisplayUnits
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalField, NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

A, B, LA, MU = 1.0, 1.3, 1.4, 0.5
a, b = exact.radius(np.array([A, B]), A, LA, 1.0)  # of the skin as inflated
C, STIFF = b + 0.1, 2.0  # the layer deposited on it
W = exact.mooney_rivlin(MU / 2)
P, _ = exact.pressure_and_force(W, A, B, LA, 1.0)


def printed_tube(cells=8, wrong=1.0, shrunk=1.0):
    """A skin drawn as inflated, its natural hoop stretch off by a factor, with a stiff deposited layer."""
    body = tube_body(A=a, through=cells, layers=(("skin", b - a), ("layer", C - b)))
    R = body.points[:, 0]
    drawn = np.sqrt(A**2 + np.minimum(R, b) ** 2 - a**2)
    skin = NaturalField(wrong * drawn / R, np.ones_like(R))
    face = np.flatnonzero(np.abs(R - b) < 1e-9)
    beyond = np.flatnonzero(R - b > 1e-9)
    foot = np.arange(len(R))
    foot[beyond] = face[np.abs(body.points[beyond, 1:] - body.points[face, 1]).argmin(axis=1)]
    parts = (
        Part("skin", neo_hookean(MU), natural_stretch=skin),
        Part("layer", neo_hookean(STIFF), natural_stretch=NaturalStretch(swelling=shrunk)),
    )
    body = replace(body, base_node=foot)
    return Model(body, parts, SLIDING, drawn_pressure=P, deposited=("layer",))


def followed(model, *stages):
    states = []
    outcome = follow(model, [Stage(name, pressure=p, steps=3) for name, p in stages], observe=states.append)
    assert outcome.kind == "reached"
    return states, outcome


def radii_of(model, state):
    R = model.body.points[:, 0] + state.displacement[:, 0]
    return [R[np.abs(model.body.points[:, 0] - at) < 1e-9].mean() for at in (a, b, C)]


@pytest.mark.long
@pytest.mark.exact
def test_printed_tube_is_released_as_two_bonded_tubes():
    """Own derivation, as for a shrink fit: the pressure differences over both tubes add up to zero."""
    model = printed_tube()
    states, outcome = followed(model, ("release", 0.0), ("fill", P))
    first, released = states[0], next(s for s in states if s.stage == "release" and s.parameter == 1.0)
    assert first.iterations == 0
    assert first.residual < 1e-8
    assert "is in equilibrium with its pressure" in outcome.remarks[0]
    assert value(first, "strain energy layer") < 1e-14 * value(first, "strain energy")
    assert value(first, "peak stress of layer") == pytest.approx(0.0, abs=1e-12)
    assert value(first, "smallest stretch") == pytest.approx(1 / LA, rel=2e-3)

    def pressure(la):
        within = exact.pressure_and_force(W, A, B, la, 1.0)[0]
        lb = float(exact.radius(B, A, la, 1.0)) / b
        return within + exact.pressure_and_force(exact.mooney_rivlin(STIFF / 2), b, C, lb, 1.0)[0]

    la = brentq(pressure, 1.01, LA, xtol=1e-13)
    assert 1.1 < la < LA - 0.02  # the layer maintains part of the stretch
    middle = float(exact.radius(B, A, la, 1.0))
    outer = float(exact.radius(C, b, middle / b, 1.0))
    assert radii_of(model, released) == pytest.approx([la * A, middle, outer], rel=3e-4)
    np.testing.assert_allclose(states[-1].displacement, first.displacement, atol=1e-7)


@pytest.mark.long
def test_error_of_the_skin_does_not_load_the_deposit():
    model = printed_tube(cells=2, wrong=0.995)
    states, outcome = followed(model, ("hold", P))
    moved = np.abs(states[0].displacement).max()
    assert moved > 1e-3
    assert f"{DisplayUnits().show('length', moved, 2)} away from the drawn shape" in outcome.remarks[0]
    assert states[0].iterations == 0
    assert value(states[0], "strain energy layer") < 1e-14 * value(states[0], "strain energy")
    np.testing.assert_allclose(states[-1].displacement, states[0].displacement, atol=1e-9)


def test_shrinkage_after_deposition_strains_the_part():
    states, outcome = followed(printed_tube(cells=2, shrunk=0.99), ("hold", P))
    assert "m to its equilibrium because of layer" in outcome.remarks[0]
    assert states[0].iterations > 0
    assert value(states[0], "mean hoop stress layer") > 1e-3


def test_printed_part_out_of_equilibrium_is_refused(monkeypatch):
    # The check of the equilibrium fails, because the skin is released a little before the layer is deposited.
    def off(*arguments):
        skin = deposition.equilibrium_of_skin(*arguments)
        return skin._replace(displacement=1.01 * skin.displacement, pressure=0.9 * skin.pressure)

    monkeypatch.setattr(initial_state, "equilibrium_of_skin", off)
    with pytest.raises(NoEquilibrium, match="as printed is not in equilibrium with its pressure"):
        followed(printed_tube(cells=2, wrong=0.995), ("hold", P))


def test_inconsistent_printed_parts_are_refused():
    with pytest.raises(NoEquilibrium, match="not in equilibrium with the pressure"):
        followed(printed_tube(wrong=0.8), ("hold", P))
    model = printed_tube()
    with pytest.raises(InputError, match="not all, of the body's regions: skin, layer"):
        replace(model, deposited=("lattice",))
    with pytest.raises(InputError, match=r"body\.base_node, the nodes"):
        replace(model, drawn_pressure=None)


def test_removing_a_region_keeps_names_and_positions():
    body = tube_body(layers=(("skin", 0.2), ("layer", 0.1)))
    piece = without_regions(body, ("layer",))
    assert set(piece.body.regions) == {"skin"}
    np.testing.assert_array_equal(piece.body.points, body.points[piece.nodes])
    np.testing.assert_array_equal(piece.nodes[piece.body.cells], body.cells[body.regions["skin"]])
    assert set(piece.body.surfaces) == {"lumen", "end_low", "end_high"}
    lumen = piece.body.points[piece.body.surface_nodes("lumen")]
    np.testing.assert_allclose(lumen[:, 0], 1.0)
