# SPDX-License-Identifier: MIT
"""Volume displaced by a surface under pressure; its product with the pressure is the work of the pressure."""

from annelid.solver.assembly.system import System


class DisplacedVolume:
    """∫ f·dx from the first state on, of the whole part, mm³, by straight lines from state to state.

    Where the rim of the lumen is held, slides in its plane or is closed by a plate, this is the change of
    the enclosed volume. Where it moves freely along the axis there is no such volume and the work depends on
    the way.

    Args:
        system: The equations.
        surface: The surface on which the pressure acts.
    """

    def __init__(self, system: System, surface: str) -> None:
        self.system = system
        self._surface = surface
        self._before = system.vector()
        self._middle, self._step, self._force = (system.vector() for _ in range(3))
        self._total: float | None = None  # up to the state accepted last
        self._present = 0.0

    def read(self) -> float:
        """The volume displaced up to the present state; collective."""
        if self._total is None:
            self._present = 0.0
        else:
            system = self.system
            system.x.copy(self._step)
            self._step.axpy(-1.0, self._before)
            # The volume is a cubic of the positions, so Simpson's rule is exact along a line.
            self._present = self._total + (self._rate(0.0) + 4 * self._rate(0.5) + self._rate(1.0)) / 6
            system.read_x()
        return self._present

    def accept(self) -> None:
        """Go on from the state read last, which is the present one."""
        self._total = self._present
        self.system.x.copy(self._before)

    def _rate(self, fraction: float) -> float:
        """f·(x - x_before) at a fraction of the way from the state before."""
        self._before.copy(self._middle)
        self._middle.axpy(fraction, self._step)
        self.system.pressure_force(self._surface, self._middle, self._force)
        return float(self._force.dot(self._step)) * self.system.problem.model.body.multiplicity
