# SPDX-License-Identifier: MIT
"""Flow systems side by side."""

import numpy as np
from soft import slope_errors

from annelid.solver.fluid.charging import Charging, Feed
from annelid.solver.fluid.flow_system import LumenState
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.joined import Joined
from annelid.solver.fluid.lubrication import Closed, Lubrication, Reservoir

CHANNEL = Lubrication(3, Fluid(1e-6), Reservoir(1e-3), Closed(), 0.1)
FEEDS = Charging((Feed("a", 2.0, 0.3), Feed("b", 1.0, 0.5, relaxation=2.0)))


def test_derivatives_and_places():
    joined = Joined((CHANNEL, FEEDS))
    rng = np.random.default_rng(1)
    lumen = LumenState(*rng.uniform(0.5, 1.5, (3, 5)))
    y = rng.uniform(1e-3, 2e-3, 5)
    assert slope_errors(joined, y, lumen, 0.0) < 1e-6
    assert joined.names == (*CHANNEL.names, *FEEDS.names)
    assert (joined.pressures == np.eye(5)).all()
    rate = joined.rate(y, lumen, 0.0)
    assert (rate.value[:3] == CHANNEL.rate(y[:3], lumen.part(slice(3)), 0.0).value).all()
    assert (rate.value[3:] == FEEDS.rate(y[3:], lumen.part(slice(3, 5)), 0.0).value).all()
