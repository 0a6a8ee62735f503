# SPDX-License-Identifier: MIT
"""How often and how well error bars contain true errors.

The bar of the case, the mesh of size 1, must contain the true error in 19 of 20 pairs of problem and
quantity, and not be over three times too wide in the mean. Pairs that are exact to rounding do not count for
the width.
"""

import numpy as np

from annelid.cases.verify.convergence import Trend, error_bar

COVERED, WIDEST = 0.95, 3.0
ROUNDING = 1e-7


def bars(pairs):
    """Bar over true error, and whether it is covered, of (sizes, values, exact); the case has size 1."""
    widths, covered = [], []
    for name, sizes, values, exact in pairs:
        noise = ROUNDING * max(map(abs, values))
        bar = error_bar(tuple(sizes), tuple(values), noise=noise)
        value = values[list(sizes).index(1.0)]
        error, half = abs(value - exact), bar.around(value)
        covered.append((name, error <= half))
        if bar.pattern is not Trend.ROUNDING:
            widths.append(half / error)
    return widths, covered


def check(pairs, *, least=40):
    widths, covered = bars(pairs)
    assert len(covered) >= least
    assert sum(c for _, c in covered) >= COVERED * len(covered), [name for name, c in covered if not c]
    assert len(widths) >= 0.8 * len(covered)
    assert np.mean(widths) <= WIDEST, sorted(widths)[-5:]
    assert np.median(widths) <= 1.5
