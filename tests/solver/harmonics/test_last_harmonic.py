# SPDX-License-Identifier: MIT
"""The last harmonic that needs to be judged is that of a plate under compression, or a wall's own length."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged
from models import SLIDING, neo_hookean, tube_body, tube_model

from annelid.solver.harmonics.last_harmonic import LEAST, last_harmonic
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.readout.evaluation import Evaluation

# Mid radius 1 and t = 0.05: a cylinder in axial compression turns at S = 2 μ t/R, first with m = 3 lobes.
A, B = 0.975, 1.025


def bound(compression):
    body = tube_body(B / A, 1.0, A=A, along=0.25, through=1)
    model = tube_model(body, neo_hookean(), SLIDING)
    return last_harmonic(model, body.points, np.full(body.cells.shape, -compression))


def test_the_bound_follows_from_the_compression():
    assert bound(-1.0) == bound(0.0) == LEAST
    assert bound(0.1) == np.ceil(2 * B / (B - A) * np.sqrt(0.3))
    assert bound(1e3) == np.ceil(2 * np.pi * B / (B - A))


def test_waves_of_slack_walls_are_three_folds_long():
    """Of a film of length 4 R and R/t = 1000: folds of 2 √(π L) (t²/3)^(1/4), see ``number_of_folds``."""
    body = tube_body(1.001, 4.0, along=2.0, through=1)
    model = Model(body, (Part("wall", neo_hookean(), folds=True),), SLIDING)
    fold = 2 * np.sqrt(np.pi * 4.0) * (1e-6 / 3) ** 0.25
    last = last_harmonic(model, 0.5 * body.points, np.zeros(body.cells.shape))
    assert last == np.ceil(2 * np.pi * 1.001 / fold / 3)
    assert last > LEAST


@pytest.mark.exact
def test_a_thin_cylinder_has_no_mode_beyond_it():
    """At 10 % more than its first critical strain, where modes of up to five lobes have turned."""
    judged = Judged(tube_model(tube_body(B / A, 2.0, A=A, along=0.05, through=1), neo_hookean()))
    judged.at(displacements={"end_high": -2.0 * 0.0311}, steps=4)
    evaluation = Evaluation(judged.system)
    evaluation.read_fields()
    last = judged.harmonics.most_needed(evaluation.fields["least in-plane stress"])
    counts = [judged.count(m) for m in range(2 * last)]
    assert counts[3] > 0
    assert last < 30
    assert max(np.flatnonzero(counts)) < last / 2
