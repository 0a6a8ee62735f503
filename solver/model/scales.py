# SPDX-License-Identifier: MIT
"""Reference magnitudes of a model, against which its states are judged."""

from dataclasses import dataclass

import numpy as np

from annelid.solver.model.model import Model


@dataclass(frozen=True)
class Scales:
    """Reference magnitudes of a model: force μ L² in N, volume in mm³, length L in mm."""

    force: float
    volume: float
    length: float


def scales_of(model: Model) -> Scales:
    """Reference force μ L² and volume of the modelled piece, from its material and bounding box."""
    spans = np.ptp(model.body.points, axis=0)
    if model.axisymmetric:
        spans = np.array([2 * model.body.points[:, 0].max(), spans[1]])
    μ = max(part.material.initial_shear_modulus() for part in model.parts)
    size = float(np.prod(spans) ** (1 / len(spans)))
    return Scales(force=μ * size**2, volume=size**3 * 1e-3, length=size)
