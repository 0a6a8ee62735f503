# SPDX-License-Identifier: MIT
"""An invented run in time: a tube is mounted, breathes for three periods of a second, and is emptied."""

import math
from dataclasses import replace

from synthetic_parts import inflated
from synthetic_runs import DESCRIPTION, OUTCOME, create

from annelid.results.folder.run_records import CycleWindow
from annelid.solver.records import Measure

PERIOD, STEPS, CYCLES = 1.0, 8, 3
WINDOW = CycleWindow("breathe", PERIOD, 0.5, 3.0)  # its last whole cycle is from 1.5 s to 2.5 s
TIMES = [k * PERIOD / STEPS for k in range(1, CYCLES * STEPS + 1)]
FIRST_TIMED, LAST_TIMED = 2, CYCLES * STEPS + 1  # numbers of states


def stretch(time):
    """Inner hoop stretch of the tube."""
    return 1.2 + 0.1 * math.sin(2 * math.pi * time / PERIOD)


def volts(time):
    """Voltage of the ring, kV."""
    return 1.5 - 1.5 * math.cos(2 * math.pi * time / PERIOD)


def states(body):
    """Two states without time, those in time, and one without time."""
    rows = [("mount", 0.5, 0.0), ("mount", 1.0, 0.0)]
    rows += [("breathe", t / TIMES[-1], t) for t in TIMES]
    rows += [("empty", 1.0, TIMES[-1])]
    for index, (stage, parameter, time) in enumerate(rows):
        more = {"time": Measure(time, "s"), "wave volume": Measure(90.0 * stretch(time), "mm3")}
        state = inflated(body, stretch(time), index=index, stage=stage, parameter=parameter, extra=more)
        yield replace(state, loads={**state.loads, "voltage ring": Measure(volts(time), "kV")})


def waved(path, body, *, cycles=(WINDOW,), keep_fields="all", finish=True):
    """Its Run folder."""
    description = replace(DESCRIPTION, cycles=cycles, title="Breathing tube")
    with create(path, body, description=description, keep_fields=keep_fields) as run:
        for state in states(body):
            run.append(state)
        if finish:
            run.finish(OUTCOME)
    return path
