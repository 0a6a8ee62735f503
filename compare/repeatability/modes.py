# SPDX-License-Identifier: MIT
"""Modes of shape variation: principal components of deviation fields, also of fields with holes."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray

_ROUNDS, _CHANGE = 100, 1e-6  # of the iteration over holes; change of the filled values over their spread
_LEAST_NOISE = 1e-10  # of the total variance, so that exact data can be fitted


class Modes(NamedTuple):
    """Principal components of n fields at m places.

    Attributes:
        mean: Mean field, shape (m,), mm.
        shapes: Deviation of one standard deviation of each mode, shape (k, m), mm.
        scores: Coordinates of the fields in the modes, of unit variance, shape (n, k).
        energy: Share of the total variance of the fields, shape (k,).
        filled: The fields, with the holes filled by mean and modes, shape (n, m), mm.
    """

    mean: FloatArray
    shapes: FloatArray
    scores: FloatArray
    energy: FloatArray
    filled: FloatArray

    @property
    def rest(self) -> FloatArray:
        """What mean and modes leave of the fields, shape (n, m), mm; 0 in holes."""
        return np.asarray(self.filled - self.mean - self.scores @ self.shapes)


def principal_modes(fields: FloatArray, weight: FloatArray, count: int) -> Modes:
    """Return the largest modes of fields.

    Without holes these are the principal components in the metric of the weights. Holes are filled by the
    expectation-maximisation algorithm of the model x = mean + modes z + noise, with normal z and noise
    (probabilistic principal components, Tipping and Bishop, J. R. Statist. Soc. B 61 (1999) 611, from
    memory). Holes must not depend on what they hide.

    Args:
        fields: Shape (n, m), mm; ``nan`` in holes. Each place has at least two values.
        weight: Share of each place in the area, shape (m,).
        count: Number of modes k, 0 to n - 1.
    """
    known = np.isfinite(fields)
    n = len(fields)
    root = np.sqrt(weight / weight.sum())
    filled = fields if known.all() else _filled(fields * root, known, count) / root
    mean = filled.mean(axis=0)
    values, vectors = np.linalg.eigh(_gram((filled - mean) * root))
    order = np.argsort(values)[::-1][:count]
    size = np.sqrt(np.maximum(values[order], 0.0) / (n - 1))
    scores = vectors[:, order] * np.sqrt(n - 1)
    shapes = scores.T @ (filled - mean) / (n - 1)
    # Its largest deviation is outward, so that the sign is not left to chance.
    signs = (
        np.sign(shapes[np.arange(len(order)), np.abs(shapes).argmax(axis=1)]) if len(order) else np.ones(0)
    )
    # What holes hide varies about the model as much as what is seen.
    rest = np.where(known, filled - mean - scores @ shapes, 0.0)
    hidden = (rest**2).sum(axis=0) * (n / np.maximum(known.sum(axis=0), 1) - 1.0)
    total = (float(values.sum()) + float((root**2 * hidden).sum())) / (n - 1)
    energy = size**2 / total if total > 0.0 else np.zeros(len(order))
    return Modes(mean, signs[:, None] * shapes, scores * signs, energy, filled)


def _gram(rows: FloatArray) -> FloatArray:
    return np.asarray(rows @ rows.T)


def _filled(fields: FloatArray, known: FloatArray, count: int) -> FloatArray:
    """Fields with what the model of k modes expects in the holes."""
    n, m = fields.shape
    number = known.sum(axis=0)
    given = np.where(known, fields, 0.0)
    mean = given.sum(axis=0) / number
    filled = np.where(known, fields, mean)
    if not count:
        return filled
    _, values, right = np.linalg.svd(filled - mean, full_matrices=False)
    total = float((values**2).sum())
    if total == 0.0:
        return filled
    shapes = values[:count, None] * right[:count] / np.sqrt(n - 1)
    least = _LEAST_NOISE * total / (n * m)
    noise = max(float((values[count:] ** 2).sum()) / (n * m), least)
    mask = known.astype(float)
    for _ in range(_ROUNDS):
        # Expected coordinates of each field and their second moments.
        off = np.where(known, fields - mean, 0.0)
        precision = np.einsum("nm,km,lm->nkl", mask, shapes, shapes, optimize=True) + noise * np.eye(count)
        inverse = np.linalg.inv(precision)
        scores = np.einsum("nkl,nl->nk", inverse, off @ shapes.T)
        second = noise * inverse + scores[:, :, None] * scores[:, None, :]
        # Mean and modes of each place by regression on the coordinates of the fields that have it.
        moments = np.empty((m, count + 1, count + 1))
        moments[:, :count, :count] = (mask.T @ second.reshape(n, -1)).reshape(m, count, count)
        moments[:, :count, count] = moments[:, count, :count] = mask.T @ scores
        moments[:, count, count] = number
        right_side = np.column_stack([given.T @ scores, given.sum(axis=0)])
        moments += 1e-12 * np.eye(count + 1)
        solution = np.linalg.solve(moments, right_side[..., None])[..., 0]
        shapes, mean = solution[:, :count].T, solution[:, count]
        model = mean + scores @ shapes
        rest = np.where(known, fields - model, 0.0)
        spread = np.einsum("km,nkl,lm->", shapes, noise * inverse, shapes, optimize=True) / n
        noise = max((float((rest**2).sum()) + spread * mask.mean()) / mask.sum(), least)
        before, filled = filled, np.where(known, fields, model)
        if float(((filled - before) ** 2).sum()) <= _CHANGE**2 * total:
            break
    return filled
