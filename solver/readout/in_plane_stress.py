# SPDX-License-Identifier: MIT
"""Compression of a wall in its own plane, where a thin wall goes slack or wrinkles.

A thin wall carries hardly any compression in its plane; where the model shows more, the real part folds
(tension-field theory: Wagner 1929; Pipkin, IMA J. Appl. Math. 36, 85, 1986; both from memory). How much it
carries is ``Model.smooth_compression``.
"""

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.elements import LUMPING_WEIGHTS
from annelid.solver.model.fold_checks import NO_WALL
from annelid.solver.model.model import Model

# Compression below this fraction of the shear modulus is round-off.
_THRESHOLD = 1e-4


def least_in_plane_stress(frame: FloatArray, σ: FloatArray, F: FloatArray) -> FloatArray:
    """Smaller principal Cauchy stress in the deformed plane of the wall, MPa.

    Args:
        frame: Wall directions (normal, hoop, axial) at the nodes of cells, as rows, shape (m, k, 3, 3).
        σ: Cauchy stress there, shape (m, k, 3, 3), MPa.
        F: Deformation gradient there.

    Returns:
        Shape (m, k).
    """
    a, b = (np.einsum("mkij,mkj->mki", F, frame[..., i, :]) for i in (1, 2))
    a /= np.linalg.norm(a, axis=-1, keepdims=True)
    b -= (a * b).sum(-1, keepdims=True) * a
    b /= np.linalg.norm(b, axis=-1, keepdims=True)

    def component(p: FloatArray, q: FloatArray) -> FloatArray:
        return np.einsum("mki,mki->mk", p, np.einsum("mkij,mkj->mki", σ, q))

    aa, bb, ab = component(a, a), component(b, b), component(a, b)
    return (aa + bb) / 2 - np.hypot((aa - bb) / 2, ab)


def compressed_fraction(model: Model, least: FloatArray, cell_volumes: FloatArray) -> float:
    """Fraction of the walls' volume in more compression in its plane than it carries smooth.

    Args:
        model: For the regions and their shear moduli.
        least: From ``least_in_plane_stress``, shape (m, k).
        cell_volumes: Reference volume of every cell, shape (m,).
    """
    compressed, total = 0.0, 0.0
    shares = LUMPING_WEIGHTS[model.body.cell_type]
    for part in model.parts:
        if part.region in NO_WALL:
            continue
        cells = model.body.regions[part.region]
        limit = -max(_THRESHOLD, model.smooth_compression) * part.material.initial_shear_modulus()
        compressed += float(((least[cells] < limit) @ shares * cell_volumes[cells]).sum())
        total += float(cell_volumes[cells].sum())
    return compressed / total if total > 0 else 0.0
