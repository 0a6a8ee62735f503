# SPDX-License-Identifier: MIT
"""Walls that carry no compression in their plane: the length that they lay in folds, point by point.

A thin wall that is compressed in its plane folds. Its middle surface is then longer than its place in space
shows, by 1 + b_h along the circumference and 1 + b_a along the meridian, and the material has the deformation

    Fw = F B,   B = 1 + b_h h⊗h + b_a a⊗a

in place of F. The excess lengths b ≥ 0 minimise the potential at each integration point. So the stress along
a direction is zero where the wall is slack, and b is zero where it is taut. This is tension-field theory
(Reissner 1938; Pipkin, IMA J. Appl. Math. 36, 85, 1986; Steigmann, Proc. R. Soc. A 429, 141, 1990; all from
memory): the relaxed energy is the least one of all deformations with FwᵀFw ≥ FᵀF in the plane of the wall.

b follows from (u, p, φ) at once and is no unknown of the equations. The residual is that at fixed b, and

    K = ∂²Π/∂x² - (∂²Π/∂x∂b) M (∂²Π/∂b∂x)

with the inverse M of ∂²Π/∂b² on the directions that are slack. It is positive there, so the inertia of K
counts the unstable modes as before.
"""

from collections.abc import Callable
from typing import NamedTuple

import basix.ufl
import numpy as np
import ufl
from dolfinx import fem
from dolfinx.mesh import Mesh
from mpi4py import MPI
from numpy.typing import NDArray
from ufl.core.expr import Expr

from annelid.geometry.body import FloatArray
from annelid.solver.errors import NoEquilibrium

_ITERATIONS, _HALVINGS = 25, 6
_CONVERGED = 1e-11  # change of b that a further step would make
_TAUT = 1e-9  # the same, below which a direction at b = 0 counts as taut: the unloaded wall is
_LARGEST = 4.0  # excess length beyond which none is found: the energy at given pressure may fall for ever
_MARGINAL = 1e-7  # excess length below which the tangent is that of a taut wall: steps from it are not wild
_LARGEST_STEP = 0.3  # of 1 + b
_LEAST_CURVATURE = 1e-3  # of the largest one of a point
_ROUNDING = 1e-14  # of an energy

BoolArray = NDArray[np.bool_]


class _Local(NamedTuple):
    """Energy w of some points, shape (n,), ∂w/∂b, (n, 2), and ∂²w/∂b∂b, (n, 2, 2)."""

    w: FloatArray
    g: FloatArray
    H: FloatArray

    def where(self, taken: BoolArray, other: "_Local") -> "_Local":
        """These values where they are taken, else others."""
        return _Local(
            np.where(taken, self.w, other.w),
            np.where(taken[:, None], self.g, other.g),
            np.where(taken[:, None, None], self.H, other.H),
        )


class Folds:
    """The excess lengths b of the present state, and M.

    Attributes:
        b: (b_h, b_a), by which energies are differentiated.
        values: Its values at the integration points.
        compliance: M, 1/MPa.

    Args:
        domain: The mesh.
        degree: Of the rule of integration.
    """

    def __init__(self, domain: Mesh, degree: int) -> None:
        cell = domain.basix_cell()

        def at_points(*shape: int) -> fem.Function:
            element = basix.ufl.quadrature_element(cell, value_shape=shape, degree=degree)
            return fem.Function(fem.functionspace(domain, element))

        self.values, self.compliance = at_points(2), at_points(2, 2)
        # A label of its own number, or every further run in a process would compile again.
        self.b = ufl.classes.Variable(self.values, ufl.classes.Label(1))
        self.points, _ = basix.make_quadrature(cell, degree)
        self._domain = domain

    def stretch(self, frame: tuple[Expr, Expr, Expr]) -> Expr:
        """B in the axes of the deformation gradient."""
        _, hoop, axial = frame
        return ufl.Identity(3) + self.b[0] * ufl.outer(hoop, hoop) + self.b[1] * ufl.outer(axial, axial)

    def local(self, energy: Expr) -> Expr:
        """Energy density with its derivatives by b, as one vector (w, ∂w/∂b, ∂²w/∂b∂b)."""
        g = ufl.diff(energy, self.b)
        H = ufl.diff(g, self.b)
        return ufl.as_vector([energy, g[0], g[1], H[0, 0], H[0, 1], H[1, 0], H[1, 1]])

    def update(self, energies: list[tuple[fem.Expression, NDArray[np.int32]]]) -> None:
        """Find b and M at the present unknowns; collective.

        Args:
            energies: Compiled ``local`` of each group of cells that fold, and its cells.

        Raises:
            NoEquilibrium: No b was found at some point.
        """
        found = True
        for expression, cells in energies:
            found &= self._update(expression, cells)
        if not self._domain.comm.allreduce(found, op=MPI.LAND):
            raise NoEquilibrium("no length of the folds of a slack wall was found")

    def _update(self, expression: fem.Expression, cells: NDArray[np.int32]) -> bool:
        """The same for a group of cells; whether b was found at all their points."""
        dofs = self.values.function_space.dofmap.list[cells].ravel()
        every = self.values.x.array.reshape(-1, 2)

        def evaluate(b: FloatArray) -> _Local:
            every[dofs] = b
            raw = expression.eval(self._domain, cells).reshape(-1, 7)
            return _Local(raw[:, 0], raw[:, 1:3], raw[:, 3:].reshape(-1, 2, 2))

        before = every[dofs]
        b, last, found = least_energy(evaluate, before)
        every[dofs] = b if found else before
        if found:
            self.compliance.x.array.reshape(-1, 2, 2)[dofs] = _inverse(last.H, b > _MARGINAL)
        return found


