# SPDX-License-Identifier: MIT
"""Where families of matrices that contain a factorised one are singular, by Arnoldi's method.

The number of unstable modes changes within a family only where a matrix of it is singular. A few solves with
the factor of one matrix show how far away the next such place is.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from mpi4py import MPI
from numpy.typing import NDArray
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.mass import Mass
from annelid.solver.harmonics.second_variation import Powers
from annelid.solver.harmonics.tangent import HarmonicTangent

ComplexArray = NDArray[np.complex128]

# Measured on sleeves, tubes and valves: the distance is then at most 20 % too large.
_STEPS = 8
_SAFETY = 0.7
_LOSS_STEPS = 10
_REAL = 0.05  # imaginary part of a value that counts as real, of its size


class Loss(NamedTuple):
    """The first zero of a stiffness on the straight way from one second variation to another.

    Attributes:
        share: Of the way, infinite if there is none, 0 if the first state is unstable.
        stiffness: Of the mode at the first state, MPa/mm².
        vector: The mode.
        opposite: Planes of symmetry about which it is the opposite of its mirror image.
    """

    share: float
    stiffness: float
    vector: PETSc.Vec
    opposite: tuple[str, ...]


def distance_to_singular(tangent: HarmonicTangent, powers: Powers, m: float) -> float:
    """A safe distance of m to the next number, real or complex, for which K is singular; collective.

    With m + m/ν, K x = 0 reads ν² K x + ν (K1 + 2 m K2) m x + K2 m² x = 0, whose companion matrix has the
    largest |ν| for the nearest number.

    Args:
        tangent: Factorised for m ≥ 2, where no motion is rigid.
        powers: K = K0 + m K1 + m² K2.
        m: Number of waves.
    """
    v, product, out = (powers.constant.createVecRight() for _ in range(3))
    local = v.getLocalSize()

    def companion(pair: FloatArray) -> FloatArray:
        top, bottom = pair[:local], pair[local:]
        v.array_w[:] = m * top
        powers.linear.mult(v, product)
        v.array_w[:] = m**2 * (2 * top + bottom)
        powers.square.multAdd(v, product, product)
        tangent.solve(product, out)
        return np.concatenate([-out.array_r, top])

    values, _ = _ritz(companion, 2 * local, _STEPS, v.comm.tompi4py())
    return float(_SAFETY * m / np.abs(values).max())


def first_loss(tangent: HarmonicTangent, change: PETSc.Mat, mass: Mass, opposite: tuple[str, ...]) -> Loss:
    """The first zero of a stiffness from K to K + ``change``, both linear between; collective.

    Args:
        tangent: Factorised K, stable.
        change: Without supports.
        mass: Of the amplitudes.
        opposite: Planes of symmetry about which the modes are the opposite of their mirror image.
    """
    v, product, out = (change.createVecRight() for _ in range(3))

    def loss(array: FloatArray) -> FloatArray:
        v.array_w[:] = array
        change.mult(v, product)
        tangent.deflation.solve_for(product, out)
        return -out.array_r.copy()

    values, vectors = _ritz(loss, v.getLocalSize(), _LOSS_STEPS, v.comm.tompi4py())
    rates = np.where(np.abs(values.imag) < _REAL * np.abs(values), values.real, 0.0)
    first = int(rates.argmax())
    v.array_w[:] = vectors[:, first].real
    change.mult(v, product)
    work = v.dot(product)
    mass.product(v, product)
    share = 1 / float(rates[first]) if rates[first] > 0 else np.inf
    stiffness = -share * work / v.dot(product)  # since K v = -share change v
    return Loss(0.0 if tangent.unstable_modes() else share, stiffness, v, opposite)


def _ritz(
    apply: Callable[[FloatArray], FloatArray], size: int, steps: int, comm: MPI.Comm
) -> tuple[ComplexArray, ComplexArray]:
    """Ritz values and vectors of an operator on local arrays after some steps of Arnoldi's method."""

    def unit(v: FloatArray) -> tuple[float, FloatArray]:
        length = float(np.sqrt(comm.allreduce(v @ v)))
        return length, v / (length or 1.0)

    start = np.random.default_rng(1).standard_normal(size)  # it contains all modes
    basis = [unit(apply(apply(start)))[1]]  # zero at supports
    H = np.zeros((steps + 1, steps))
    for j in range(steps):
        w, V = apply(basis[j]), np.array(basis)
        shares = comm.allreduce(V @ w)
        H[: j + 1, j] = shares
        w = w - shares @ V
        H[j + 1, j], w = unit(w)
        basis.append(w)
    values, vectors = np.linalg.eig(H[:steps])
    return values, np.array(basis[:steps]).T @ vectors
