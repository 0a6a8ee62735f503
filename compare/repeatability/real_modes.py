# SPDX-License-Identifier: MIT
"""How many modes of shape variation are real: a permutation test."""

from typing import NamedTuple

import numpy as np

from annelid.compare.repeatability.modes import Modes, principal_modes
from annelid.geometry.body import FloatArray, IntArray

LEVEL = 0.05
_PERMUTATIONS = 199
_MOST = 8
_SPARE = 3  # more fields at each place than modes


class ModeTest(NamedTuple):
    """The test of one mode.

    Attributes:
        energy: Share of the total variance.
        chance: Share that the largest mode of permuted fields exceeds in 5 % of the permutations.
        p: Share of the permutations with at least as large a mode.
    """

    energy: float
    chance: float
    p: float


def real_modes(
    fields: FloatArray, weight: FloatArray, patch: IntArray, *, seed: int = 0, most: int = _MOST
) -> tuple[Modes, list[ModeTest]]:
    """Return the modes that are larger than chance explains, and the tests.

    Parallel analysis by permutations (Horn, Psychometrika 30 (1965) 179; Buja and Eyuboglu, Multivariate
    Behavioral Research 27 (1992) 509; both from memory), one mode after the other: what the modes found so
    far leave is permuted among the fields, independently in each patch of the surface, so that patches no
    longer vary together, but places in a patch still do. This is done in n - k - 1 orthogonal contrasts of
    the n fields, with random signs, so that mean and found modes take nothing from the permuted fields. Holes
    are filled by the found modes and what these leave of other fields there.

    Args:
        fields: Shape (n, m), mm; ``nan`` in holes. Each place has at least two values.
        weight: Share of each place in the area, shape (m,).
        patch: Number of the patch of each place, from 0, shape (m,).
        seed: Of the random numbers.
        most: Largest number of modes; fewer if a place has not three more values than that.
    """
    most = max(0, min(most, int(np.isfinite(fields).sum(axis=0).min()) - _SPARE))
    rng = np.random.default_rng(seed)
    root = np.sqrt(weight / weight.sum())
    modes, tests = principal_modes(fields, weight, 0), []
    for count in range(most + 1):
        if count:
            modes = principal_modes(fields, weight, count)
        rows = _contrasts(modes.scores) @ (_completed(fields, modes, patch, rng) - modes.mean) * root
        blocks = np.stack([_gram(rows, patch == i) for i in np.unique(patch)])
        total = float(np.trace(blocks.sum(axis=0)))
        scale = (1.0 - float(modes.energy.sum())) / total if total > 0.0 else 0.0
        if total <= 1e-18 * float((np.where(np.isfinite(fields), fields, 0.0) ** 2).sum()):
            break
        largest = float(np.linalg.eigvalsh(blocks.sum(axis=0))[-1])
        chance = np.array([_permuted(blocks, rng) for _ in range(_PERMUTATIONS)])
        p = (1.0 + (chance >= largest).sum()) / (1.0 + _PERMUTATIONS)
        tests.append(ModeTest(scale * largest, scale * float(np.quantile(chance, 1.0 - LEVEL)), float(p)))
        if p > LEVEL:
            break
    real = next((i for i, test in enumerate(tests) if test.p > LEVEL), len(tests))
    real = min(real, most)
    return (modes if len(modes.energy) == real else principal_modes(fields, weight, real)), tests


def _contrasts(scores: FloatArray) -> FloatArray:
    """Orthonormal contrasts of n fields, orthogonal to mean and k scores, shape (n - k - 1, n)."""
    n = len(scores)
    basis, _ = np.linalg.qr(np.column_stack([np.ones(n), scores]), mode="complete")
    return np.asarray(basis[:, scores.shape[1] + 1 :].T)


def _completed(fields: FloatArray, modes: Modes, patch: IntArray, rng: np.random.Generator) -> FloatArray:
    """Fields whose holes have the modelled value and what the model leaves of another, random field there.

    What is left has a random sign in each patch, so that a field does not vary together with its donor, and
    is enlarged by what the fit took of it.
    """
    holes = ~np.isfinite(fields)
    number, used = (~holes).sum(axis=0), 1.0 + modes.scores.shape[1]
    filled, rest = modes.filled.copy(), modes.rest * np.sqrt(number / (number - used))
    for row in np.flatnonzero(holes.any(axis=1)):
        missing = holes[row].copy()
        for donor in rng.permutation(len(fields)):
            given = missing & ~holes[donor]
            signs = rng.choice((-1.0, 1.0), size=int(patch.max()) + 1)
            filled[row, given] += signs[patch[given]] * rest[donor, given]
            missing &= ~given
            if not missing.any():
                break
    return filled


def _gram(rows: FloatArray, which: FloatArray) -> FloatArray:
    chosen = rows[:, which]
    return np.asarray(chosen @ chosen.T)


def _permuted(blocks: FloatArray, rng: np.random.Generator) -> float:
    """Largest mode after a random permutation with random signs in each patch."""
    patches, n, _ = blocks.shape
    order = rng.permuted(np.tile(np.arange(n), (patches, 1)), axis=1)
    signs = rng.choice((-1.0, 1.0), size=(patches, n))
    moved = blocks[np.arange(patches)[:, None, None], order[:, :, None], order[:, None, :]]
    return float(np.linalg.eigvalsh(np.einsum("pi,pij,pj->ij", signs, moved, signs, optimize=True))[-1])