def least_energy(evaluate: Callable[[FloatArray], _Local], b: FloatArray) -> tuple[FloatArray, _Local, bool]:
    """b ≥ 0 of least energy at many points, by Newton's method on the slack directions of each.

    Args:
        evaluate: Energy and its derivatives at b.
        b: First guess, shape (n, 2).

    Returns:
        b, the values there, and whether it was found at all points.
    """
    here = evaluate(b)
    for _ in range(_ITERATIONS):
        if not (np.isfinite(here.g).all() and np.isfinite(here.H).all()) or b.max(initial=0.0) > _LARGEST:
            return b, here, False
        slack = _slack(b, here)
        step = _step(here, slack, b)
        size = np.abs(step).max(axis=1)
        if (size <= _CONVERGED).all():
            return b, here, True
        trial = b + step
        there = evaluate(trial)
        for _ in range(_HALVINGS):
            worse = ~(there.w <= here.w + _ROUNDING * np.abs(here.H).max(axis=(1, 2)))
            if not worse.any():
                break
            trial[worse] = (trial[worse] + b[worse]) / 2
            there = evaluate(trial)
        b, here = trial, there
    return b, here, False


def _slack(b: FloatArray, here: _Local) -> BoolArray:
    """Directions that fold: those that do, and those in compression."""
    diagonal = np.abs(np.einsum("nii->ni", here.H))
    return (b > 0) | (here.g < -_TAUT * diagonal)


def _step(here: _Local, slack: BoolArray, b: FloatArray) -> FloatArray:
    """Newton's step on the slack directions, not beyond b = 0 and not far; the curvature is kept positive."""
    step = -np.einsum("nij,nj->ni", _inverse(here.H, slack), here.g)
    # Where one direction is stopped at zero the other one takes its own step.
    stopped = (b + step < 0) & slack
    alone = stopped.any(axis=1) & slack.all(axis=1) & ~stopped.all(axis=1)
    others = slack & ~stopped
    rest = here.g + np.einsum("nij,nj->ni", here.H, np.where(stopped, -b, 0.0))
    alone_step = -np.einsum("nij,nj->ni", _inverse(here.H, others), rest)
    step = np.where(alone[:, None] & others, alone_step, step)
    return np.clip(step, -np.minimum(b, _LARGEST_STEP * (1 + b)), _LARGEST_STEP * (1 + b))


def _inverse(H: FloatArray, slack: BoolArray) -> FloatArray:
    """Inverse of H on the slack directions, zero on the others; H is made positive where it is not."""
    both = slack[:, :, None] & slack[:, None, :]
    taken = np.where(both, H, 0.0) + np.where(slack, 0.0, 1.0)[:, :, None] * np.eye(2)
    values, axes = np.linalg.eigh((taken + np.swapaxes(taken, 1, 2)) / 2)
    values = np.maximum(values, _LEAST_CURVATURE * np.abs(values).max(axis=1, keepdims=True))
    return np.where(both, np.einsum("nia,na,nja->nij", axes, 1 / values, axes), 0.0)
