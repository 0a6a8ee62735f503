# SPDX-License-Identifier: MIT
"""Stability of an axisymmetric equilibrium against perturbations of m waves around the axis."""

from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.mass import Mass
from annelid.solver.assembly.system import System
from annelid.solver.errors import NoEquilibrium
from annelid.solver.harmonics.amplitudes import PerturbedProblem
from annelid.solver.harmonics.last_harmonic import last_harmonic
from annelid.solver.harmonics.modes import HarmonicMode, lowest_mode
from annelid.solver.harmonics.second_variation import Powers, SecondVariation
from annelid.solver.harmonics.singular import Loss, distance_to_singular, first_loss
from annelid.solver.harmonics.supports import amplitude_constraints, parities
from annelid.solver.harmonics.tangent import HarmonicTangent
from annelid.solver.linalg.factor import WorkCount
from annelid.solver.model.loads import Loads
from annelid.solver.readout.gathering import Gathering


class HarmonicStability:
    """Judges the present state of an axisymmetric system against harmonics; every call is collective.

    Loads are given ones. For m ≥ 1 the count is the same under every control: a wave around the axis changes
    no volume, charge, mean motion or opening to first order. Where the tangent of the state is not symmetric
    (``System.symmetric_tangent``) the count is approximate, as that of the state is.

    Attributes:
        system: As below.
        problem: The perturbed problem.
        work: Tally of the work.

    Args:
        system: Its state is read at each call, and must be an equilibrium.

    Raises:
        InvalidValue: Harmonics cannot judge the model, see ``why_not``.
    """

    def __init__(self, system: System) -> None:
        self.system = system
        self.problem = PerturbedProblem(system.problem)
        self._K = SecondVariation(self.problem)
        self._tangents: dict[tuple[int, tuple[str, ...]], HarmonicTangent] = {}
        self._state: tuple[PETSc.Vec, Loads] | None = None
        self._mass = Mass(self.problem, [])
        self._change: PETSc.Mat | None = None
        self.work = WorkCount()

    def count(self, m: int) -> int:
        """Number of unstable modes with m waves around the axis, rigid motions not counted.

        A mode with m ≥ 1 may be turned about the axis; it is counted once, though a three-dimensional model
        counts two.

        Raises:
            NoEquilibrium: The factorisation failed.
        """
        planes = parities(self.problem.model.supports)
        return sum(self._factorised(m, opposite).unstable_modes() for opposite in planes)

    def resists_torsion(self) -> bool:
        """Whether no twist θ(R, Z) can be unstable, because every place resists it; sufficient alone."""
        self._take_state()
        return self._K.moduli.resist_torsion()

    def count_around(self, m: int) -> tuple[int, float]:
        """Number of unstable modes with m ≥ 2 waves, and how far from m it is the same.

        If some are unstable the distance is zero: then it is rarely worth the search.

        Raises:
            NoEquilibrium: The factorisation failed.
        """
        planes = parities(self.problem.model.supports)
        tangents = [self._factorised(m, opposite) for opposite in planes]
        count = sum(tangent.unstable_modes() for tangent in tangents)
        if count:
            return count, 0.0
        return 0, min(distance_to_singular(tangent, self._K.powers, m) for tangent in tangents)

    def second_variation(self) -> Powers:
        """A copy of the second variation of the present state, for ``loss``."""
        self._take_state()
        return self._K.powers.copy()

    def loss(self, m: int, beyond: Powers) -> Loss:
        """The first zero of a stiffness with m waves from the present, stable state to another one.

        The second variation is taken as linear between, as in a linearised analysis of buckling. It is an
        estimate of where a mode turns, and of the mode.

        Raises:
            NoEquilibrium: The factorisation failed.
        """
        found = []
        for opposite in parities(self.problem.model.supports):
            tangent = self._factorised(m, opposite)
            if self._change is None:
                self._change = self._K.matrix.duplicate()
            self._change.zeroEntries()
            beyond.add_to(self._change, m)
            self._K.powers.add_to(self._change, m, -1.0)
            found.append(first_loss(tangent, self._change, self._mass, opposite))
        return min(found, key=lambda loss: loss.share)

    def mode(self, m: int) -> HarmonicMode:
        """The lowest of the modes nearest to zero stiffness with m waves around the axis.

        Raises:
            NoEquilibrium: The factorisation failed, or the eigensolver found no mode.
        """
        planes = parities(self.problem.model.supports)
        modes = [self._lowest(self._factorised(m, opposite), m, opposite) for opposite in planes]
        return min(modes, key=lambda mode: mode.stiffness)

    def near(self, m: int, opposite: tuple[str, ...], vector: PETSc.Vec) -> HarmonicMode:
        """The mode of the present state that goes on from one of a state nearby.

        Raises:
            NoEquilibrium: The factorisation failed, or the eigensolver found no mode.
        """
        tangent = self._factorised(m, opposite)
        try:
            found = lowest_mode(self.problem, tangent, m, opposite, vector)
        except NoEquilibrium:  # many modes are as soft
            return self._lowest(tangent, m, opposite)
        if tangent.unstable_modes() > (found.stiffness < 0):  # it is not the lowest
            found = self._lowest(tangent, m, opposite)
        return found

    def _lowest(self, tangent: HarmonicTangent, m: int, opposite: tuple[str, ...]) -> HarmonicMode:
        """The lowest of the modes nearest to zero stiffness, an unstable one if there is one."""
        found = lowest_mode(self.problem, tangent, m, opposite)
        if found.stiffness > 0 and tangent.unstable_modes():  # they are not among the nearest
            found = lowest_mode(self.problem, tangent, m, opposite, unstable=True)
        return found

    def most_needed(self, least: FloatArray | None) -> int:
        """The last m that needs to be judged: none beyond it is the first to become unstable.

        From the compression of the walls, see ``last_harmonic``. Count and least stiffness of higher ones
        follow the trend of a plate that is too short to bend: the stiffness grows with m.

        Args:
            least: Field "least in-plane stress" of the state, shape (cells, k), MPa; read on the first rank.
        """
        problem = self.system.problem
        displacement = Gathering(problem).nodes(problem.unknowns[0].x.array)
        last = 0
        if displacement is not None:
            assert least is not None
            last = last_harmonic(problem.model, problem.model.body.points + displacement, least)
        return int(problem.comm.bcast(last))

    def _factorised(self, m: int, opposite: tuple[str, ...]) -> HarmonicTangent:
        self._take_state()
        self._K.set(m)
        tangent = self._tangent(m, opposite)
        tangent.factorise(self._K.matrix, m)
        return tangent

    def _tangent(self, m: int, opposite: tuple[str, ...]) -> HarmonicTangent:
        key = min(m, 2), opposite
        if key not in self._tangents:
            model, plates = self.problem.model, self.system.constraints.linear
            constraints = amplitude_constraints(model.body, model.supports, plates, m, opposite)
            self._tangents[key] = HarmonicTangent(
                self.problem, constraints, self._mass, self.work, potential_on_axis=m == 0
            )
        return self._tangents[key]

    def _take_state(self) -> None:
        """Assemble the second variation unless that of the present state is at hand."""
        system = self.system
        if self._state is not None:
            x, loads = self._state
            if loads is system.loads and x.equal(system.x):
                return
            x.destroy()
        system.read_x()
        self._K.assemble()
        self._state = system.x.copy(), system.loads
