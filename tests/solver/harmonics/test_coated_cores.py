# SPDX-License-Identifier: MIT
"""A stiff film on a soft solid core, laid too long or compressed with it: number of wrinkles and load.

Incremental analysis in plane strain of two bonded neo-Hookean solids; the asymptote of a thin stiff film is a
strain of ¼ (3 μs/μf)^(2/3) (Allen 1969; Huang, Hong, Suo, J. Mech. Phys. Solids 53, 2101, 2005; from memory).
Film and core that are compressed together along the axis have a closed form (``exact.axial_waves``).
The last harmonic that needs to be judged lies well beyond the wrinkles.
"""

from dataclasses import replace

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged, turns
from dielectric_cases import grid_body
from exact.axial_waves import critical_stretch
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
# The same without the wrinkles, then m, wave number along the axis, and natural stretch along it.
RIBS = [
    (10.0, 0.05, 1, 14.8875, 1.12295),
    pytest.param(10.0, 0.05, 0, 14.8997, 1.12273, marks=pytest.mark.long),
    pytest.param(30.0, 0.05, 0, 10.956, 1.06313, marks=pytest.mark.long),
]
# The same, and the strain at which both fold: 4/3 of ¼ (3 μs/μf)^(2/3) for thin films.
TOGETHER = [
    (10.0, 0.05, 0, 11.4329, 0.142337),
    pytest.param(10.0, 0.05, 1, 11.4623, 0.143038, marks=pytest.mark.long),
    pytest.param(30.0, 0.02, 1, 21.6443, 0.0702535, marks=pytest.mark.long),
    pytest.param(3.0, 0.02, 0, 31.6844, 0.293146, marks=pytest.mark.long),
]


def coated(ratio, thickness, natural, length=0.02, along=1):
    """Clamped between two planes that slide, with smaller elements towards the film.

    By default as long as an element, so in plane strain.
    """

    def place(q):
        s = q[:, 0] * (CORE + FILM)
        inside = 1 - (1 - np.minimum(s / CORE, 1.0)) ** 2
        return np.stack([inside + thickness * np.maximum(s - CORE, 0.0) / FILM, length * q[:, 1]], axis=1)

    surfaces = {(0, 1): "outer", (1, 0): "end_low", (1, 1): "end_high"}
    body = grid_body("axisymmetric", (CORE + FILM, along), place, "core", surfaces, (1.0, 0.0))
    middle = body.points[body.cells, 0].mean(axis=1)
    regions = {"core": np.flatnonzero(middle < 1), "film": np.flatnonzero(middle > 1)}
    parts = (
        Part("core", neo_hookean(1.0)),
        Part("film", neo_hookean(ratio), natural_stretch=natural),
    )
    judged = Judged(Model(replace(body, regions=regions), parts, SLIDING), start=Loads(natural=0.0))
    return judged.at(natural=1.0, steps=4)


def around(natural, more):
    return NaturalStretch(hoop=1 + (natural - 1) * (1 + more))


@pytest.mark.exact
@pytest.mark.parametrize(("ratio", "thickness", "wrinkles", "natural"), WRINKLES)
def test_a_film_that_is_too_long_wrinkles(ratio, thickness, wrinkles, natural):
    harmonics = range(2 * wrinkles)
    below = coated(ratio, thickness, around(natural, -TOLERANCE))
    assert [below.count(m) for m in harmonics] == [0] * len(harmonics)
    above = coated(ratio, thickness, around(natural, TOLERANCE))
    unstable = [m for m in harmonics if above.count(m)]
    assert wrinkles in unstable
    assert max(unstable) - min(unstable) < 6
    assert all(above.count(m) == 1 for m in unstable)


@pytest.mark.parametrize(("ratio", "thickness", "wrinkles", "natural"), WRINKLES)
def test_the_last_harmonic_lies_beyond_the_wrinkles(ratio, thickness, wrinkles, natural):
    """Beyond it the least stiffness grows with the number of waves, as that of a plate too short to bend."""
    judged = coated(ratio, thickness, around(natural, TOLERANCE))
    evaluation = Evaluation(judged.system)
    evaluation.read_fields()
    last = judged.harmonics.most_needed(evaluation.fields["least in-plane stress"])
    assert 2 * wrinkles < last < 4 * wrinkles
    beyond = [judged.harmonics.mode(m).stiffness for m in range(last, 2 * last, 5)]
    assert beyond[0] > 100 * abs(judged.harmonics.mode(wrinkles).stiffness)
    assert beyond == sorted(beyond)


@pytest.mark.exact
@pytest.mark.parametrize(("ratio", "thickness", "m", "k", "natural"), RIBS)
def test_a_film_that_is_too_long_along_the_axis(ratio, thickness, m, k, natural):
    """The part is half a wave long, so that its first mode is the critical one."""
    counts = []
    for more in (-TOLERANCE, TOLERANCE):
        laid = NaturalStretch(axial=1 + (natural - 1) * (1 + more))
        counts.append(coated(ratio, thickness, laid, np.pi / k, 4).count(m))
    assert counts == [0, 1]


@pytest.mark.exact
@pytest.mark.parametrize(("ratio", "thickness", "m", "k", "strain"), TOGETHER)
def test_film_and_core_compressed_together(ratio, thickness, m, k, strain):
    length = np.pi / k
    assert 1 - critical_stretch(m, k, (0, 1, 1 + thickness), (1, ratio)) == pytest.approx(strain, rel=1e-5)
    judged = coated(ratio, thickness, NaturalStretch(), length, 4)
    assert turns(judged, m, strain, lambda e: {"displacements": {"end_high": -e * length}}) == (0, 1)
