# SPDX-License-Identifier: MIT
"""Rigid motions of a harmonic, which supports may allow and loads may resist."""

from collections.abc import Callable

import numpy as np
from mpi4py import MPI
from numpy.typing import NDArray
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.solver.harmonics.amplitudes import PerturbedProblem

BoolArray = NDArray[np.bool_]

_HELD = 1e-6  # largest part of a motion that supports hold, of the motion
# Largest force of a motion over that of its components alone. States are in balance to about 1e-8; a softer
# foundation than this makes no difference to the count.
_FREE = 1e-7


def rigid_motions(problem: PerturbedProblem, m: int) -> list[FloatArray]:
    """Rigid motions with m waves around the axis of the deformed part, by local nodes, shape (k, 3).

    For m = 1 the translation (1, -1, 0) across the axis and the tilt (z, -z, -r), for m = 0 the translation
    along the axis and the rotation about it, each of about unit size. They are (a, b, c) of the present
    places (r, z).
    """
    if m > 1:
        return []
    body = problem.model.body
    u = problem.unknowns[0]
    known = problem.mesh.nodes_of_dofs(u.function_space)
    place = body.points.copy()
    place[known] += u.x.array.reshape(-1, 2)
    centre, size = body.points[:, 1].mean(), np.ptp(body.points, axis=0).max()
    r, z = place[problem.node_of_dof].T / size
    z = z - centre / size
    o, one = np.zeros_like(r), np.ones_like(r)
    motions = [(one, -one, o), (z, -z, -r)] if m == 1 else [(o, o, one), (o, r, o)]
    return [np.stack(motion, axis=1) for motion in motions]


def allowed(motions: list[FloatArray], fixed: BoolArray, comm: MPI.Comm) -> list[FloatArray]:
    """Combinations of motions that supports allow.

    Args:
        motions: Each of shape (k, 3).
        fixed: Whether a component is fixed, shape (k, 3).
        comm: Communicator of the ranks.
    """
    if not motions:
        return []
    held = np.array([motion[fixed] for motion in motions])
    values, vectors = np.linalg.eigh(comm.allreduce(held @ held.T, op=MPI.SUM))
    free = vectors.T[values < _HELD**2 * max(1.0, values[-1])]
    return [np.where(fixed, 0.0, np.tensordot(v, motions, axes=1)) for v in free]


def resistance(
    matrix: PETSc.Mat, motions: list[PETSc.Vec], fold: Callable[[PETSc.Vec], PETSc.Vec]
) -> tuple[list[PETSc.Vec], list[PETSc.Vec]]:
    """Combinations z of motions with K z = 0, and the others; collective.

    Args:
        matrix: K with its supports.
        motions: Those that the supports allow.
        fold: Applies linear constraints to a residual-like vector.
    """
    if not motions:
        return [], []
    diagonal, forces, scale = matrix.getDiagonal(), [], 0.0
    for z in motions:
        force = z.duplicate()
        force.pointwiseMult(diagonal, z)
        scale = max(scale, force.norm())
        matrix.mult(z, force)
        forces.append(fold(force).copy())
    values, vectors = np.linalg.eigh([[f.dot(g) for g in forces] for f in forces])
    free: list[PETSc.Vec] = []
    resisted: list[PETSc.Vec] = []
    for value, v in zip(values, vectors.T, strict=True):
        z = motions[0].duplicate()
        z.set(0.0)
        z.maxpy(v, motions)
        (free if value < (_FREE * scale) ** 2 else resisted).append(z)
    return free, resisted


def hold(matrix: PETSc.Mat, motions: list[PETSc.Vec]) -> None:
    """Add a spring at one unknown for each motion z with K z = 0; collective.

    Springs that only these motions stretch put one positive eigenvalue in place of each zero one and change
    nothing else: with x = y + β z, where y is zero at the spring, xᵀ(K + s e eᵀ)x = yᵀK y + s (β z_e)².
    """
    left, diagonal = [z.copy() for z in motions], matrix.getDiagonal()
    while left:
        z = left.pop()
        size = z.copy()
        size.abs()
        place, _ = size.max()
        at = _entry(z, place)
        for other in left:  # a combination that does not move the place of the spring
            other.axpy(-_entry(other, place) / at, z)
        if matrix.owner_range[0] <= place < matrix.owner_range[1]:
            stiffness = abs(diagonal.array_r[place - matrix.owner_range[0]]) or 1.0
            matrix.setValue(place, place, stiffness, addv=PETSc.InsertMode.ADD_VALUES)
        matrix.assemble()


def _entry(vector: PETSc.Vec, place: int) -> float:
    """One entry on all ranks."""
    low, high = vector.owner_range
    mine = float(vector.array_r[place - low]) if low <= place < high else 0.0
    return float(vector.comm.tompi4py().allreduce(mine))
