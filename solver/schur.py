# SPDX-License-Identifier: MIT
"""MUMPS's Schur complement through C functions of PETSc, for petsc4py does not reach them."""

import ctypes
from collections.abc import Callable

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from dolfinx.fem.petsc import get_petsc_lib
from petsc4py import PETSc

from geometry.body import FloatArray
from solver.mumps import Mumps

_PETSC = ctypes.CDLL(str(get_petsc_lib()))  # the one that petsc4py has loaded
_Handle = ctypes.c_void_p
_MatSolve = ctypes.CFUNCTYPE(ctypes.c_int, _Handle, _Handle, _Handle)
_FACTORED = 1  # MAT_FACTOR_SCHUR_FACTORED
_MATOP_MAT_SOLVE = 100
_ERROR_IN_LIBRARY = 76


class CondensedMumps(Mumps):
    """LDLᵀ factor of [A, b; bᵀ, 0] that stops short of its last unknowns and leaves -bᵀA⁻¹b there.

    A solve sweeps forward through A, hands over what is left on the last unknowns, is given their values and
    sweeps back. PETSc asks for these values through its dense solve with the complement, which is ours here.

    Args:
        size: All unknowns.
        kept: The last unknowns, how many.
        dimension: Of the mesh.
        values_of: Gives the values of the last unknowns from their right-hand side less bᵀA⁻¹ times the rest.
    """

    def __init__(
        self, size: int, kept: int, dimension: int, values_of: Callable[[FloatArray], FloatArray]
    ) -> None:
        super().__init__(PETSc.COMM_SELF, size, dimension)
        self._kept = kept
        self._values_of = values_of
        self._mat_solve = _MatSolve(self._between_sweeps)  # held here: PETSc holds its address alone
        self._failure: BaseException | None = None

    def complement(self) -> FloatArray:
        """-bᵀA⁻¹b of the matrix factorised last, shape (kept, kept)."""
        factor = _Handle(self._ksp.getPC().getFactorMatrix().handle)
        matrix, status = _Handle(), ctypes.c_int()
        _call("MatFactorGetSchurComplement", factor, ctypes.byref(matrix), ctypes.byref(status))
        _call("MatSetOperation", matrix, _MATOP_MAT_SOLVE, self._mat_solve)
        lower = np.tril(_entries(matrix, self._kept, self._kept))
        _call("MatFactorRestoreSchurComplement", factor, ctypes.byref(matrix), _FACTORED)
        return lower + np.tril(lower, -1).T

    def solve(self, rhs: PETSc.Vec, out: PETSc.Vec) -> None:
        """Out = K⁻¹ rhs, with the values of the last unknowns as they are given."""
        try:
            super().solve(rhs, out)
        except PETSc.Error:
            if self._failure is not None:
                raise self._failure from None
            raise

    def _between_sweeps(self, _matrix: int, rhs: int, out: int) -> int:
        try:
            values = self._values_of(_entries(_Handle(rhs), self._kept, 1)[:, 0])
            _entries(_Handle(out), self._kept, 1)[:, 0] = values
        except BaseException as failure:  # C has no use for it: handed on by solve
            self._failure = failure
            return _ERROR_IN_LIBRARY
        return 0

    def _configure(self, factor: PETSc.Mat) -> None:
        super()._configure(factor)
        last = PETSc.IS().createStride(self._kept, self._size - self._kept, comm=PETSc.COMM_SELF)
        _call("MatFactorSetSchurIS", _Handle(factor.handle), _Handle(last.handle))
        last.destroy()


def _call(name: str, *arguments: object) -> None:
    code = getattr(_PETSC, name)(*arguments)
    if code:
        raise PETSc.Error(code)


def _entries(matrix: ctypes.c_void_p, rows: int, columns: int) -> FloatArray:
    """Entries of a dense matrix of this rank, a view."""
    array = ctypes.POINTER(ctypes.c_double)()
    _call("MatDenseGetArray", matrix, ctypes.byref(array))
    view = np.ctypeslib.as_array(array, shape=(columns, rows)).T
    _call("MatDenseRestoreArray", matrix, ctypes.byref(array))
    return view
