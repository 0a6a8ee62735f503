# SPDX-License-Identifier: MIT
"""Electrodes that do not go all around: their charge, and the bending of a tube with one energised side.

Sources: the area of a cylinder between two angles, and of a helical band, which covers width / pitch of the
circumference at every height; the capacitance ε A / t of a film; bending of a thin-walled beam with an
imposed strain (own derivation below).
"""

from functools import cache

import numpy as np
import pytest
from dielectric_cases import EPS, MU, follow, sheet, value

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band, Helix
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage
from annelid.solver.model.waveforms import RaisedCosine, Waveform, travelling

RADIUS, WALL, LENGTH = 5.0, 0.4, 60.0
MEAN = RADIUS + WALL / 2
HALF = 40.0  # degrees
CLAMPED = (Support("end_low", "all"),)
TUBE = Tube(RADIUS, LENGTH, (Layer("wall", WALL),))
ARCS = 1e-6  # of an area: 60 second-order elements around instead of a circle
FRINGE = 0.1  # of a fringe capacitance: the field is singular at the edge
BEAM = 0.05  # of a curvature: the wall is thin and the part long, but both only so far


def model(*bands, electrics="layered", **size):
    body = build(TUBE, MeshSize(**{"model": "solid", "along": 5.0, "through": 1, "around": 12} | size), bands)
    electrodes = tuple(Electrode(band.name) for band in bands)
    return Model(body, (sheet("wall", WALL),), CLAMPED, electrodes=electrodes, electrics=electrics)


def side(middle, low=0.0, high=LENGTH):
    return Band("side", "wall", low, high, angles=(middle - HALF, middle + HALF))


def unloaded(model):
    states, _ = follow(model, Stage("rest", steps=1))
    return states[0]


def capacitance(fraction, height):
    """ε A / t, with A in the middle of the wall, nF."""
    return EPS * 2 * np.pi * MEAN * height * fraction / WALL


@pytest.mark.parametrize("size", [{"model": "solid"}, {"model": "sector", "sector": 180.0}])
def test_capacitance_between_two_angles(size):
    state = unloaded(model(side(0.0, 10.0, 35.0), along=30.0, around=60, **size))
    assert value(state, "capacitance side") == pytest.approx(capacitance(2 * HALF / 360, 25.0), rel=ARCS)


@pytest.mark.long
def test_fringe_field_beside_a_solved_electrode():
    """Each straight edge of an electrode on both faces of a sheet adds the width t ln 2 / π.

    The field stays in the sheet. Half a sheet, mirrored in its electrode, is a strip line; each face of its
    thin strip has the fringe capacitance 2 ln 2 / π times ε at an edge (Cohn, IRE Trans. MTT 2, 52, 1954,
    from memory): a width of 2 ln 2 / π times half of the thickness.
    """
    tube = Tube(RADIUS, 1.0, TUBE.layers)
    size = MeshSize(model="sector", sector=180.0, along=1.0, through=4, around=256)
    body = build(tube, size, [side(0.0, high=1.0)])
    electrodes = (Electrode("side"),)
    part = Model(body, (sheet("wall", WALL),), CLAMPED, electrodes=electrodes, electrics="solved")
    state = follow(part, Stage("on", voltages={"side": 1e-3}, steps=1))[0][-1]
    width = value(state, "capacitance side") * WALL / EPS
    beyond = width - 2 * np.radians(HALF) * WALL / np.log1p(WALL / RADIUS)  # of a cylindrical capacitor
    assert beyond == pytest.approx(2 * WALL * np.log(2) / np.pi, rel=FRINGE)


def test_capacitance_of_a_helix_within_the_stated_error():
    helix = Helix(pitch=20.0, width=4.0, start_angle=30.0, hand="left")
    part = model(Band("coil", "wall", 6.0, 51.0, helix=helix), along=2.5, around=24)
    exact = capacitance(helix.width / helix.pitch, 45.0)
    found = value(unloaded(part), "capacitance coil") / exact - 1
    stated = part.body.notes["electrode coil"]
    percent = float(stated.split("its area is ")[1].split(" %")[0]) * (1 if "larger" in stated else -1)
    assert abs(found) < 20.0 / (24 * 4.0)  # a whole element around
    assert 100 * found == pytest.approx(percent, abs=0.05 * abs(percent) + 0.002)  # two digits, and arcs


def test_the_hand_of_a_helix():
    """The angle of the cells rises with their height by 360 degrees in one pitch, or falls."""
    for hand, sign in (("right", 1), ("left", -1)):
        helix = Helix(pitch=60.0, width=8.0, start_angle=0.0, hand=hand)
        body = model(Band("coil", "wall", 0.0, LENGTH, helix=helix), along=2.0, around=24).body
        x, y, z = body.points[body.cells[body.bands["coil"]]].mean(axis=1).T
        turn = np.unwrap(np.arctan2(y, x)[np.argsort(z)], discont=np.pi)
        slope = np.polyfit(np.sort(z), turn, 1)[0]
        assert slope == pytest.approx(sign * 2 * np.pi / 60.0, rel=0.05)


