# SPDX-License-Identifier: MIT
"""Synthetic paths with a reversal: the tube at given hoop stretches with invented loads and modes."""

from dataclasses import replace

import numpy as np
from synthetic_parts import inflated
from synthetic_runs import MMHG, create

from annelid.results.folder.run_records import CaseDescription
from annelid.solver.records import Measure, Outcome

DESCRIPTION = CaseDescription(
    title="Past the maximum",
    units=MMHG,
    targets={"fill": {}, "deflate": {"pressure": 0.02}},
    controls={"fill": "volume", "deflate": "load"},
)
OUTCOME = Outcome("reached", "reached: all 2 stages", "deflate", 1.0, ("limit point at pressure 30 kPa",))

# Stage, parameter, inner hoop stretch, pressure [MPa], unstable modes (given, controlled), critical, and how
# it was reached if it does not continue from the row before.
FILL = (
    ("fill", 0.0, 1.0, 0.0, 0, 0, ""),
    ("fill", 0.2, 1.1, 0.02, 0, 0, ""),
    ("fill", 0.4, 1.2, 0.03, 0, 0, "limit point"),
    ("fill", 0.6, 1.3, 0.028, 1, 0, ""),
    ("fill", 0.8, 1.4, 0.026, 2, 1, ""),
    ("fill", 1.0, 1.5, 0.025, 1, 0, ""),
)
DEFLATE = (
    ("deflate", 0.0, 1.15, 0.025, 0, 0, "", "jump"),
    ("deflate", 1.0, 1.1, 0.02, 0, 0, ""),
)


def states(body, rows=FILL + DEFLATE):
    """Equilibria of rows such as ``FILL``; critical ones have a mode that swells the middle."""
    for index, (stage, parameter, stretch, pressure, given, controlled, critical, *how) in enumerate(rows):
        state = inflated(body, stretch, index=index, stage=stage, parameter=parameter)
        yield replace(
            state,
            loads={"pressure": Measure(pressure, "MPa")},
            unstable_modes=given,
            unstable_modes_controlled=controlled,
            critical=critical,
            mode=bulge(body) if critical else None,
            reached_by=how[0] if how else "",
        )


def bulge(body):
    """A mode along the radius that fades towards the ends, largest component 1."""
    height = body.points[:, -1] / body.points[:, -1].max()
    fade = np.sin(np.pi * height)
    mode = np.zeros_like(body.points)
    mode[:, 0] = fade
    return mode


def turned(path, body, rows=FILL + DEFLATE, **options):
    """A finished Run folder of such a path."""
    with create(path, body, description=DESCRIPTION, **options) as run:
        for state in states(body, rows):
            run.append(state)
        run.finish(OUTCOME)
    return path
