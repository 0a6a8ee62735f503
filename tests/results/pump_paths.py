# SPDX-License-Identifier: MIT
"""Paths of an invented pump whose cycles are known in closed form, as tables.

The loop is an ellipse: V = V0 - b sin ωt and P = P0 + a cos ωt, so that W = -∮ P dV = π a b a cycle. The
fluid leaves with q = q0 + q1 sin ωt. The voltage does work at the power e/T + E ω cos ωt, whose negative part
is known.
"""

import numpy as np

from annelid.results.folder.run_records import CycleWindow
from annelid.results.folder.tables import PathRecord

T, STEPS, CYCLES = 0.5, 48, 3
ω = 2 * np.pi / T
PRESSURE, VOLUME = (0.01, 2e-3), (5000.0, 600.0)  # mean and amplitude, MPa and mm³
WORK = np.pi * PRESSURE[1] * VOLUME[1]  # mJ a cycle
FLOW = 900.0  # mm³/s
VISCOUS, RESISTIVE, LEAK = 0.4, 0.9, 0.25  # mJ a cycle
PUT_IN, SWING = WORK, 12.0  # mJ a cycle and mJ
WINDOW = CycleWindow("beat", T, 0.0, CYCLES * T)


def pump(*, channel=False, fed=0, electrodes=2, drift=0.0, unaccounted=0.0, steps=STEPS):
    """A state before the beats, and three cycles of them.

    Args:
        channel: Fluid along the lumen instead of a circuit.
        fed: How many of the electrodes have a feed.
        electrodes: Their number.
        drift: mm³ by which the volume grows a cycle.
        unaccounted: mJ a cycle that the electrodes put in and that nothing gets.
        steps: States a cycle.
    """
    t = np.linspace(0.0, CYCLES * T, CYCLES * steps + 1)
    turns, n = t / T, len(t)
    put_in = (PUT_IN + unaccounted) * turns + SWING * np.sin(ω * t)
    columns = {
        "state": np.arange(n, dtype=float),
        "parameter": t / t[-1],
        "unstable modes": np.zeros(n),
        "time": t,
        "lumen volume": VOLUME[0] - VOLUME[1] * np.sin(ω * t) + drift * turns,
        "lumen pressure": PRESSURE[0] + PRESSURE[1] * np.cos(ω * t),
        "strain energy": 30.0 + SWING * np.sin(ω * t),
        "work on the fluid": WORK * turns + 5.0 * (1 - np.cos(ω * t)),
        "electrical energy put in": put_in,
        "stored electrical energy": np.full(n, 2.0),
    }
    columns |= {f"charge ring_{i}": np.sin(ω * t) for i in range(electrodes)}
    flow = FLOW * (1 + 1.5 * np.sin(ω * t))
    volume = FLOW * (t + 1.5 * (1 - np.cos(ω * t)) / ω)
    if channel:
        columns |= {
            "highest lumen pressure": columns["lumen pressure"] + 1e-3,
            "lowest lumen pressure": columns["lumen pressure"] - 1e-3,
            "outflow at the upper end": flow,
            "outflow at the lower end": -flow,
            "volume out of the upper end": volume,
            "viscous loss": VISCOUS * turns,
            "work at the lower end": -0.5 * (WORK - VISCOUS) * turns,
            "work at the upper end": 1.5 * (WORK - VISCOUS) * turns,
            "Reynolds number": 30 + 5 * np.sin(ω * t),
            "Reynolds number times slope": 0.4 + 0 * t,
            "Womersley number": 0.8 + 0 * t,
            "wall slope": 0.1 + 0 * t,
        }
    else:
        columns |= {
            "flow through outlet": np.maximum(flow, 0.0),
            "flow through inlet": np.maximum(-flow, 0.0) + 0.2 * FLOW,
            "volume through outlet": volume,
            "volume through inlet": 0.5 * volume,
            "pressure at aorta": 0.012 + 1e-3 * np.sin(ω * t - 1),
            "pressure at lumen": columns["lumen pressure"],
        }
    if fed:
        columns |= {f"current ring_{i}": np.cos(ω * t) for i in range(fed)}
        columns["resistive loss"], columns["leak loss"] = RESISTIVE * turns, LEAK * turns
        columns["energy of the sources"] = fed / electrodes * put_in + (RESISTIVE + LEAK) * turns
    return PathRecord(
        stages=("rest", *["beat"] * (n - 1)),
        columns=columns,
        units={},
        loads=(),
        quantities=tuple(columns)[3:],
    )
