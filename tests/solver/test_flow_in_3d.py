# SPDX-License-Identifier: MIT
"""Flows in a sector against the axisymmetric model of the same tube, which has an independent mesh."""

import numpy as np
import pytest
from models import CLAMPED, SLIDING, last_of, neo_hookean, reached, tube_body, value

from annelid.geometry.shapes.band import Band
from annelid.solver.fluid.charging import Charging, Feed
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.conductors import Resistance
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.lubrication import Closed, Lubrication, Reservoir
from annelid.solver.fluid.sources import PressureSource
from annelid.solver.fluid.stores import LumenStore
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import Stage
from annelid.solver.model.waveforms import RaisedCosine, Waveform, travelling

SECTOR = {"model": "sector", "sector": 90.0, "around": 16}
RING = Band("ring", "wall", 5.0, 15.0)
CIRCUIT = Circuit(
    (
        LumenStore("part", "lumen"),
        PressureSource("tank", "tank", 2e-3),
        Resistance("line", "tank", "lumen", 1e-6),
    )
)
CHANNEL = Lubrication(4, Fluid(1e-6), Closed(), Reservoir(2e-3), 0.1)


def pumped(lumen, **size):
    """A ring is charged through a resistance and pushes fluid through the line or along the lumen."""
    body = tube_body(1.05, 20.0, A=4.0, along=5.0, bands=[RING], **size)
    part = Part("wall", neo_hookean(0.1, permittivity=3.0), Sheets(5, 0.04))
    flow = Flow(lumen, Charging((Feed("ring", None, 0.02),)))
    model = Model(body, (part,), CLAMPED, (Electrode("ring"),), flow=flow)
    fill = Stage("fill", pressure=2e-3, voltages={"ring": 0.0}, steps=1)
    on = Stage("on", control="flow", duration=0.2, voltages={"ring": 1.7}, steps=2)
    return reached(model, [fill, on])


@pytest.mark.long
@pytest.mark.parametrize("lumen", [CIRCUIT, CHANNEL], ids=["circuit", "channel"])
def test_a_sector_answers_as_the_whole_tube(lumen):
    # The lumen of the sector is a polygon of parabolas: both volumes differ by 1e-4 as drawn.
    whole, piece = pumped(lumen), pumped(lumen, **SECTOR)
    names = ["lumen volume", "charge ring", "electrode voltage ring", "electrical energy put in"]
    names += ["energy of the sources", "resistive loss", "work on the fluid"]
    names += ["volume through line", "loss in the circuit"] if lumen is CIRCUIT else []
    names += ["volume out of the upper end", "viscous loss"] if lumen is CHANNEL else []
    one, other = last_of(whole, "on"), last_of(piece, "on")
    for name in names:
        assert value(other, name) == pytest.approx(value(one, name), rel=2e-3), name
    drawn = value(last_of(whole, "fill"), "lumen volume")
    grown = value(one, "lumen volume") - drawn
    assert grown > 0.02 * drawn
    assert value(other, "lumen volume") - value(last_of(piece, "fill"), "lumen volume") == pytest.approx(
        grown, rel=5e-3
    )


GAP = 0.05  # mm, of the closed sleeve around the rod


def pumped_around_a_rod(along, time_step, **size):
    """Two rings of a sleeve on a rod open one after another against a pressure: a short `oesophagus_pump`.

    The states at the regular times of the wave; steps that were halved have others between.
    """
    rings = [Band("first", "wall", 2.5, 10.0), Band("second", "wall", 10.0, 17.5)]
    body = tube_body(1.05, 20.0, A=4.0, along=along, bands=rings, **size)
    part = Part("wall", neo_hookean(0.1, permittivity=3.0), Sheets(5, 0.04))
    rod = Contact("rod", "lumen", position=3.5, tolerance=1e-3)
    flow = Flow(Lubrication(8, Fluid(2e-9), Reservoir(2e-4), Reservoir(2.5e-4), GAP))
    model = Model(body, (part,), SLIDING, tuple(Electrode(r.name) for r in rings), contacts=(rod,), flow=flow)
    off = {ring.name: 0.0 for ring in rings}
    push = Stage("push", pressure=2e-4, voltages=off, obstacles={"rod": 4.2}, steps=4)
    form = Waveform(form=RaisedCosine(0.8), period=2.0, amplitude=1.5, offset=0.0, start=0.0, cycles=1)
    waves = travelling("voltages", [ring.name for ring in rings], form, delay=0.5)
    wave = Stage("wave", control="flow", duration=2.5, time_step=time_step, waves=waves)
    states = reached(model, [push, wave])
    regular = [s for s in states if s.stage == "wave" and abs(value(s, "time") / 0.2 % 1 - 0.5) > 0.5 - 1e-6]
    assert len(regular) == 12
    return [states[0], *regular]


def history(states, name):
    return np.array([value(s, name) for s in states[1:]])


@pytest.mark.long
def test_a_sector_pumps_around_a_rod_as_the_whole_sleeve():
    """Limits from the parts of the error, none of which is that of the sector's own solution.

    The mesh along the axis, and the steps in time, some of which the sector halves: as much as the
    axisymmetric model changes if its elements are halved to this size, and its steps from this size. The
    polygon of parabolas around the axis: where the sleeve is shut the flow goes with the third power of the
    gap, which is too small by as much as the drawn radius is.
    """
    coarser, whole, smaller = (pumped_around_a_rod(*sizes) for sizes in ((5.0, 0.2), (2.5, 0.2), (2.5, 0.1)))
    piece = pumped_around_a_rod(2.5, 0.2, **SECTOR)
    drawn, polygon = (value(states[0], "lumen volume") for states in (whole, piece))
    polygons = 3 * (1 - polygon / drawn) / 2 * 4.2 / GAP
    assert 0 < polygons < 0.02
    names = ["lumen volume", "volume out of the upper end", "volume out of the lower end"]
    names += ["electrical energy put in", "work on the fluid", "viscous loss"]
    for name in names:
        one, other, *rest = (history(states, name) for states in (whole, piece, coarser, smaller))
        limit = polygons * np.ptp(one) + sum(np.abs(than - one).max() for than in rest)
        assert np.abs(other - one).max() < limit < 0.1 * np.ptp(one), name
    assert value(whole[-1], "smallest open area") < 0.1 < np.pi * (4.2 + GAP) ** 2 - np.pi * 4.2**2
