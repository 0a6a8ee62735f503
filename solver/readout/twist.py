# SPDX-License-Identifier: MIT
"""The twist of a part: rotation of its ends, and positions of a turned meridian in space."""

import numpy as np
from dolfinx import fem

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.system import System
from annelid.solver.energy import forms


class EndTwists:
    """Mean rotation of each end of a part that twists, whole turns included, from state to state."""

    def __init__(self, system: System) -> None:
        self._system = system
        self._rotations = system.problem.rotations
        self._means = {end: forms.compile_forms(rotation.mean) for end, rotation in self._rotations.items()}
        self._present: dict[str, float] = {}

    def read(self) -> dict[str, float]:
        """Rotation about +Z by end, degrees; collective."""
        self._present = {
            end: self._system.sum(fem.assemble_scalar(form)) for end, form in self._means.items()
        }
        return {end: float(np.rad2deg(angle)) for end, angle in self._present.items()}

    def accept(self) -> None:
        """Go on from the state read last: the next one is within half a turn of it."""
        for end, angle in self._present.items():
            self._rotations[end].near.value = angle


def in_space(points: FloatArray, u: FloatArray, arm: float) -> FloatArray:
    """Displacement in X, Y, Z of the meridian at Y = 0.

    Args:
        points: Drawn (R, Z), shape (n, 2), mm.
        u: (u_R, u_Z, R0 θ), shape (n, 3), mm.
        arm: R0, mm.

    Returns:
        Shape (n, 3), mm.
    """
    r, θ = points[:, 0] + u[:, 0], u[:, 2] / arm
    return np.column_stack([r * np.cos(θ) - points[:, 0], r * np.sin(θ), u[:, 1]])


def motion_in_space(points: FloatArray, u: FloatArray, v: FloatArray, arm: float) -> FloatArray:
    """A small motion v, shape (n, 3), of the displaced meridian in X, Y, Z; see ``in_space``."""
    r, θ = points[:, 0] + u[:, 0], u[:, 2] / arm
    c, s, around = np.cos(θ), np.sin(θ), r * v[:, 2] / arm
    return np.column_stack([c * v[:, 0] - s * around, s * v[:, 0] + c * around, v[:, 1]])
