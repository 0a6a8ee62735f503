# SPDX-License-Identifier: MIT
"""The fields of a state at the nodes of every cell, carried there from the integration points."""

from functools import cached_property
from itertools import chain

import basix
import numpy as np
import ufl
from mpi4py import MPI
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.elements import shape_values
from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem
from annelid.solver.energy.properties import CellGroup
from annelid.solver.energy.stretch_fields import sheet_thickness
from annelid.solver.readout.fields import CellValues, fields_of
from annelid.solver.readout.folded_walls import excess_lengths, residual_stress, unfolded
from annelid.solver.readout.gathering import Gathering

_DEGREE = 5  # of the rule whose points are read, but those of the integrals where walls fold
_FOLDED = 46  # values read at a point of a wall that folds
_PIECE = 500  # cells read at a time


class FieldReader:
    """Compiled expressions that read stress, strain and field from the present unknowns."""

    def __init__(self, problem: Problem, gathering: Gathering) -> None:
        self._problem = problem
        self._gathering = gathering
        # Fields are read at the integration points, where the energy guarantees det F > 0, and carried to
        # the nodes by the quadratic through them: at a clamped corner the strain may fold at the node.
        cell = basix.CellType[problem.mesh.domain.basix_cell().name]
        points, _ = basix.make_quadrature(cell, problem.model.quadrature_degree if problem.folds else _DEGREE)
        self._to_nodes = np.linalg.pinv(shape_values(problem.model.body.cell_type, points))
        groups = problem.fields.groups
        self._expressions = [forms.compile_expression(self._values(g), points) for g in groups]

    def read(self, natural: float) -> tuple[dict[str, FloatArray] | None, bool]:
        """The fields in body order on the first rank, and whether no cell is inverted; collective.

        Args:
            natural: Fraction of the natural stretch in force.

        Returns:
            Fields by name, shape (cells, nodes of a cell, ...), ``None`` on other ranks; the verdict on all.
        """
        problem = self._problem
        valid = True
        mine: dict[str, FloatArray] = {}
        for number, group in enumerate(problem.fields.groups):
            for cells in _pieces(group.cells):
                values, sound = self.values_in(number, cells)
                valid &= sound
                for name, piece in fields_of(problem.model, values, natural).items():
                    if name not in mine:
                        mine[name] = np.zeros((problem.mesh.owned, *piece.shape[1:]))
                    mine[name][cells] = piece
        return self._gather(mine), bool(problem.comm.allreduce(valid, op=MPI.LAND))

    def values_in(self, number: int, cells: NDArray[np.int32]) -> tuple[CellValues, bool]:
        """Raw values at the nodes of some cells of this rank, and whether none is inverted.

        Args:
            number: Position of the cells' group in ``problem.fields.groups``.
            cells: Local cell numbers.
        """
        problem = self._problem
        points = self._to_nodes.shape[1]
        inside = self._expressions[number].eval(problem.mesh.domain, cells).reshape(len(cells), points, -1)
        F = inside[..., 9:18].reshape(len(cells), points, 3, 3)
        valid = bool(np.linalg.det(F).min() > 0)
        if problem.model.axisymmetric:
            valid = valid and bool(F[..., 1, 1].min() > 0)
        if inside.shape[-1] == _FOLDED:
            inside = _of_material(inside)
        every = np.matmul(self._to_nodes, inside)
        shape = every.shape[:2]
        originals = problem.mesh.original_cells[cells]
        elastic = slice(22, 31) if every.shape[-1] > 22 else slice(9, 18)
        folds = np.maximum(every[..., 31:], 0.0) if every.shape[-1] > 31 else np.zeros((*shape, 3))
        values = CellValues(
            cells=originals,
            stress=every[..., :9].reshape(*shape, 3, 3),
            F=every[..., 9:18].reshape(*shape, 3, 3),
            elastic=every[..., elastic].reshape(*shape, 3, 3),
            field=every[..., 18:21] * self._in_sheets[originals, :, None],
            pressure=every[..., 21],
            folds=folds,
        )
        return values, valid

    def _values(self, group: CellGroup) -> ufl.core.expr.Expr:
        """σ = J⁻¹ ∂W/∂F Fᵀ, F, F⁻ᵀE0, p and Fe where it is not F, as one vector of 22 or 31 components.

        Where walls fold these are J σ, F, E0, p, F G⁻¹, D, and the directions h and a, 46 components.
        """
        problem = self._problem
        # A label of its own number: the running number of ufl.variable would enter the form's signature, and
        # every further run in a process would compile again.
        F = ufl.classes.Variable(problem.F, ufl.classes.Label(0))
        σ = ufl.diff(problem.density(group, F), F) * F.T
        E0 = problem.nominal_field()
        E = ufl.as_vector([0, 0, 0]) if E0 is None else E0
        elastic, vectors = [problem.elastic_gradient(group, F)], [E]
        if group.folds and problem.folds:
            elastic.append(problem.folds.tensor(problem.frame))
            vectors += problem.frame[1:]
        else:
            σ, vectors = σ / ufl.det(F), [ufl.inv(F).T * E]
            if not (group.deposited or problem.fields.natural is not None):
                elastic = []
        first, more = ([T[i, j] for T in Ts for i in range(3) for j in range(3)] for Ts in ((σ, F), elastic))
        field, *directions = ([v[i] for i in range(3)] for v in vectors)
        return ufl.as_vector([*first, *field, problem.pressure(group, F), *more, *chain(*directions)])

    def _gather(self, mine: dict[str, FloatArray]) -> dict[str, FloatArray] | None:
        """Fields of the owned cells of all ranks in body order, on the first rank."""
        gathered: dict[str, FloatArray] = {}
        for name in list(mine):
            every = self._gathering.cells(mine.pop(name))
            if every is not None:
                gathered[name] = every
        return gathered if self._problem.comm.rank == 0 else None

    @cached_property
    def _in_sheets(self) -> FloatArray:
        """1 in body cells of parts with sheets, else 0; elsewhere a solved potential only falls to zero.

        In uneven sheets the nominal field of a cell is that of their mean thickness there, and what is read
        at a node is larger by the mean over the local thickness. Shape (cells, 1), or (cells, nodes) if
        uneven.
        """
        model = self._problem.model
        body, uneven = model.body, model.body.layer_thickness
        inside = np.zeros((len(body.cells), body.cells.shape[1] if uneven else 1))
        for part in model.parts:
            cells = body.regions[part.region]
            inside[cells] = float(part.sheets is not None)
            if part.region in uneven and part.sheets is not None and not model.solved_potential:
                thickness = sheet_thickness(body, part, body.cells[cells])
                inside[cells] = thickness.mean(axis=1, keepdims=True) / thickness
        return inside


