# SPDX-License-Identifier: MIT
"""The equilibrium of a part whose reference shape is stressed, as a skin that is drawn as inflated."""

from dataclasses import replace

from annelid.solver.assembly.blocks import PRESSURE
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import Loads

_FIRST_FRACTION = 1 / 4  # of natural stretch and pressure in the first of several steps


def settle_drawn(newton: Newton, loads: Loads) -> Convergence:
    """Find the equilibrium of a part that is drawn stressed, near its reference shape.

    It is far from equilibrium without its pressure unknowns, so these are set first, to those of a Newton
    step. Where that does not converge (the mesh may be much out of balance at clamped rims), natural stretch
    and pressure are increased together, from nothing.

    Raises:
        NoEquilibrium: There is none nearby.
    """
    system = newton.system
    drawn = system.x.copy()
    step = system.vector()
    system.apply(loads)
    system.assemble_residual()
    system.factorise()
    system.solve(system.residual, step)
    pressures = system.blocks.part(system.x, PRESSURE) - system.blocks.part(step, PRESSURE)
    system.blocks.set_part(system.x, PRESSURE, pressures)
    system.forget_factor()
    try:
        return newton.solve(loads)
    except NoEquilibrium:
        drawn.copy(system.x)
        return _increase(newton, loads)


def _increase(newton: Newton, loads: Loads) -> Convergence:
    """Increase natural stretch and pressure together, in steps that are halved where they fail."""
    system = newton.system
    reached, step = 0.0, _FIRST_FRACTION
    while True:
        kept = system.x.copy()
        fraction = min(reached + step, 1.0)
        system.forget_factor()
        try:
            convergence = newton.solve(
                replace(loads, natural=fraction * loads.natural, pressure=fraction * loads.pressure)
            )
        except NoEquilibrium:
            kept.copy(system.x)
            step /= 2
            if step < _FIRST_FRACTION / 16:
                raise
            continue
        reached = fraction
        if reached == 1.0:
            return convergence
