# SPDX-License-Identifier: MIT
"""Symmetric LDLᵀ factorisation by MUMPS through PETSc, its solves and its inertia."""

from dataclasses import dataclass

from petsc4py import PETSc

from annelid.solver.errors import NoEquilibrium

# PETSc's own handler turns a broken pipe (output into `head`) into a crash report and an abort.
PETSc.Sys.popSignalHandler()

_QAMD, _METIS = 6, 5
# Measured: on meridians QAMD is best and block low-rank compression pays from 30,000 unknowns on; in 3-D both
# METIS (half the operations of QAMD) and compression pay from 10,000.
_LOW_RANK_SIZE = {2: 30_000, 3: 10_000}
_METIS_SIZE = {2: 200_000, 3: 10_000}
_ROOM = (60, 200, 600)  # for delayed pivots, percent; the next one where MUMPS finds it too small
# Error codes of MUMPS (user's guide, section "Error and warning diagnostics").
_TOO_LITTLE_ROOM = (-8, -9, -14, -15, -17, -20)
_OUT_OF_MEMORY = (-5, -7, -13, -19, *_TOO_LITTLE_ROOM)
_PETSC_MEMORY = 55  # PETSC_ERR_MEM


@dataclass
class WorkCount:
    """How often the expensive operations were done."""

    factorisations: int = 0
    solves: int = 0
    tangents: int = 0
    residuals: int = 0


class Factor:
    """LDLᵀ factor of one matrix; refactorised in place, pattern kept.

    Args:
        comm: Ranks that hold the matrix.
        size: Unknowns of all of them.
        dimension: Of the mesh, 2 or 3.
        count: Tally of factorisations and solves.
    """

    def __init__(self, comm: PETSc.Comm, size: int, dimension: int, count: WorkCount) -> None:
        self._count = count
        self._size = size
        self._dimension = dimension
        self._ksp = PETSc.KSP().create(comm)
        self._ksp.setType("preonly")
        pc = self._ksp.getPC()
        pc.setType("cholesky")
        pc.setFactorSolverType("mumps")
        self._configured = False

    def factorise(self, matrix: PETSc.Mat) -> None:
        """Factorise a symmetric matrix (only its upper triangle is read); collective.

        Raises:
            NoEquilibrium: The matrix is singular to working precision.
            MemoryError: The memory of the machine, or a limit of it, is too small.
        """
        self._count.factorisations += 1
        self._ksp.setOperators(matrix)
        pc = self._ksp.getPC()
        if not self._configured:
            pc.setFactorSetUpSolverType()
            self._configure(pc.getFactorMatrix())
            self._configured = True
        for room in _ROOM:
            pc.getFactorMatrix().setMumpsIcntl(14, room)
            code = self._try(pc)
            if code not in _TOO_LITTLE_ROOM:
                break
            matrix.stateIncrease()  # otherwise PETSc keeps the failed factor
        if code in _OUT_OF_MEMORY:
            raise MemoryError(f"not enough memory to factorise {self._size} unknowns (MUMPS {code})")
        if code:
            raise NoEquilibrium(f"the tangent could not be factorised (MUMPS {code})")

    def _try(self, pc: PETSc.PC) -> int:
        """Factorise; zero, or the error code of MUMPS."""
        try:
            self._ksp.setUp()
            pc.setUp()
        except PETSc.Error as error:
            if error.ierr == _PETSC_MEMORY:
                return -13
            raise NoEquilibrium(f"the tangent could not be factorised ({error})") from error
        return self._info(1) if pc.getFailedReason() else 0

    def solve(self, rhs: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write K⁻¹ rhs to ``out``, with the matrix factorised last; collective."""
        self._count.solves += 1
        self._ksp.solve(rhs, out)

    def solve_columns(self, rhs: PETSc.Mat, out: PETSc.Mat) -> None:
        """Write K⁻¹ times the columns of a dense matrix to ``out``; collective."""
        self._count.solves += rhs.getSize()[1]
        self._ksp.getPC().getFactorMatrix().matSolve(rhs, out)

    def negative_pivots(self) -> int:
        """Number of negative eigenvalues of the factorised matrix (Sylvester's law of inertia)."""
        return self._info(12)

    def _info(self, index: int) -> int:
        return int(self._ksp.getPC().getFactorMatrix().getMumpsInfog(index))

    def _configure(self, factor: PETSc.Mat) -> None:
        factor.setMumpsIcntl(7, _METIS if self._size >= _METIS_SIZE[self._dimension] else _QAMD)
        factor.setMumpsIcntl(13, 1)  # no ScaLAPACK root: it hides pivots from the inertia
        factor.setMumpsIcntl(24, 1)  # null pivots are found, not divided by
        if self._size >= _LOW_RANK_SIZE[self._dimension]:
            factor.setMumpsIcntl(35, 2)
            factor.setMumpsCntl(7, 1e-6)
