# SPDX-License-Identifier: MIT
"""Parts whose shape is apart from that of the others."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from annelid.compare.repeatability.modes import Modes
from annelid.compare.repeatability.outlying import Suspect, generalised_esd, wilks_test
from annelid.geometry.body import FloatArray

LEVEL = 0.05
"""Level of both tests together; each has half of it."""
_FEWEST = 6
_SHARE = 0.25  # of the parts may be outliers
_OWN = 0.95  # leverage from which a part makes a mode by itself


class OutlyingParts(NamedTuple):
    """Tests of the shapes of parts.

    Attributes:
        names: Names of the parts.
        by_modes: Steps of Wilks' test on the scores in the real modes; empty without a mode.
        by_rest: Steps of the test on the logarithm of what the modes leave.
        rest: Root mean square of what the modes leave of each part, over what they leave of it on average,
            shape (n,), mm; ``nan`` of a part that makes a mode by itself.
        reason: Why nothing was tested; "" if something was.
    """

    names: tuple[str, ...]
    by_modes: tuple[Suspect, ...]
    by_rest: tuple[Suspect, ...]
    rest: FloatArray
    reason: str

    @property
    def found(self) -> list[str]:
        """Names of the outlying parts."""
        rows = {suspect.row for suspect in (*self.by_modes, *self.by_rest) if suspect.beyond}
        return [self.names[row] for row in sorted(rows)]


def outlying_parts(
    names: Sequence[str], modes: Modes, known: FloatArray, weight: FloatArray
) -> OutlyingParts:
    """Test the parts by their scores in the modes, and for large values of what the modes leave of them.

    Args:
        names: Names of the parts.
        modes: Modes of their shapes.
        known: How many scans of each part have a value at each place, shape (n, m); 0 in holes.
        weight: Share of each place in the area, shape (m,).
    """
    n, k = modes.scores.shape
    # A mean over scans has as much less noise, and a part that makes a mode by itself leaves nothing.
    total = np.maximum((weight * (known > 0)).sum(axis=1), 1e-300)
    rest = np.sqrt((weight * known * modes.rest**2).sum(axis=1) / total)
    leverage = 1.0 / n + (modes.scores**2).sum(axis=1) / (n - 1)
    rest = np.where(leverage < _OWN, rest / np.sqrt(np.maximum(1.0 - leverage, 1.0 - _OWN)), np.nan)
    tested = np.flatnonzero(np.isfinite(rest))
    if n < _FEWEST:
        return OutlyingParts(tuple(names), (), (), rest, f"fewer than {_FEWEST} were scanned")
    most, by_modes, by_rest = max(1, int(_SHARE * n)), [], []
    if k and n > k + 3:
        by_modes = wilks_test(modes.scores, level=LEVEL / 2.0, most=min(most, n - k - 3))
    if len(tested) >= _FEWEST - 1 and n > k + 3:
        sizes = np.log(np.maximum(rest[tested], 1e-12))
        steps = generalised_esd(sizes, level=LEVEL / 2.0, most=min(most, len(tested) - 3), upper=True)
        by_rest = [step._replace(row=int(tested[step.row])) for step in steps]
    return OutlyingParts(tuple(names), tuple(by_modes), tuple(by_rest), rest, "")
