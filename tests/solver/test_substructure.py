# SPDX-License-Identifier: MIT
"""Substructuring: the solutions and counts of LAPACK on whole matrices, and of MUMPS on all ranks."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from on_ranks import on_ranks
from petsc4py import PETSc
from scipy.sparse import csr_matrix
from substructure_script import LACKING, MATRICES, SIZE, TUBES, dense

from solver.schur import CondensedMumps

# Relative to the solution, times the condition number of the matrix or of MUMPS's own rounding.
SAME = 1e-10
ROUNDING = 1e-15
KEPT = 3
WHOLE = [*LACKING, "coupled all round", "last apart"]
DIVIDED = [name for name in MATRICES if name not in WHOLE]


@pytest.fixture(scope="module", params=[2, 3])
def found(request, tmp_path_factory):
    """What the script found on two and on three ranks."""
    return on_ranks("substructure_script.py", request.param, tmp_path_factory.mktemp("ranks") / "found.npz")


@pytest.mark.mpi
@pytest.mark.parametrize("name", MATRICES)
def test_solutions_and_counts_are_those_of_lapack(found, name):
    K = dense(name, int(found["ranks"]))
    expected = np.linalg.solve(K, 1.0 + np.arange(len(K)))
    λ = np.linalg.eigvalsh(K)
    assert found[f"{name}: negative"] == np.sum(λ < 0)
    error = np.linalg.norm(found[f"{name}: solution"] - expected) / np.linalg.norm(expected)
    assert error < ROUNDING * np.abs(λ).max() / np.abs(λ).min() + SAME / 100


@pytest.mark.mpi
def test_counts_are_told_apart_on_both_sides_of_an_eigenvalue(found):
    assert found["upper: negative"] == found["lower: negative"] + 1


@pytest.mark.mpi
@pytest.mark.parametrize("name", DIVIDED)
def test_matrices_with_few_unknowns_between_ranks_are_divided(found, name):
    assert found[f"{name}: substructured"]


@pytest.mark.mpi
@pytest.mark.parametrize("name", WHOLE)
def test_matrices_that_cannot_be_divided_are_solved_as_a_whole(found, name):
    """A block that is singular by itself; ranks without unknowns of their own, or without couplings."""
    assert not found[f"{name}: substructured"]


@pytest.mark.mpi
@pytest.mark.parametrize("name", TUBES)
def test_tangents_of_tubes_as_by_mumps_on_all_ranks(found, name):
    assert found[f"{name}: substructured"]
    assert found[f"{name}: negative"] == found[f"{name}: whole negative"] > 30
    solution, whole = found[f"{name}: solution"], found[f"{name}: whole solution"]
    assert np.linalg.norm(whole) > 0
    assert np.linalg.norm(solution - whole) < SAME * np.linalg.norm(whole)


@pytest.mark.mpi
@pytest.mark.parametrize(("name", "modes"), [("closed tube", 1), ("clamped tube", 0), ("squeezed tube", 1)])
def test_unstable_states_are_among_the_tubes(found, name, modes):
    assert found[f"{name}: unstable"] == modes


@pytest.fixture
def condensed():
    """[A, b; bᵀ, 0] factorised with its last three unknowns kept, and what it is given for them."""
    given = {}
    factor = CondensedMumps(SIZE, KEPT, 2, lambda rest: given["of"](rest))
    K = dense("banded", 1)
    K[-KEPT:, -KEPT:] = 0.0
    upper = csr_matrix(np.triu(K) + 0.0)
    upper += csr_matrix(([0.0] * KEPT, [range(SIZE - KEPT, SIZE)] * 2), shape=upper.shape)
    csr = (upper.indptr.astype(PETSc.IntType), upper.indices.astype(PETSc.IntType), upper.data)
    matrix = PETSc.Mat().createAIJWithArrays((SIZE, SIZE), csr, comm=PETSc.COMM_SELF)
    matrix.setOption(PETSc.Mat.Option.SYMMETRIC, True)
    matrix.assemble()
    factor.factorise(matrix)
    return factor, matrix, K, given


def test_the_complement_is_that_of_lapack(condensed):
    factor, _, K, _ = condensed
    A, b = K[:-KEPT, :-KEPT], K[:-KEPT, -KEPT:]
    np.testing.assert_allclose(factor.complement(), -b.T @ np.linalg.solve(A, b), rtol=1e-11, atol=1e-11)


def test_a_solve_hands_over_the_rest_and_takes_the_values_given(condensed):
    factor, matrix, K, given = condensed
    A, b = K[:-KEPT, :-KEPT], K[:-KEPT, -KEPT:]
    factor.complement()
    f, y, seen = np.arange(1.0, SIZE + 1 - KEPT), np.array([3.0, -1.0, 2.0]), []

    def of(rest):
        seen.append(rest.copy())
        return y

    given["of"] = of
    rhs, out = matrix.createVecs()
    rhs.array_w[:-KEPT] = f
    factor.solve(rhs, out)
    np.testing.assert_allclose(seen, [-b.T @ np.linalg.solve(A, f)], rtol=1e-11)
    np.testing.assert_allclose(out.array_r[:-KEPT], np.linalg.solve(A, f - b @ y), rtol=1e-11)


def test_a_failure_between_the_sweeps_comes_out_as_it_is(condensed):
    factor, matrix, _, given = condensed
    factor.complement()

    def of(rest):
        raise KeyboardInterrupt

    given["of"] = of
    with pytest.raises(KeyboardInterrupt):
        factor.solve(*matrix.createVecs())
