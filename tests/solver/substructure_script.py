# SPDX-License-Identifier: MIT
"""Factorises small matrices on the ranks it was started with; the first writes what came out to a file."""

import sys

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from models import CLAMPED, CLOSED, FOLLOW, neo_hookean, tube_body
from mpi4py import MPI
from petsc4py import PETSc

from solver.linear import Count, Factor
from solver.mumps import Mumps
from solver.parts import Part
from solver.path import Path
from solver.problem import Model
from solver.stages import Stage

COMM = MPI.COMM_WORLD
SIZE = 60
NEAR = 1e-7  # of the spectrum's width, between an eigenvalue and the shift beside it
# ``upper``: K less a shift just above its middle eigenvalue, ``lower``: just below.
MATRICES = ("banded", "upper", "lower", "one within", "nearly one within", "coupled all round", "last apart")
# One within: the unknown behind the cut between the first ranks meets those on the cut alone, and lacks
# stiffness of its own, so that the block of its rank is singular, or nearly so.
LACKING = {"one within": 0.0, "nearly one within": 1e-9}


def dense(name, ranks):
    """A symmetric indefinite matrix of the size of the test."""
    rng = np.random.default_rng(5)
    width = SIZE if name == "coupled all round" else 3
    K = np.triu(np.tril(rng.standard_normal((SIZE, SIZE)), width), -width)
    K = K + K.T
    λ = np.linalg.eigvalsh(K)
    middle, near = λ[SIZE // 2], NEAR * np.ptp(λ)
    if name in ("upper", "lower"):
        K -= (middle + (near if name == "upper" else -near)) * np.eye(SIZE)
    if name in LACKING:
        K = np.diag(np.diag(K)) + np.diag(np.ones(SIZE - 1), 1) + np.diag(np.ones(SIZE - 1), -1)
        behind = SIZE // ranks
        K[behind, behind] = LACKING[name]
        K[behind, behind + 1] = K[behind + 1, behind] = 0.0
    if name == "last apart":  # couples to no other rank
        start = SIZE * (ranks - 1) // ranks
        K[start:, :start] = K[:start, start:] = 0.0
    return K


def distributed(K):
    """The matrix by rows on all ranks; the diagonal is stored though it be zero."""
    matrix = PETSc.Mat().createAIJ((SIZE, SIZE), comm=COMM)
    matrix.setUp()
    matrix.setOption(PETSc.Mat.Option.NEW_NONZERO_ALLOCATION_ERR, False)
    stored = (K != 0) | np.eye(SIZE, dtype=bool)
    for row in range(*matrix.getOwnershipRange()):
        columns = np.flatnonzero(stored[row]).astype(PETSc.IntType)
        matrix.setValues(row, columns, K[row, columns])
    matrix.assemble()
    matrix.setOption(PETSc.Mat.Option.SYMMETRIC, True)
    return matrix


def solved(factor, matrix):
    """K⁻¹ times 1, 2, 3 ..., whole on every rank."""
    rhs, out = matrix.createVecs()
    first, last = rhs.owner_range
    rhs.array_w[:] = 1.0 + np.arange(first, last)
    factor.solve(rhs, out)
    return np.concatenate(COMM.allgather(out.array_r.copy()))


def small_matrices():
    """Solution, count and way of each small matrix, factorised twice so that the factor is used again."""
    found = {}
    for name in MATRICES:
        K = dense(name, COMM.size)
        factor = Factor(COMM, SIZE, 2, Count())
        factor.factorise(distributed(np.where(K, 1e-3, 0.0) + np.eye(SIZE)))  # the pattern of K
        matrix = distributed(K)
        factor.factorise(matrix)
        found[f"{name}: solution"] = solved(factor, matrix)
        found[f"{name}: negative"] = factor.negative_pivots()
        found[f"{name}: substructured"] = factor.substructured
    return found


def closed_tube():
    """Past its pressure maximum: ties, and a state that is unstable under its loads."""
    model = Model(tube_body(1.1, along=0.125), (Part("wall", neo_hookean()),), CLOSED)
    return Path(model, [Stage("blow", volume=14.0, control="volume", steps=6)], stepping=FOLLOW)


def clamped_tube():
    """Under a pressure it bears."""
    model = Model(tube_body(1.1, along=0.125), (Part("wall", neo_hookean()),), CLAMPED)
    return Path(model, [Stage("inflate", pressure=0.05, steps=2)])


def squeezed_tube():
    """Squeezed along its axis past its first buckling load."""
    model = Model(tube_body(1.1, length=2.0, along=0.125), (Part("wall", neo_hookean()),), CLAMPED)
    return Path(model, [Stage("squeeze", displacements={"end_high": -0.5}, steps=2)], stepping=FOLLOW)


TUBES = {"closed tube": closed_tube, "clamped tube": clamped_tube, "squeezed tube": squeezed_tube}


def tubes():
    """Each tube's last tangent, solved and counted by both ways."""
    found = {}
    for name, make in TUBES.items():
        path = make()
        path.follow()
        matrix, factor = _last_factorised(path.system)
        found[f"{name}: solution"] = solved(factor, matrix)
        found[f"{name}: negative"] = factor.negative_pivots()
        found[f"{name}: unstable"] = path.system.unstable_modes()
        found[f"{name}: substructured"] = factor.substructured
        whole = Mumps(COMM, matrix.getSize()[0], 2)
        whole.factorise(matrix)
        found[f"{name}: whole solution"] = solved(whole, matrix)
        found[f"{name}: whole negative"] = whole.negative_pivots()
    return found


def _last_factorised(system):
    """The matrix that a system factorises at its present state, ties folded in, and its factor."""
    factor, seen = system.tangent.factor, []
    plain = factor.factorise
    factor.factorise = lambda matrix: (seen.append(matrix), plain(matrix))
    system.factorise()
    return seen[0], factor


if __name__ == "__main__":
    gathered = small_matrices() | tubes()
    if COMM.rank == 0:
        np.savez(sys.argv[1], ranks=COMM.size, **gathered)
