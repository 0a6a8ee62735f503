# SPDX-License-Identifier: MIT
"""Fluid that a wave along the lumen carries with it."""

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.folder.annular_bolus import trapped_part
from annelid.solver.records import FlowAlong


def carried_volume(along: FlowAlong, speed: float) -> float:
    """Volume of the bolus: fluid within the surface that moves with a wave of a speed, mm³.

    In a frame that moves with the wave the flow within the radius ρ of a section is q(ρ) - c A ρ²/r². Fluid
    goes round within the surface on which it is zero. With the profile u = u0 (1 - (ρ/r)^(1 + 1/n)) of a
    power law that is (ρ/r)^(1 + 1/n) = ((3n + 1) - (n + 1) c A/q)/(2n), for a Newtonian fluid
    (ρ/r)² = 2 - c A/q. Around a cylinder the bolus is between two surfaces (``trapped_part``). Own derivation
    after A. H. Shapiro, M. Y. Jaffrin and S. L. Weinberg, J. Fluid Mech. 37, 799 (1969), from memory.

    Args:
        along: Flow along the lumen.
        speed: Of the wave, positive along +Z, mm/s.

    Returns:
        The volume; ``nan`` without a wave, and around a cylinder if the fluid has a power law.
    """
    if np.isnan(speed):
        return np.nan
    area = np.pi * np.maximum(along.radius**2 - along.core**2, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        slip = np.nan_to_num(speed * area / along.flow, posinf=np.inf, neginf=-np.inf)
        if not along.core.any():
            part = _in_a_round_tube(along.peak_speed * area / along.flow, slip)
        elif np.isnan(along.peak_speed).any():
            return np.nan
        else:
            part = trapped_part(along.core / along.radius, slip)
    return float(np.sum(along.length * area * np.where(slip > 0, part, 0.0)))


def _in_a_round_tube(over_mean: FloatArray, slip: FloatArray) -> FloatArray:
    """Share of the area, with the largest speed (3n + 1)/(n + 1) times the mean speed."""
    n = (over_mean - 1) / (3 - over_mean)
    rest = ((3 * n + 1) - (n + 1) * slip) / (2 * n)
    return np.asarray(np.clip(rest, 0.0, 1.0) ** (2 * n / (n + 1)))
