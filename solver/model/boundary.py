# SPDX-License-Identifier: MIT
"""How a part is held and wired, and where it is measured: plain records, checked on creation."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import checking

HOLDS = ("all", "axial", "axial twist", "radial", "symmetric", "plate", "plate all", "rigid motion", "free")
HOT_FACES = ("outer", "inner")
DIRECTIONS = ("normal", "all")


@dataclass(frozen=True)
class Electrode:
    """A named electrode; the body's band of the same name is where it is.

    Attributes:
        name: Name of the band.
        hot_face: Which face of the band carries the voltage in the solved-potential model, the other face is
            ground: ``"outer"`` or ``"inner"``.
    """

    name: str
    hot_face: str = "outer"

    def __post_init__(self) -> None:
        with checking(f"electrode '{self.name}'"):
            one_of("hot_face", self.hot_face, HOT_FACES)


@dataclass(frozen=True)
class Support:
    """How a surface is held.

    Attributes:
        region: Surface name.
        hold: ``"all"`` (clamped), ``"axial"`` (slides in its plane), ``"axial twist"`` (the
            same without turning about the axis; axisymmetric only), ``"radial"`` (axisymmetric: no radial
            motion; 3-D: no motion in X and Y), ``"symmetric"`` (no motion across its plane), ``"plate"``
            (bonded to a plate that moves freely along the axis and closes the lumen: the surface stays plane,
            its radius is free), ``"plate all"`` (the same, with its radius fixed), ``"rigid motion"`` (single
            nodes fix the rigid motions that nothing else fixes; balanced loads need no force there) or
            ``"free"`` (states that an open end of the lumen is meant to be free: the pressure acts on the
            wall alone).
    """

    region: str
    hold: str

    def __post_init__(self) -> None:
        with checking(f"support '{self.region}'"):
            one_of("hold", self.hold, HOLDS)

    @property
    def is_plate(self) -> bool:
        """Whether the surface is bonded to a plate."""
        return self.hold.startswith("plate")

    @property
    def can_be_moved(self) -> bool:
        """Whether a stage can prescribe the axial motion of the surface."""
        return self.hold in ("all", "axial", "axial twist")

    @property
    def fixes_rotation(self) -> bool:
        """Whether the surface cannot turn about the axis by itself; a stage can prescribe its rotation."""
        return self.hold in ("all", "axial twist", "radial", "plate all")

    @property
    def fixes_rigid_motion(self) -> bool:
        """Whether the support keeps the part from moving along the axis as a rigid body."""
        return self.can_be_moved or self.hold in ("symmetric", "rigid motion")

    @property
    def fixes_axial_motion(self) -> bool:
        """Whether the surface cannot move along the axis by itself."""
        return self.can_be_moved or (self.hold == "symmetric" and "end_" in self.region)

    @property
    def fixes_radial_motion(self) -> bool:
        """Whether the surface cannot move across the axis by itself."""
        return self.hold in ("all", "radial", "plate all") or (
            self.hold == "symmetric" and "end_" not in self.region
        )


@dataclass(frozen=True)
class Foundation:
    """Elastic foundation on an outer surface, per reference area: surrounding tissue, for instance.

    Attributes:
        region: Surface name.
        stiffness: MPa/mm.
        direction: ``"normal"`` (resists motion along the reference normal) or ``"all"``.
    """

    region: str
    stiffness: float
    direction: str = "normal"

    def __post_init__(self) -> None:
        with checking(f"foundation '{self.region}'"):
            within("stiffness", self.stiffness, least=0.0, unit="MPa/mm")
            one_of("direction", self.direction, DIRECTIONS)


@dataclass(frozen=True)
class Section:
    """A named height at which radii are reported.

    Attributes:
        name: For the quantity's name.
        height: Reference Z, mm.
    """

    name: str
    height: float


@dataclass(frozen=True)
class BareStroke:
    """Stroke of the skin of a part alone, unstretched and without its lattice, over the voltage.

    Attributes:
        voltage: Ascending from 0, shape (k,), kV.
        axial: Change of length over the length without voltage, shape (k,).
        radial: The same of the largest diameter.
    """

    voltage: FloatArray
    axial: FloatArray
    radial: FloatArray

    def at(self, voltage: float) -> tuple[float, float]:
        """Axial and radial stroke at a voltage, kV; not a number beyond what the bare skin bears."""
        if voltage > self.voltage[-1] * (1 + 1e-9):
            return float("nan"), float("nan")
        axial, radial = (float(np.interp(voltage, self.voltage, s)) for s in (self.axial, self.radial))
        return axial, radial
