# SPDX-License-Identifier: MIT
"""Solutions of K x = M v among the motions that have no share of rigid ones."""

from collections.abc import Callable

import numpy as np
from petsc4py import PETSc

from annelid.solver.assembly.mass import Mass


class Deflation:
    """The factor of K restricted to the motions x with zᵀM x = 0 for all rigid motions z that supports allow.

    Those with K z = 0 are held by springs in the factor, which stay slack as long as the forces do no work
    on z. The others, which beds, obstacles or dead loads resist, are taken out with Y = K⁻¹M Z and S = ZᵀM Y:
    the bordered matrix [K, M Z; ZᵀM, 0] has the negative eigenvalues of K and those of -S. It also has those
    of the restricted K and one more for each z. The restricted K thus has fewer than K by those of S.

    Args:
        free: Rigid motions with K z = 0.
        resisted: The others.
        mass: M.
        solve: Writes K⁻¹ times its first argument to its second.
    """

    def __init__(
        self,
        free: list[PETSc.Vec],
        resisted: list[PETSc.Vec],
        mass: Mass,
        solve: Callable[[PETSc.Vec, PETSc.Vec], None],
    ) -> None:
        self._solve = solve
        self._mass = mass
        every: list[tuple[PETSc.Vec, PETSc.Vec]] = []
        for motion in (*free, *resisted):
            z, image = motion.copy(), motion.duplicate()
            for other, its_image in every:
                z.axpy(-its_image.dot(z), other)
            mass.product(z, image)
            scale = 1 / np.sqrt(z.dot(image))
            z.scale(scale)
            image.scale(scale)
            every.append((z, image))
        self._free, self._resisted = every[: len(free)], every[len(free) :]
        self._Y = [image.duplicate() for _, image in self._resisted]
        for (_, image), y in zip(self._resisted, self._Y, strict=True):
            self._solve_freely(image, y)
        self._S = np.array([[image.dot(y) for y in self._Y] for _, image in self._resisted])

    def negative(self) -> int:
        """Number of negative eigenvalues of K that belong to rigid motions."""
        return int((np.linalg.eigvalsh(self._S) < 0).sum()) if self._resisted else 0

    def solve(self, v: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write the solution for M v to ``out``."""
        product = v.duplicate()
        self._mass.product(v, product)
        self.solve_for(product, out)
        product.destroy()

    def solve_for(self, forces: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write the solution for forces, which are balanced in place, to ``out``."""
        for z, image in self._free:
            forces.axpy(-z.dot(forces), image)
        self._solve_freely(forces, out)
        if self._resisted:
            shares = np.linalg.solve(self._S, [image.dot(out) for _, image in self._resisted])
            out.maxpy(-shares, self._Y)

    def _solve_freely(self, forces: PETSc.Vec, out: PETSc.Vec) -> None:
        self._solve(forces, out)
        for z, image in self._free:
            out.axpy(-image.dot(out), z)
