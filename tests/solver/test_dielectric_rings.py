# SPDX-License-Identifier: MIT
"""A tube with eight ring electrodes of which one is energised.

Sources: an edge disturbance of a thin tube decays like exp(-β z), β = (3 (1 - ν²))^(1/4) / √(R t) with ν = ½
(thin-shell theory, Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, ch. 15, from memory).
Everything else is own reasoning from symmetry and from the uniform tube.
"""

from functools import cache

import numpy as np
import pytest
from dielectric_cases import EPS, follow, sheet, value, volts

from annelid.geometry.errors import InputError
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.constraints.stage_checks import check_stages
from annelid.solver.model.boundary import Electrode, Section, Support
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage

RADIUS, WALL, COUNT = 8.0, 0.4, 4
RING, GAP = 6.0, 2.0
LENGTH = 8 * (RING + GAP)
NAMES = tuple(f"ring_{i}" for i in range(1, 9))
LOWS = tuple(GAP / 2 + i * (RING + GAP) for i in range(8))
DECAY = np.sqrt(RADIUS * WALL) / (3 * 0.75) ** 0.25  # 1/β, mm


def rings(along=0.5):
    bands = [Band(name, "wall", low, low + RING) for name, low in zip(NAMES, LOWS, strict=True)]
    body = build(Tube(RADIUS, LENGTH, (Layer("wall", WALL),)), MeshSize(along=along, through=1), bands)
    sections = tuple(Section(name, low + RING / 2) for name, low in zip(NAMES, LOWS, strict=True))
    return Model(
        body,
        (sheet("wall", WALL / COUNT, count=COUNT),),
        (Support("end_low", "axial"), Support("end_high", "axial")),
        electrodes=tuple(Electrode(name) for name in NAMES),
        sections=sections,
    )


@cache
def energised(name):
    states, outcome = follow(rings(), Stage("on", voltages={name: volts(0.35, WALL / COUNT)}, steps=3))
    assert outcome.kind == "reached"
    return states[-1]


@pytest.mark.parametrize(("ring", "mirror"), [("ring_4", "ring_5"), ("ring_1", "ring_8")])
def test_mirrored_rings_give_mirrored_shapes(ring, mirror):
    here, there = energised(ring).profiles["inner"], energised(mirror).profiles["inner"]
    swing = np.ptp(here.radius)
    assert swing > 0.02 * RADIUS
    assert here.height == pytest.approx(LENGTH - there.height[::-1], abs=1e-6)
    assert here.radius == pytest.approx(there.radius[::-1], abs=1e-6 * swing)


def test_ring_is_symmetric_about_its_middle():
    """Far from both ends, within the decay of their influence.

    The ends lie more than 15 decay lengths away.
    """
    profile = energised("ring_4").profiles["inner"]
    middle = LOWS[3] + RING / 2
    assert min(middle, LENGTH - middle) > 15 * DECAY
    reach = 8 * DECAY
    offsets = np.linspace(0, reach, 50)
    up, down = (np.interp(middle + sign * offsets, profile.height, profile.radius) for sign in (1, -1))
    assert up == pytest.approx(down, abs=1e-3 * np.ptp(profile.radius))


def test_only_the_energised_ring_is_charged():
    state = energised("ring_4")
    assert state.loads["voltage ring_4"].value == pytest.approx(volts(0.35, WALL / COUNT))
    for name in NAMES:
        charge = value(state, f"charge {name}")
        assert (charge > 0) == (name == "ring_4")
        if name != "ring_4":
            assert charge == 0.0
    assert value(state, "charge") == value(state, "charge ring_4")
    V = state.loads["voltage ring_4"].value
    assert value(state, "stored electrical energy") == pytest.approx(
        value(state, "charge") * V / 2, rel=1e-12
    )
    on_ring = np.zeros(len(rings().body.cells), dtype=bool)
    on_ring[rings().body.bands["ring_4"]] = True
    assert np.all((state.fields["true field"] > 0) == on_ring[:, None])