@cache
def bent(middle, field=0.1, **size):
    """Displacement and curvature of a clamped tube with one energised side; the curvature is that towards +x.

    The rotation of a section is the slope of its axial displacement over x.
    """
    part = model(side(middle), **dict(size))
    voltage = field * WALL * np.sqrt(MU / EPS)
    states, outcome = follow(part, Stage("on", voltages={"side": voltage}, steps=2))
    assert outcome.kind == "reached"
    points, displacement = part.body.points, states[-1].displacement
    rotation = []
    for height in (20.0, 40.0):
        nodes = np.abs(points[:, 2] - height) < 1e-9
        assert nodes.sum() > 8
        slope, _ = np.polyfit(points[nodes, 0], displacement[nodes, 2], 1)
        rotation.append(-slope)
    tip = displacement[np.abs(points[:, 2] - LENGTH) < 1e-9].mean(axis=0)
    return tip, (rotation[1] - rotation[0]) / 20.0


def test_a_tube_bends_away_from_its_energised_side():
    tip, curvature = bent(0.0)
    assert tip[0] < -0.1
    assert curvature < 0
    assert abs(tip[1]) < 1e-6 * abs(tip[0])


def test_the_opposite_side_bends_it_as_much_the_other_way():
    here, there = bent(0.0), bent(180.0)
    assert there[0] == pytest.approx(here[0] * [-1, 1, 1], rel=1e-6, abs=1e-8)
    assert there[1] == pytest.approx(-here[1], rel=1e-6)


def test_half_of_the_tube_bends_as_the_whole():
    whole, half = bent(0.0), bent(0.0, model="sector", sector=180.0)
    assert half[0][0] == pytest.approx(whole[0][0], rel=0.02)  # nodes on the plane count once
    assert half[1] == pytest.approx(whole[1], rel=0.02)


def test_curvature_of_a_tube_with_one_energised_side():
    """κ = ∫ e cos θ r t r dθ / (π r³ t) = 2 e sin a / (π r) over the energised angle 2a.

    A sheet of modulus E = 3 μ under the pressure ε E0² through its thickness, free in its plane, becomes
    longer by e = ε E0² / (2 E) with ν = 1/2. A section stays plane, ε_z = ε_0 + κ x, and bears no moment:
    ∫ ε_z x dA = κ π r³ t is ∫ e x dA over the energised part.
    """
    field = 0.1
    strain = MU * field**2 / (2 * 3 * MU)
    exact = 2 * strain * np.sin(np.radians(HALF)) / (np.pi * MEAN)
    _, curvature = bent(0.0, field)
    assert -curvature == pytest.approx(exact, rel=BEAM)


@pytest.mark.long
def test_a_wave_around_the_axis_turns_the_plane_of_bending():
    """Three sides, 120 degrees apart, of which each follows a third of a period after the one before.

    In every state κ = Σ 2 e_i sin a / (π r) away from side i, as above, with e_i = ε E_i² / (2 E). By
    symmetry a third of a period turns the plane of bending by 120 degrees and keeps the amplitude.
    """
    names, middles = ("a", "b", "c"), np.array([0.0, 120.0, 240.0])
    sides = [
        Band(name, "wall", 0.0, LENGTH, angles=(middle - HALF, middle + HALF))
        for name, middle in zip(names, middles, strict=True)
    ]
    part, unit = model(*sides), WALL * np.sqrt(MU / EPS)
    form = Waveform(
        form=RaisedCosine(1.0), period=1.0, amplitude=0.1 * unit, offset=0.0, start=0.0, cycles=None
    )
    waves = travelling("voltages", names, form, delay=1 / 3)
    on = Stage("on", voltages={w.entry: w.waveform.value(0.0) for w in waves}, steps=1)
    states, outcome = follow(part, on, Stage("wave", duration=2.0, steps=12, waves=waves))
    assert outcome.kind == "reached"
    found = {}
    for state in states:
        time = value(state, "time")
        if time < 1 - 1e-9 or round(6 * time, 6) % 1:
            continue  # every side takes part from the second period on
        volts = np.array([state.loads[f"voltage {name}"].value for name in names])
        strains = (volts / unit) ** 2 / 6
        beam = -2 * np.sin(np.radians(HALF)) / (np.pi * MEAN) * (strains @ np.exp(1j * np.radians(middles)))
        found[round(6 * time)] = curvature_of(part, state)
        assert abs(found[round(6 * time)] - beam) < BEAM * abs(beam)
    assert len(found) == 7
    for step in (6, 7, 8, 9, 10):
        assert found[step + 2] == pytest.approx(found[step] * np.exp(2j * np.pi / 3), rel=1e-5)


def curvature_of(part, state):
    """κ_x + i κ_y between two sections, from planes through their axial displacements."""
    points, displacement = part.body.points, state.displacement
    rotation = []
    for height in (20.0, 40.0):
        nodes = np.abs(points[:, 2] - height) < 1e-9
        x = np.column_stack([points[nodes, :2], np.ones(nodes.sum())])
        slope = np.linalg.lstsq(x, displacement[nodes, 2], rcond=None)[0]
        rotation.append(-complex(*slope[:2]))
    return (rotation[1] - rotation[0]) / 20.0
