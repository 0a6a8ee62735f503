# SPDX-License-Identifier: MIT
"""What a part is made of: plain records, checked on creation."""

from dataclasses import dataclass, field

from annelid.geometry.checks import whole_number, within
from annelid.geometry.errors import InvalidValue, checking
from annelid.solver.model.material import Material
from annelid.solver.model.natural_stretch import NaturalField, NaturalStretch

RESIDUAL_STIFFNESS = 1e-5
"""Stiffness η of folds over the shear modulus of a wall that folds; else a slack wall could be anywhere."""


@dataclass(frozen=True)
class Sheets:
    """A stack of equal dielectric sheets with electrodes between them.

    Attributes:
        count: Number of sheets in the layer.
        thickness: Reference thickness of one sheet, mm; the mean if the body has a ``layer_thickness`` for
            the layer, of which each sheet then has its share.
    """

    count: int
    thickness: float

    def __post_init__(self) -> None:
        whole_number("sheets.count", self.count, least=1)
        within("sheets.thickness", self.thickness, above=0.0, unit="mm")


@dataclass(frozen=True)
class ElectrodeFilm:
    """Mechanical contribution of the electrodes: a neo-Hookean film mixed in by volume.

    Attributes:
        volume_fraction: Electrode volume over layer volume, 0 to below 1.
        shear_modulus: MPa.
    """

    volume_fraction: float
    shear_modulus: float

    def __post_init__(self) -> None:
        within("electrode_film.volume_fraction", self.volume_fraction, least=0.0, below=1.0)
        within("electrode_film.shear_modulus", self.shear_modulus, least=0.0, unit="MPa")


@dataclass(frozen=True)
class Fibres:
    """A fibre family in the wall surface, wound or printed.

    Attributes:
        angle: From the hoop direction, degrees.
        stiffness: k1, MPa.
        stiffening: k2, dimensionless, positive.
        families: 1, or 2 for the balanced pair ±angle. One family twists a tube.
    """

    angle: float
    stiffness: float
    stiffening: float = 1.0
    families: int = 2

    def __post_init__(self) -> None:
        within("fibres.angle", self.angle, least=-90.0, most=90.0, unit="deg")
        within("fibres.stiffness", self.stiffness, least=0.0, unit="MPa")
        within("fibres.stiffening", self.stiffening, above=0.0)
        if self.families not in (1, 2):
            raise InvalidValue(f"must be 1 or 2, got {self.families}", key="fibres.families")

    @property
    def twist(self) -> bool:
        """Whether the fibres wind around the axis in one sense only, so that the part twists under load."""
        return self.families == 1 and 0.0 < abs(self.angle) < 90.0


@dataclass(frozen=True)
class Part:
    """A region of the body and what it is made of.

    Attributes:
        region: Its name.
        material: What it is made of.
        sheets: The dielectric sheets a layer is made of. With a natural stretch that varies from place to
            place their thickness is the stress-free one.
        natural_stretch: Stress-free over reference size.
        electrode_film: Stiffness of its electrodes.
        fibres: Fibres in it.
        folds: Whether it is a thin wall that carries no compression in its plane, but folds.
    """

    region: str
    material: Material
    sheets: Sheets | None = None
    natural_stretch: NaturalStretch | NaturalField = field(default_factory=NaturalStretch)
    electrode_film: ElectrodeFilm | None = None
    fibres: Fibres | None = None
    folds: bool = False

    def check_electrode(self, electrode: str, *, solved: bool) -> None:
        """Raise InvalidValue unless an electrode can be on this part.

        Args:
            electrode: Its name.
            solved: Whether the potential is solved for.
        """
        with checking(f"part '{self.region}'"):
            if self.sheets is None:
                raise InvalidValue(f"missing: electrode '{electrode}' is on this part", key="sheets")
            if solved and self.sheets.count != 1:
                raise InvalidValue(
                    f"must be 1, got {self.sheets.count}: with electrics.model = 'solved' each sheet is a "
                    "layer of its own",
                    key="sheets.count",
                )
