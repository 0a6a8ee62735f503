# SPDX-License-Identifier: MIT
"""Fluid that a wave carries along in the annulus between a wall and a cylinder at rest.

Of a Newtonian fluid, with x = ρ/r, κ = c/r, and the speed over its mean ::

    u ~ 1 - x² - (1 - κ²) ln x / ln κ,    F(x) = ∫ u x dx over its value from κ to 1

In a frame that moves with the wave (of the speed w) the stream function is zero on the cylinder and
ψ = q [F - s (x² - κ²)/(1 - κ²)] with s = w A/q; on the wall it is q (1 - s). Fluid flows backwards along the
cylinder and along the wall, and goes round in two eddies between. The surfaces around them meet at a
stagnation point, a saddle of ψ at its minimum near the cylinder; so ψ on them is the largest such minimum of
all sections with the same backward flow w A - q, which in a steady wave all have. Own derivation, for long
waves; checked by following particles.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.solver.annular_flow import fastest, largest_over_mean

_POINTS = 801  # across the annulus
_NARROWEST, _WIDEST = 0.999, 1e-2  # κ: narrower annuli are plane, in wider ones the cylinder hardly counts
_SLOWEST = 1e6  # fluid, as a slip: nothing goes along


class _Saddles(NamedTuple):
    """Stagnation points over the backward flow, each of shape (k,).

    Attributes:
        flow: ln of the backward flow over π c² w, ascending.
        share: ψ there over that flow, negative.
        ratio: κ there.
    """

    flow: FloatArray
    share: FloatArray
    ratio: FloatArray


def trapped_part(ratio: FloatArray, slip: FloatArray) -> FloatArray:
    """Share of the area of sections in which fluid goes along with a steady wave.

    Args:
        ratio: κ, shape (k,).
        slip: s > 0, speed of the wave over the mean speed of the fluid, shape (k,).

    Returns:
        Shape (k,); 1 where the fluid is faster than the wave on average.
    """
    κ = np.clip(ratio, _WIDEST, _NARROWEST)[:, None]
    s = np.clip(slip, 1.0, _SLOWEST)[:, None]
    saddles, flow = _saddles(), np.log(np.maximum((1 / κ**2 - 1) * (1 - 1 / s), 1e-300))
    x, part = _across(κ)
    beyond = _share(x, κ) - s * part - (s - 1) * np.interp(flow, saddles.flow, saddles.share)
    first = np.argmax(beyond < 0, axis=1)
    again = np.argmax((beyond >= 0) & (np.arange(_POINTS) > first[:, None]), axis=1)
    last = _POINTS - np.argmax(beyond[:, ::-1] >= 0, axis=1)
    low, middle, high = (_zero(beyond, part, i) for i in (first, again, last))
    inner = κ < np.interp(flow, saddles.flow, saddles.ratio)  # the eddy at the cylinder is the shorter one
    inner = (inner | (κ >= _NARROWEST))[:, 0]
    found = np.where(again > 0, high - np.where(inner, low, middle), 0.0)
    return np.where(slip <= 1, 1.0, found)


@lru_cache(maxsize=1)
def _saddles() -> _Saddles:
    """A table, from sections in which the largest speed is that of the wave to wider ones."""
    folds = 1 - np.geomspace(1 - _NARROWEST, 1 - _WIDEST, 80)
    most = largest_over_mean(folds)
    rows = []
    for fold, flow in zip(folds, (1 / folds**2 - 1) * (1 - 1 / most), strict=True):
        κ = fold * (1 - np.append(0.0, np.geomspace(1e-5, 0.6, 100)))[:, None]
        x, part = _across(κ)
        s = 1 / (1 - flow / (1 / κ**2 - 1))
        ψ = (_share(x, κ) - s * part) / (s - 1)
        least = np.where(x <= fastest(κ), ψ, np.inf).min(axis=1)
        rows.append((np.log(flow), least.max(), κ[np.argmax(least), 0]))
    return _Saddles(*np.array(rows).T)


def _across(κ: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places x across annuli, κ of shape (k, 1), and the share of the area within them."""
    x = κ ** np.linspace(1, 0, _POINTS)
    return x, (x**2 - κ**2) / (1 - κ**2)


def _share(x: FloatArray, κ: FloatArray) -> FloatArray:
    """F(x)."""
    slope = (1 - κ**2) / np.log(κ)

    def integral(y: FloatArray) -> FloatArray:
        return y**2 - y**4 / 2 - slope * y**2 * (np.log(y) - 0.5)

    return np.asarray((integral(x) - integral(κ)) / (integral(np.ones_like(κ)) - integral(κ)))


def _zero(values: FloatArray, places: FloatArray, index: IntArray) -> FloatArray:
    """Place at which values are zero before the one of ``index``, of each row."""
    rows, i = np.arange(len(values)), np.clip(index, 1, values.shape[1] - 1)
    low, high = values[rows, i - 1], values[rows, i]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(high != low, low / (low - high), 0.0)
    return np.asarray(places[rows, i - 1] + part * (places[rows, i] - places[rows, i - 1]))
