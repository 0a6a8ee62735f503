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


class OutlyingParts(NamedTuple):
    """Tests of the shapes of parts.

    Attributes:
        names: Names of the parts.
        by_modes: Steps of Wilks' test on the scores in the real modes; empty without a mode.
        by_rest: Steps of the test on the logarithm of what the modes leave.
        rest: Root mean square of what the modes leave of each part, shape (n,), mm.
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
    """Test the parts by their scores in the modes, and by what the modes leave of them.

    Args:
        names: Names of the parts.
        modes: Modes of their shapes.
        known: How many scans of each part have a value at each place, shape (n, m); 0 in holes.
        weight: Share of each place in the area, shape (m,).
    """
    n, k = modes.scores.shape
    # A mean over scans has as much less noise.
    weights = weight * known
    total = np.maximum((weight * (known > 0)).sum(axis=1), 1e-300)
    rest = np.sqrt((weights * modes.rest**2).sum(axis=1) / total)
    if n < _FEWEST:
        return OutlyingParts(tuple(names), (), (), rest, f"fewer than {_FEWEST} were scanned")
    most = max(1, int(_SHARE * n))
    by_modes = (
        wilks_test(modes.scores, level=LEVEL / 2.0, most=min(most, n - k - 3)) if k and n > k + 3 else []
    )
    by_rest = generalised_esd(np.log(np.maximum(rest, 1e-12)), level=LEVEL / 2.0, most=min(most, n - 3))
    return OutlyingParts(tuple(names), tuple(by_modes), tuple(by_rest), rest, "")
