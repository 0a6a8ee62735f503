# SPDX-License-Identifier: MIT
"""What the solver hands on: plain records of numbers, readable without DOLFINx."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from annelid.geometry.body import FloatArray


class Measure(NamedTuple):
    """A value and its unit, as written to tables (``name [unit]``)."""

    value: float
    unit: str


@dataclass(frozen=True)
class Profile:
    """Radii along the axis of one surface (``lumen`` or ``outer``), sorted by height.

    Attributes:
        height: Reference height Z of the stations, shape (k,), mm.
        reference_radius: Mean radius there before loading, shape (k,), mm.
        radius: Mean radius of the same material stations now, shape (k,), mm.
        current_height: Mean current height of these stations, shape (k,), mm.
    """

    height: FloatArray
    reference_radius: FloatArray
    radius: FloatArray
    current_height: FloatArray


@dataclass(frozen=True)
class FlowAlong:
    """Flow along the lumen, in sections from the lower to the upper end.

    Attributes:
        height: Height of the middle of each section above the lower end of the lumen, shape (k,), mm.
        length: Length of the section, mm.
        radius: Radius of the lumen, mm.
        pressure: Pressure, MPa.
        flow: Flow through its middle along +Z, relative to the wall, mm³/s.
        core: Radius of a cylinder on the axis, mm; 0 without one.
        peak_speed: Largest speed of the fluid in the section, on the axis if there is no cylinder, mm/s; nan
            around a cylinder if the fluid has a power law.
    """

    height: FloatArray
    length: FloatArray
    radius: FloatArray
    pressure: FloatArray
    flow: FloatArray
    core: FloatArray
    peak_speed: FloatArray


@dataclass(frozen=True)
class Equilibrium:
    """One converged state of the part, gathered on the first rank.

    Attributes:
        index: Position along the path, from 0.
        stage: Name of the stage.
        parameter: Stage parameter, 0 at its start and 1 at its end, also at a limit that ends it early.
        loads: Present loads, for instance ``"pressure"``, ``"voltage ring_1"``, ``"axial force end_high"``.
        iterations: Newton iterations taken.
        residual: Norm of the out-of-balance force relative to the force scale, dimensionless.
        factorisations: Matrix factorisations spent on this state.
        unstable_modes: Unstable modes under given loads, with those with waves around the axis if the state
            was judged against them; between such states at least those that are known.
        unstable_modes_controlled: Unstable modes under the control in force (equal under load control).
        quantities: The reported quantities by name.
        displacement: Nodal displacement in the node order of the body, shape (n, 2) or (n, 3), mm.
            With twist an axisymmetric model has those of the meridian at Y = 0 in X, Y, Z.
        fields: Values at the nodes of every cell, shape (m, nodes per cell, ...): ``"Cauchy stress"``
            (…, 3, 3) in MPa, ``"principal stretches"`` (…, 3) descending, ``"pressure"`` in MPa, ``"true
            field"`` magnitude in kV/mm, ``"breakdown margin"`` (inf where no field), ``"tearing margin"``
            (nan in parts without such a limit; only where a part has one), ``"least in-plane stress"`` in MPa
            (inf outside walls).
            Axisymmetric tensors are in the frame (R, hoop, Z), which turns with the point where the part
            twists, others in (X, Y, Z).
        profiles: Radial profiles: ``"inner"`` (the lumen, or the face of the wall on a core) and ``"outer"``.
        places: Where an extreme was found, by quantity name: reference position, mm.
        critical: ``"limit point"``, ``"bifurcation"`` or what the part does with waves around its axis
            (``model/harmonic_words.py``) if the state is a located critical point, else "".
        mode: Mode of the critical point at the nodes, largest component 1, shape of ``displacement``; with
            waves around the axis the amplitudes (a, b, c) of u = (a cos mθ, b sin mθ, c cos mθ), (n, 3).
        flow_along: Flow along the lumen; ``None`` without one.
        reached_by: ``"jump"`` if the part left the state before for this one, ``"branch"`` if the path turned
            off here, "" if it goes on from the state before.
    """

    index: int
    stage: str
    parameter: float
    loads: Mapping[str, Measure]
    iterations: int
    residual: float
    factorisations: int
    unstable_modes: int
    unstable_modes_controlled: int
    quantities: Mapping[str, Measure]
    displacement: FloatArray
    fields: Mapping[str, FloatArray]
    profiles: Mapping[str, Profile] = field(default_factory=dict)
    places: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    critical: str = ""
    mode: FloatArray | None = None
    flow_along: FlowAlong | None = None
    reached_by: str = ""


@dataclass(frozen=True)
class LimitAhead:
    """What ends the use of a part as one kind of load grows from the working point, the others held.

    Attributes:
        kind: ``"electric breakdown"``, ``"tearing"``, ``"wrinkling"``, ``"limit point"``, ``"bifurcation"``,
            what the part does with waves around its axis, or ``"self-contact"``.
        value: Load there over the working load.
        text: All loads there.
        already: Whether the working point itself is beyond the limit; ``value`` is then 1.
        is_bound: Whether ``value`` is that of the first state of the path beyond the limit, which is at most
            there.
    """

    kind: str
    value: float
    text: str
    already: bool = False
    is_bound: bool = False


@dataclass(frozen=True)
class Margin:
    """How far the working point is from a critical point as one kind of load grows, the others held.

    Attributes:
        load: ``"pressure"``, ``"voltage"``, ``"force"``, ``"move"`` or ``"all loads"``.
        value: Critical load over working load; ``nan`` if it is not known.
        kind: ``"limit point"``, ``"bifurcation"``, what the part does with waves around its axis or, of a
            load that was not reached, ``"self-contact"``; "" if no critical point was found.
        is_bound: No critical point was found up to ``value``: the margin is at least that.
        text: The same in a sentence, with the loads.
        limits: Everything that the load reaches on the way, up to the critical point, in that order.
    """

    load: str
    value: float
    kind: str = ""
    is_bound: bool = False
    text: str = ""
    limits: tuple[LimitAhead, ...] = ()

    @property
    def quantity(self) -> str:
        """Name of the margin as a reported quantity."""
        return f"stability margin {self.load}"


@dataclass(frozen=True)
class Outcome:
    """How a path ended.

    Attributes:
        kind: ``"reached"``, ``"limit point"``, ``"bifurcation"``, ``"lost stability"``,
            ``"self-contact"`` or ``"no equilibrium"``.
        text: The same in a sentence, with the loads.
        stage: Stage in which the path ended.
        parameter: Stage parameter reached there.
        remarks: Further sentences (for instance the dielectric strength exceeded, and where).
        margins: Of the loads at the working point, or of the requested loads that were not reached.
        working_stage: Stage at whose end the working point is, the last one at whose end a load acts; "" if
            it was not reached.
    """

    kind: str
    text: str
    stage: str
    parameter: float
    remarks: tuple[str, ...] = ()
    margins: tuple[Margin, ...] = ()
    working_stage: str = ""


@dataclass(frozen=True)
class Moduli:
    """Small-strain properties of a lattice in its plane, mean stresses per area of the whole cell.

    Attributes:
        around: Young's modulus along x, MPa.
        along: Young's modulus along y, MPa.
        poisson_around: Contraction along y over extension along x, pulled along x.
        poisson_along: Contraction along x over extension along y, pulled along y.
        shear: Shear modulus, MPa.
        stiffness: Matrix of (σx, σy, τ) over (εx, εy, γ), shape (3, 3), MPa.
        relative_density: Area of the struts over that of the cell.
    """

    around: float
    along: float
    poisson_around: float
    poisson_along: float
    shear: float
    stiffness: FloatArray
    relative_density: float


@dataclass(frozen=True)
class CollapseState:
    """One state of a cell stretched along one axis, free across it.

    Attributes:
        stretch: Mean stretch along the axis.
        transverse: Mean stretch across it.
        shear: Mean shear H_xy or H_yx that goes with it, lines along the axis keeping their direction.
        stress: Mean nominal stress along the axis, MPa per area of the whole cell.
        energy: Strain energy per area and thickness of the whole cell, mJ/mm³.
        unstable_modes: Unstable modes that repeat from cell to cell, under the given stretch.
        displacement: Nodal displacement, shape (n, 3), mm.
        buckled: Whether the cell buckled here: this state does not continue the one before smoothly.
    """

    stretch: float
    transverse: float
    shear: float
    stress: float
    energy: float
    unstable_modes: int
    displacement: FloatArray
    buckled: bool = False
