# SPDX-License-Identifier: MIT
"""Fluid that a wave along the lumen carries with it."""

import numpy as np

from annelid.solver.records import FlowAlong


def carried_volume(along: FlowAlong, speed: float) -> float:
    """Volume of the bolus: fluid within the surface that moves with a wave of a speed, mm³.

    In a frame that moves with the wave the flow within the radius ρ of a section is q(ρ) - c A ρ²/r². Fluid
    goes round within the surface on which it is zero. With the profile u = u0 (1 - (ρ/r)^(1 + 1/n)) of a
    power law that is (ρ/r)^(1 + 1/n) = ((3n + 1) - (n + 1) c A/q)/(2n), for a Newtonian fluid
    (ρ/r)² = 2 - c A/q. Own derivation after A. H. Shapiro, M. Y. Jaffrin and S. L. Weinberg, J. Fluid Mech.
    37, 799 (1969), from memory.

    Args:
        along: Flow along a lumen without a cylinder in it.
        speed: Of the wave, positive along +Z, mm/s.
    """
    area = np.pi * along.radius**2
    with np.errstate(divide="ignore", invalid="ignore"):
        over_mean = along.axis_speed * area / along.flow  # (3n + 1)/(n + 1)
        n = (over_mean - 1) / (3 - over_mean)
        slip = speed * area / along.flow
        rest = ((3 * n + 1) - (n + 1) * slip) / (2 * n)
        part = np.clip(rest, 0.0, 1.0) ** (2 * n / (n + 1))
    return float(np.sum(along.length * area * np.where(slip > 0, part, 0.0)))
