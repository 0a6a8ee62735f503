# SPDX-License-Identifier: MIT
"""What a mode of shape variation looks like: how much of it is a motion, a change of size, an ovality."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.compare.alignment.poses import motion_matrix
from annelid.compare.repeatability.places import Places
from annelid.geometry.body import FloatArray

_ORDER = 8  # polynomials along the axis
_NAMES = {
    0: "widening all around",
    1: "a sideways shift or bend",
    2: "ovality",
    3: "three lobes",
    4: "four lobes",
}
MOTION = "a motion of the whole part, as from its pose"
_CLEAR = 0.5  # share from which a mode has a name


def mode_shares(shape: FloatArray, places: Places) -> dict[str, float]:
    """Return shares of the energy of a mode, each 0 to 1.

    The first is that of rigid motions, which the alignment leaves. The others are those of waves around the
    axis Z with smooth amplitudes along it; both kinds overlap, for a shift of the part is a wave around it.

    Args:
        shape: Shape (m,), mm; ``nan`` where the mode is not known.
        places: The places.
    """
    known = np.isfinite(shape)
    root = np.sqrt(places.weight[known])
    points, value = places.points[known], shape[known] * root
    motions = motion_matrix(
        points - np.average(places.points, axis=0, weights=places.weight), places.normals[known]
    )
    motions[:, :3] /= float(np.ptp(points, axis=0).max())
    total = float(value @ value)
    if total == 0.0:
        return {}
    shares = {MOTION: _share(value, motions * root[:, None], total)}
    θ, z = np.arctan2(points[:, 1], points[:, 0]), points[:, 2]
    along = np.polynomial.chebyshev.chebvander(
        2.0 * (z - z.min()) / max(float(np.ptp(z)), 1e-300) - 1.0, _ORDER
    )
    for number, name in _NAMES.items():
        waves = [np.cos(number * θ), np.sin(number * θ)] if number else [np.ones_like(θ)]
        basis = np.hstack([along * wave[:, None] for wave in waves])
        shares[name] = _share(value, basis * root[:, None], total)
    return shares


def mode_name(shares: Mapping[str, float]) -> str:
    """Say what most of a mode is: ``"ovality (93 %)"``."""
    name, share = max(shares.items(), key=lambda item: item[1], default=("", 0.0))
    return f"{name} ({100 * share:.0f} %)" if share >= _CLEAR else "no simple shape"


def _share(value: FloatArray, basis: NDArray[np.floating[Any]], total: float) -> float:
    left, size, _ = np.linalg.svd(basis, full_matrices=False)
    inside = left[:, size > 1e-9 * size[0]].T @ value
    return float(inside @ inside / total)
