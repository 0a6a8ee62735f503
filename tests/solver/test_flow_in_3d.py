# SPDX-License-Identifier: MIT
"""Flows in a sector against the axisymmetric model of the same tube, which has an independent mesh."""

import pytest
from models import CLAMPED, last_of, neo_hookean, reached, tube_body, value

from annelid.geometry.shapes.band import Band
from annelid.solver.fluid.charging import Charging, Feed
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.conductors import Resistance
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.lubrication import Closed, Lubrication, Reservoir
from annelid.solver.fluid.sources import PressureSource
from annelid.solver.fluid.stores import Lumen
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import Stage

SECTOR = {"model": "sector", "sector": 90.0, "around": 16}
RING = Band("ring", "wall", 5.0, 15.0)
CIRCUIT = Circuit(
    (
        Lumen("part", "lumen"),
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
