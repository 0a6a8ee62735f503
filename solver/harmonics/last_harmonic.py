# SPDX-License-Identifier: MIT
"""The last harmonic that may be the first to become unstable."""

import math

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.solver.model.model import Model
from annelid.solver.readout.wall_thickness import shortest_distance

LEAST = 4
"""Judged in any state: pressures, fields and solid parts can make long waves unstable in a stretched wall."""

_FOLDS_IN_A_WAVE = 3.0
_SAFETY = 2.0  # for shear, the softening by a field, and thickness and stress that vary along the wall


def last_harmonic(model: Model, place: FloatArray, least: FloatArray) -> int:
    """Number of waves around the axis beyond which none can be the first that a compressed wall folds into.

    A wave with the wave number k in the plane of a layer of thickness t under the compression S changes its
    energy by ½ (μ t³ k⁴/3 - S t k²) per area: bending of an incompressible plate, and the shortening that it
    allows (Timoshenko, Gere, Theory of Elastic Stability, from memory). What the layer is bonded to, its
    curvature and a tension in the other direction only add to that, and k ≥ m/r, so

        m ≤ 2 (r/t) √(3 S/μ)

    with 2 for safety, and at most 2π r/t, where the waves are as long as the wall is thick: shorter ones do
    not bend the wall, they crease its surface, and of those all become unstable together after the longer
    ones (Biot, Appl. Sci. Res. A 12, 168, 1963, from memory). The bound is that of the layer for which it is
    largest, and no less than ``LEAST``.

    A wall that folds is judged as far as its waves are three folds long or more: tension-field theory is the
    mean over many folds. Without the bending stiffness that decides their number, a slack wall under pressure
    is the less stable the more waves there are, and the finest of them are the folds themselves.

    Args:
        model: For its walls and their moduli.
        place: Present places of the nodes, shape (n, 2), mm.
        least: Least in-plane stress at the nodes of cells, shape (cells, k), MPa.
    """
    last = float(LEAST)
    for part in model.parts:
        if part.region not in model.walls:
            continue
        cells = model.body.regions[part.region]
        compression = np.maximum(-least[cells], 0.0) / part.material.initial_shear_modulus()
        reach = np.minimum(_SAFETY * np.sqrt(3 * compression), 2 * math.pi)
        radius = place[model.body.cells[cells], 0]
        thickness = shortest_distance(place, *model.walls[part.region])
        last = max(last, float((radius * reach).max()) / thickness)
        if part.folds:
            drawn = model.body.points[np.unique(model.body.cells[cells])]  # the same in all states
            folds = number_of_folds(drawn, shortest_distance(model.body.points, *model.walls[part.region]))
            last = max(last, folds / _FOLDS_IN_A_WAVE)
    return math.ceil(last)


def number_of_folds(place: FloatArray, thickness: float) -> float:
    """Number of folds around the axis that a slack film lays itself in.

    Their length is 2 √(π L) (B/T)^(1/4) of a film of length L with the bending stiffness B = μ t³/3 under the
    tension T (Cerda, Mahadevan, Phys. Rev. Lett. 90, 074302, 2003, from memory), here with T = μ t; an eighth
    of it makes folds longer by 1.7.

    Args:
        place: Places of its nodes, shape (n, 2), mm.
        thickness: t, mm.
    """
    length = float(np.hypot(*np.ptp(place, axis=0)))
    wave = 2 * math.sqrt(math.pi * length * thickness / math.sqrt(3))
    return 2 * math.pi * float(place[:, 0].max()) / wave
