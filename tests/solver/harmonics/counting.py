# SPDX-License-Identifier: MIT
"""Counts of unstable modes by harmonic along loads, for tests."""

from dataclasses import replace

from models import FOLLOW

from annelid.solver.continuation.path import Path
from annelid.solver.harmonics.stability import HarmonicStability
from annelid.solver.model.loads import Loads
from annelid.solver.model.stages import Stage

BRACKET = 5e-3  # relative, of a critical load


class Judged:
    """States of a model under chosen loads, each found from the one before, and their harmonics.

    The states are those of the same symmetry as the model: uniform tubes stay uniform past bifurcations.
    """

    def __init__(self, model, start=None, **stage):
        path = Path(model, [Stage("any", **stage)], stepping=FOLLOW)
        self.newton, self.system = path.newton, path.system
        self.loads = start or Loads()
        self.newton.solve(self.loads)
        self.harmonics = HarmonicStability(path.system) if model.axisymmetric else None

    def at(self, *, steps=1, **loads):
        """Go to some loads in equal steps along the tangent."""
        system, start, end = self.system, self.loads, replace(self.loads, **loads)
        rate = replace(Loads(natural=0.0), **_mixed(start, end, loads, -1 / steps, 1 / steps))
        force, motion = system.vector(), system.vector()
        for k in range(1, steps + 1):
            system.assemble_residual()
            system.factorise()
            system.load_rate(rate, force)
            system.solve(force, motion)
            system.x.axpy(1.0, motion)
            self.newton.solve(replace(start, **_mixed(start, end, loads, 1 - k / steps, k / steps)))
        self.loads = system.loads
        return self

    def count(self, m):
        return self.harmonics.count(m)


def _mixed(start, end, names, a, b):
    """a times the loads of the start plus b times those of the end, of some kinds."""
    mixed = {}
    for name in names:
        one, two = getattr(start, name), getattr(end, name)
        if isinstance(two, dict):
            mixed[name] = {k: a * one.get(k, 0.0) + b * two[k] for k in two}
        else:
            mixed[name] = a * one + b * two
    return mixed


def turns(judged, m, critical, load, *, steps=4):
    """Counts of a harmonic just below and just above a load, the start being below.

    Args:
        judged: A ``Judged``.
        m: Number of waves around the axis.
        critical: The load.
        load: Makes the keywords of ``Judged.at`` from it.
        steps: To the lower load.
    """
    judged.at(steps=steps, **load(critical * (1 - BRACKET)))
    below = judged.count(m)
    judged.at(**load(critical * (1 + BRACKET)))
    return below, judged.count(m)
