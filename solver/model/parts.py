# SPDX-License-Identifier: MIT
"""What a part is made of and how it is held: plain records, checked on creation."""

from dataclasses import dataclass, field

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.solver.model.material import Material
from annelid.solver.model.natural_stretch import NaturalField, NaturalStretch

HOLDS = ("all", "axial", "radial", "symmetric", "plate", "plate all", "floating", "free")


@dataclass(frozen=True)
class Sheets:
    """A stack of equal dielectric sheets with electrodes between them.

    Attributes:
        count: Number of sheets in the layer.
        thickness: Drawn thickness of one sheet, mm.
    """

    count: int
    thickness: float

    def __post_init__(self) -> None:
        if self.count < 1:
            raise InputError(f"sheets.count is {self.count}; it must be 1 or more", key="sheets.count")
        if not self.thickness > 0:
            raise InputError(
                f"sheets.thickness is {self.thickness} mm; it must be positive", key="sheets.thickness"
            )


@dataclass(frozen=True)
class ElectrodeFilm:
    """Mechanical share of the electrodes: a neo-Hookean film mixed in by volume.

    Attributes:
        volume_fraction: Electrode volume over layer volume, 0 to below 1.
        shear_modulus: MPa.
    """

    volume_fraction: float
    shear_modulus: float

    def __post_init__(self) -> None:
        if not 0 <= self.volume_fraction < 1:
            raise InputError(
                f"electrode_film.volume_fraction is {self.volume_fraction:.4g}; it must lie in [0, 1)",
                key="electrode_film.volume_fraction",
            )
        if not self.shear_modulus >= 0:
            raise InputError(
                "electrode_film.shear_modulus must not be negative", key="electrode_film.shear_modulus"
            )


@dataclass(frozen=True)
class Fibres:
    """A fibre family in the wall surface, wound or printed.

    Attributes:
        angle: From the hoop direction, degrees.
        stiffness: k1, MPa.
        stiffening: k2, dimensionless, positive.
        families: 1, or 2 for the balanced pair ±angle. One family twists a tube; an axisymmetric model holds
            the twist back.
    """

    angle: float
    stiffness: float
    stiffening: float = 1.0
    families: int = 2

    def __post_init__(self) -> None:
        if not -90 <= self.angle <= 90:
            raise InputError(
                f"fibres.angle is {self.angle}; it must lie between -90 and 90 deg", key="fibres.angle"
            )
        if not (self.stiffness >= 0 and self.stiffening > 0):
            raise InputError("fibres: stiffness must be 0 or more, stiffening positive", key="fibres")
        if self.families not in (1, 2):
            raise InputError(f"fibres.families is {self.families}; it must be 1 or 2", key="fibres.families")


@dataclass(frozen=True)
class Part:
    """A region of the body and what it is made of.

    Attributes:
        region: Its name.
        material: What it is made of.
        sheets: The dielectric sheets a layer is made of. With a natural stretch from place to place their
            thickness is the stress-free one.
        natural_stretch: Stress-free over drawn size.
        electrode_film: Stiffness of its electrodes.
        fibres: Fibres in it.
    """

    region: str
    material: Material
    sheets: Sheets | None = None
    natural_stretch: NaturalStretch | NaturalField = field(default_factory=NaturalStretch)
    electrode_film: ElectrodeFilm | None = None
    fibres: Fibres | None = None


@dataclass(frozen=True)
class Electrode:
    """A named electrode; the body's band of the same name says where it lies.

    Attributes:
        name: Name of the band.
        hot_face: Which face of the band carries the voltage in the solved-potential model, the other face is
            ground: ``"outer"`` or ``"inner"``.
    """

    name: str
    hot_face: str = "outer"


@dataclass(frozen=True)
class Support:
    """How a surface is held.

    Attributes:
        region: Surface name.
        hold: ``"all"`` (clamped), ``"axial"`` (slides in its plane), ``"radial"`` (axisymmetric: no radial
            motion; 3-D: no motion in X and Y), ``"symmetric"`` (no motion across its plane), ``"plate"``
            (bonded to a plate that moves freely along the axis and closes the lumen: the surface stays plane,
            its radius is free), ``"plate all"`` (the same, with its radius held), ``"floating"`` (single
            nodes hold the rigid motions that nothing else holds; loads that balance need no force there) or
            ``"free"`` (says that an open end of the lumen is meant to be free: the pressure acts on the wall
            alone).
    """

    region: str
    hold: str

    def __post_init__(self) -> None:
        if self.hold not in HOLDS:
            raise InputError(
                f"support '{self.region}': hold = '{self.hold}' is not one of: {', '.join(HOLDS)}", key="hold"
            )


@dataclass(frozen=True)
class TissueBed:
    """Elastic foundation on an outer surface, per reference area.

    Attributes:
        region: Surface name.
        stiffness: MPa/mm.
        direction: ``"normal"`` (resists motion along the reference normal) or ``"all"``.
    """

    region: str
    stiffness: float
    direction: str = "normal"

    def __post_init__(self) -> None:
        if not self.stiffness >= 0:
            raise InputError(
                f"tissue bed '{self.region}': stiffness {self.stiffness:.4g} MPa/mm must not be negative",
                key="stiffness",
            )
        if self.direction not in ("normal", "all"):
            raise InputError(f"tissue bed '{self.region}': direction must be normal or all", key="direction")


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
        """Axial and radial stroke at a voltage; not a number beyond what the bare skin bears, kV."""
        if voltage > self.voltage[-1] * (1 + 1e-9):
            return float("nan"), float("nan")
        axial, radial = (float(np.interp(voltage, self.voltage, s)) for s in (self.axial, self.radial))
        return axial, radial


@dataclass(frozen=True)
class Section:
    """A named height at which radii are reported.

    Attributes:
        name: For the quantity's name.
        height: Reference Z, mm.
    """

    name: str
    height: float
