# SPDX-License-Identifier: MIT
"""The size of the external forces, to which residuals are compared."""

from collections.abc import Sequence

from annelid.solver.assembly.blocks import Blocks
from annelid.solver.assembly.dirichlet import DirichletConditions
from annelid.solver.assembly.equations import zero_vector
from annelid.solver.assembly.load_operator import LoadOperator
from annelid.solver.assembly.load_operators import SheetVoltage
from annelid.solver.linalg.factor import WorkCount
from annelid.solver.model.loads import Loads


class ForceScale:
    """Norm of the external forces on the modelled piece.

    Args:
        operators: The kinds of load.
        dirichlet: Fixed unknowns, on which forces do not count.
        blocks: Access to the blocks of vectors.
        count: Tally of the work done.
    """

    def __init__(
        self,
        operators: Sequence[LoadOperator],
        dirichlet: DirichletConditions,
        blocks: Blocks,
        count: WorkCount,
    ) -> None:
        self._operators = operators
        self._sheets = next(op for op in operators if isinstance(op, SheetVoltage))
        self._dirichlet, self._blocks, self._count = dirichlet, blocks, count
        self._of_fields: tuple[int, dict[str, float], float] = (-1, {}, 0.0)

    def norm(self, loads: Loads) -> float:
        """Return the norm for the loads in force, at the present unknowns, N."""
        return sum(operator.force_norm(loads) for operator in self._operators) + self._field_norm(loads)

    def _field_norm(self, loads: Loads) -> float:
        """Norm of the forces of the sheets' fields: half of their rate, for they go with the voltage squared.

        Taken once for each tangent and set of voltages, which is near enough for a scale.
        """
        if not (self._sheets.acts and any(loads.voltages.values())):
            return 0.0
        tangents, voltages, norm = self._of_fields
        if tangents != self._count.tangents or voltages != loads.voltages:
            vector = zero_vector(self._sheets.problem)
            self._sheets.add_rate(Loads(voltages=loads.voltages, natural=0.0), vector)
            self._dirichlet.zero(vector)
            norm = self._blocks.norms(vector)[0] / 2
            self._of_fields = self._count.tangents, dict(loads.voltages), norm
            vector.destroy()
        return norm
