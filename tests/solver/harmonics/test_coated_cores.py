# SPDX-License-Identifier: MIT
"""A stiff film on a soft solid core that is laid too long around: the number of wrinkles and the misfit.

Incremental analysis in plane strain of two bonded neo-Hookean solids; the asymptote of a thin stiff film is a
strain of ¼ (3 μs/μf)^(2/3) (Allen 1969; Huang, Hong, Suo, J. Mech. Phys. Solids 53, 2101, 2005; from memory).
The last harmonic that needs to be judged lies well beyond the wrinkles.
"""

from dataclasses import replace

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged
from dielectric_cases import grid_body
from models import SLIDING, neo_hookean

from annelid.solver.model.loads import Loads
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.readout.evaluation import Evaluation

CORE, FILM = 10, 2  # elements along the radius
# Ratio of the moduli, thickness of the film over the radius of the core, wrinkles, natural stretch around.
WRINKLES = [(10.0, 0.05, 15, 1.118415), (30.0, 0.02, 24, 1.055414)]
TOLERANCE = 0.01  # of the misfit


def coated(ratio, thickness, natural):
    """In plane strain, with smaller elements towards the film."""

    def place(q):
        s = q[:, 0] * (CORE + FILM)
        inside = 1 - (1 - np.minimum(s / CORE, 1.0)) ** 2
        return np.stack([inside + thickness * np.maximum(s - CORE, 0.0) / FILM, 0.02 * q[:, 1]], axis=1)

    surfaces = {(0, 1): "outer", (1, 0): "end_low", (1, 1): "end_high"}
    body = grid_body("axisymmetric", (CORE + FILM, 1), place, "core", surfaces, (1.0, 0.0))
    middle = body.points[body.cells, 0].mean(axis=1)
    regions = {"core": np.flatnonzero(middle < 1), "film": np.flatnonzero(middle > 1)}
    parts = (
        Part("core", neo_hookean(1.0)),
        Part("film", neo_hookean(ratio), natural_stretch=NaturalStretch(hoop=natural)),
    )
    judged = Judged(Model(replace(body, regions=regions), parts, SLIDING), start=Loads(natural=0.0))
    return judged.at(natural=1.0, steps=4)


@pytest.mark.exact
@pytest.mark.parametrize(("ratio", "thickness", "wrinkles", "natural"), WRINKLES)
def test_a_film_that_is_too_long_wrinkles(ratio, thickness, wrinkles, natural):
    harmonics = range(2 * wrinkles)
    below = coated(ratio, thickness, 1 + (natural - 1) * (1 - TOLERANCE))
    assert [below.count(m) for m in harmonics] == [0] * len(harmonics)
    above = coated(ratio, thickness, 1 + (natural - 1) * (1 + TOLERANCE))
    unstable = [m for m in harmonics if above.count(m)]
    assert wrinkles in unstable
    assert max(unstable) - min(unstable) < 6
    assert all(above.count(m) == 1 for m in unstable)


@pytest.mark.parametrize(("ratio", "thickness", "wrinkles", "natural"), WRINKLES)
def test_the_last_harmonic_lies_beyond_the_wrinkles(ratio, thickness, wrinkles, natural):
    """Beyond it the least stiffness grows with the number of waves, as that of a plate too short to bend."""
    judged = coated(ratio, thickness, 1 + (natural - 1) * (1 + TOLERANCE))
    evaluation = Evaluation(judged.system)
    evaluation.read_fields()
    last = judged.harmonics.most_needed(evaluation.fields["least in-plane stress"])
    assert 2 * wrinkles < last < 4 * wrinkles
    beyond = [judged.harmonics.mode(m).stiffness for m in range(last, 2 * last, 5)]
    assert beyond[0] > 100 * abs(judged.harmonics.mode(wrinkles).stiffness)
    assert beyond == sorted(beyond)
