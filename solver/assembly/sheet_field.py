# SPDX-License-Identifier: MIT
"""The nominal field V/t of the layered model in the sheets of every cell."""

from collections.abc import Mapping
from functools import cached_property

import numpy as np
from dolfinx import fem

from annelid.geometry.body import FloatArray
from annelid.solver.energy.problem import Problem
from annelid.solver.energy.stretch_fields import sheet_thickness


class SheetField:
    """Nominal sheet fields of a problem for given voltages."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem

    def nominal(self, voltages: Mapping[str, float]) -> FloatArray:
        """V/t in every body cell, shape (cells,), kV/mm.

        Args:
            voltages: kV by electrode.
        """
        body = self._problem.model.body
        field = np.zeros(len(body.cells))
        for name, voltage in voltages.items():
            field[body.bands[name]] = voltage
        return field * self._inverse_thickness

    def write(self, target: fem.Function, voltages: Mapping[str, float]) -> None:
        """Write V/t to a cell-wise function."""
        target.x.array[:] = self.nominal(voltages)[self._problem.mesh.original_cells]

    @cached_property
    def _inverse_thickness(self) -> FloatArray:
        """1/t of the drawn sheets, zero outside of them, 1/mm."""
        model = self._problem.model
        inverse = np.zeros(len(model.body.cells))
        for part in model.parts:
            if part.sheets is not None:
                cells = model.body.regions[part.region]
                thickness = sheet_thickness(model.body, part, model.body.cells[cells])
                inverse[cells] = 1 / thickness.mean(axis=1)
        return inverse
