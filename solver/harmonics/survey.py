# SPDX-License-Identifier: MIT
"""The unstable harmonics of a state among all up to a last one, from few factorisations."""

import math
from collections.abc import Callable, Container

from annelid.solver.errors import NoEquilibrium

_FEW = 4  # numbers of waves that are counted one by one
_REACH = 0.6  # share of m to which a count usually holds, if no mode is about to turn


class Survey:
    """Counts harmonics until all up to a last one are known.

    A count of zero holds as far as the distance that comes with it. First some numbers of waves are judged so
    that their distances usually cover all, then what is left between in the same way, and one by one where it
    is little.

    Attributes:
        unstable: Numbers of unstable modes found so far, by m.
        failed: Numbers of waves whose factorisation failed.

    Args:
        count: Number of unstable modes with m waves.
        count_around: The same for m ≥ 2, and the distance to which it holds.
        known: Numbers of waves whose unstable modes are not noted.
    """

    def __init__(
        self,
        count: Callable[[int], int],
        count_around: Callable[[int], tuple[int, float]],
        known: Container[int] = (),
    ) -> None:
        self._count, self._count_around, self._known = count, count_around, known
        self.unstable: dict[int, int] = {}
        self.failed: list[int] = []

    def judge(self, last: int, *, first_only: bool) -> None:
        """Judge all m up to a last one.

        Args:
            last: The last one.
            first_only: Whether some unstable harmonics are enough, if there are any.
        """
        left, low = [(1, 1)], 2
        while last - low >= _FEW:
            below, low = self._around(low, last)
            left.append(below)
        left.append((low, last))
        while left and not (first_only and self.unstable):
            low, high = left.pop()
            if high - low < _FEW:
                for m in range(low, high + 1):
                    self._note(m, lambda m: (self._count(m), 0.0))
            else:
                below, above = self._around(low, high)
                left += [below, (above, high)]

    def _around(self, low: int, high: int) -> tuple[tuple[int, int], int]:
        """Judge one of some harmonics; those below that are left, and the first one left above."""
        m = min(math.floor(low / (1 - _REACH)), (low + high) // 2)
        reach = self._note(m, self._count_around)
        return (low, math.ceil(m - reach) - 1), math.floor(m + reach) + 1

    def _note(self, m: int, judged: Callable[[int], tuple[int, float]]) -> float:
        try:
            count, reach = judged(m)
        except NoEquilibrium:
            self.failed.append(m)
            return 0.0
        if count and m not in self._known:
            self.unstable[m] = count
        return reach