@pytest.mark.exact
def test_capacitance_of_the_energised_ring_is_the_largest():
    """The sheet thins and grows in area: C = C0 λ²λz² there, against ε A0 / t of the sheets as drawn."""
    state = energised("ring_4")
    drawn = EPS * COUNT * np.pi * ((RADIUS + WALL) ** 2 - RADIUS**2) * RING / (WALL * WALL / COUNT)
    capacitances = {name: value(state, f"capacitance {name}") for name in NAMES}
    others = [c for name, c in capacitances.items() if name != "ring_4"]
    assert capacitances["ring_4"] > 1.03 * max(others)
    for name in ("ring_1", "ring_8"):
        assert capacitances[name] == pytest.approx(drawn, rel=2e-2)
    assert value(state, "capacitance") == pytest.approx(sum(capacitances.values()), rel=1e-12)


def test_lumen_grows_where_the_ring_is_energised():
    state = energised("ring_4")
    assert value(state, "volume change") > 0
    assert value(state, "radial expansion ring_4") > 0.02
    assert value(state, "radial expansion ring_4") == pytest.approx(
        value(state, "largest radial expansion"), rel=0.2
    )
    assert value(state, "lumen volume") == pytest.approx(
        np.pi * RADIUS**2 * LENGTH + value(state, "volume change"), rel=1e-9
    )
    assert value(state, "unstable modes") == 0


@pytest.mark.exact
def test_rings_do_not_interact_beyond_the_decay_length():
    """Beyond its edge the disturbance falls as exp(-β z) cos(β z + c): at 6 decay lengths it is below 1 %.

    The uniform change of the whole tube between its fixed ends is subtracted.
    """
    profile = energised("ring_4").profiles["inner"]
    rise = profile.radius - RADIUS
    far = np.abs(profile.height - LOWS[6]) < 1.0
    remote = rise[far].mean()
    swing = rise.max() - remote
    edge = LOWS[3] + RING
    beyond = profile.height > edge + 6 * DECAY
    inner = beyond & (profile.height < LENGTH - 6 * DECAY)
    assert inner.sum() > 20
    assert np.abs(rise[inner] - remote).max() < 1e-2 * swing
    near = (profile.height > edge) & (profile.height < edge + DECAY)
    assert np.abs(rise[near] - remote).max() > 1e-1 * swing


def test_two_distant_rings_add():
    """Rings 2 and 7 energised together expand as each alone, except for the common axial tension."""
    kv = volts(0.35, WALL / COUNT)
    states, outcome = follow(rings(), Stage("on", voltages={"ring_2": kv, "ring_7": kv}, steps=3))
    assert outcome.kind == "reached"
    alone = value(energised("ring_2"), "radial expansion ring_2")
    for name in ("ring_2", "ring_7"):
        assert value(states[-1], f"radial expansion {name}") == pytest.approx(alone, rel=0.1)
    both = [value(states[-1], f"charge {name}") for name in ("ring_2", "ring_7")]
    assert both[0] == pytest.approx(both[1], rel=1e-6)


def test_touching_electrodes_must_have_one_voltage():
    body = build(
        Tube(RADIUS, 4.0, (Layer("wall", WALL),)),
        MeshSize(along=1.0, through=1),
        [Band("low", "wall", 0.0, 2.0), Band("high", "wall", 2.0, 4.0)],
    )
    model = Model(
        body,
        (sheet("wall", WALL),),
        (Support("end_low", "axial"), Support("end_high", "axial")),
        electrodes=(Electrode("low"), Electrode("high")),
        electrics="solved",
    )
    with pytest.raises(InputError, match=r"'low' and 'high' touch but are set to 1 and 0 kV: leave a gap"):
        check_stages(model, (Stage("on", voltages={"low": 1.0}),))
    check_stages(model, (Stage("on", voltages={"low": 1.0, "high": 1.0}),))
