# SPDX-License-Identifier: MIT
"""Von Mises truss: two bars over a span, hinged at both ends, pressed at the crown. Own derivation.

Half of the span is 1, the rise h, L0 = √(1 + h²). A bar of the length L is pressed with N; with the crown at
the height y, L = √(1 + y²) and the load of the crown is P = 2 N y / L.
"""

from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq, minimize_scalar


def pressed(stiffness: np.ndarray, lengths: np.ndarray, shortening: float) -> float:
    """Force that shortens a bar made of neo-Hookean pieces in uniaxial stress, λ - λ⁻² = -3 N / (E A).

    Args:
        stiffness: E A of each piece.
        lengths: Of each piece.
        shortening: Of the whole; a bar that has become longer has no force.
    """

    def excess(force: float) -> float:
        λ = 1 - force / stiffness
        for _ in range(20):  # Newton's method
            λ = λ - (λ - λ**-2 + 3 * force / stiffness) / (1 + 2 * λ**-3)
        return float(((1 - λ) * lengths).sum()) - shortening

    if shortening <= 0:
        return 0.0
    return float(brentq(excess, 0.0, 2 * shortening / (lengths / stiffness).sum(), xtol=1e-18))


def snap(h: float, force: Callable[[float], float]) -> tuple[float, float]:
    """Height of the crown and load at the first limit.

    Args:
        h: Rise.
        force: N of a bar by its shortening.
    """

    def load(y: float) -> float:
        return 2 * force(np.hypot(1, h) - np.hypot(1, y)) * y / np.hypot(1, y)

    best = minimize_scalar(lambda y: -load(y), bounds=(0.2 * h, 0.95 * h), method="bounded")
    return float(best.x), float(-best.fun)
