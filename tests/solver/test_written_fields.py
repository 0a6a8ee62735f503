# SPDX-License-Identifier: MIT
"""The fields of a state, evaluated in pieces, and the check of the tangent's symmetry."""

import numpy as np
import pytest
from models import CLAMPED, neo_hookean, tube_body, tube_model
from petsc4py import PETSc

from annelid.solver.continuation.path import Path
from annelid.solver.model.stages import Stage
from annelid.solver.readout import field_reader


@pytest.fixture(scope="module")
def inflated():
    """Path and last state of a clamped tube under pressure."""
    path = Path(tube_model(tube_body(1.5), neo_hookean(), CLAMPED), [Stage("inflate", pressure=0.2, steps=1)])
    states = []
    path.follow(observe=states.append)
    return path, states[-1]


def test_principal_stresses_of_a_meridian_are_eigenvalues(inflated):
    """Source: numpy's symmetric eigenvalue routine (LAPACK)."""
    fields = inflated[1].fields
    expected = np.linalg.eigvalsh(fields["Cauchy stress"])[..., -1]
    np.testing.assert_allclose(fields["largest principal stress"], expected, rtol=1e-12, atol=1e-14)


def test_principal_stretches_are_singular_values(inflated):
    """Source: numpy's singular values of the deformation gradient read from the same state."""
    path, state = inflated
    path.evaluation.read_fields()
    found = state.fields["principal stretches"]
    assert np.all(np.diff(found, axis=-1) <= 0)
    values, _ = path.evaluation.reader.values_in(0, path.problem.fields.groups[0].cells)
    expected = np.linalg.svd(values.F, compute_uv=False)
    np.testing.assert_allclose(found[values.cells], expected, rtol=1e-10)


def test_reading_in_pieces_changes_nothing(inflated, monkeypatch):
    path, state = inflated
    monkeypatch.setattr(field_reader, "_PIECE", 1)
    assert path.evaluation.read_fields() is None
    for name, field in path.evaluation.fields.items():
        np.testing.assert_array_equal(field, state.fields[name])


def test_one_unsymmetric_entry_of_the_tangent_is_found(inflated):
    system = inflated[0].system
    assert system.symmetric_tangent()
    free = int(np.argmax(np.abs(system.residual.array_r)))
    columns, values = system.tangent.matrix.getRow(free)
    entry = int(columns[np.flatnonzero(columns != free)[0]])
    change = 1e-6 * np.abs(values).max()
    system.tangent.matrix.setValue(free, entry, change, addv=PETSc.InsertMode.ADD_VALUES)
    system.tangent.matrix.assemble()
    assert not system.symmetric_tangent()