def _of_material(inside: FloatArray) -> FloatArray:
    """What is read of other walls, from the values at points of a wall that folds; and its folds.

    These are the excess lengths around and along the axis, and the compression of a unit residual stiffness.
    """
    tensors = [inside[..., i : i + 9].reshape(*inside.shape[:2], 3, 3) for i in (0, 9, 22, 31)]
    σ, F, FG, D = tensors
    Fw = unfolded(F, D)
    Fe = Fw @ np.linalg.solve(F, FG)
    E = np.linalg.solve(np.swapaxes(Fw, -1, -2), inside[..., 18:21, None])[..., 0]
    σ = σ / np.linalg.det(Fw)[..., None, None]
    along = excess_lengths(F, D, inside[..., 40:].reshape(*inside.shape[:2], 2, 3))
    flat = [T.reshape(*inside.shape[:2], 9) for T in (σ, F, Fe)]
    return np.concatenate(
        [*flat[:2], E, inside[..., 21:22], flat[2], along, residual_stress(F, D)[..., None]], axis=-1
    )


def _pieces(cells: NDArray[np.int32]) -> list[NDArray[np.int32]]:
    """Cells in pieces: all at once would hold ten arrays of the size of the fields."""
    return np.array_split(cells, range(_PIECE, len(cells), _PIECE)) if len(cells) else []
