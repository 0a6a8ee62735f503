# SPDX-License-Identifier: MIT
"""Tables of materials and parts."""

from typing import Annotated, Literal

from pydantic import Field

from annelid.cases.schema.base import (
    Angle,
    Density,
    ElectricField,
    Modulus,
    Name,
    Number,
    Table,
    Thickness,
    Whole,
)
from annelid.cases.schema.units import Unit

Conductivity = Annotated[float, Unit("1/Gohm/mm", "a conductivity", "1e-13 S/m", above=0)]


class MaterialConstants(Table):
    """Constants that every material may have in addition to those of its law."""

    bulk_modulus: Modulus | None = None
    """Bulk modulus; default: exactly incompressible."""
    permittivity: Number | None = None
    """Relative permittivity; required where there is an electrode."""
    conductivity: Conductivity | None = None
    """Electrical conductivity, "1e-13 S/m", through which electrodes with feeds leak; default: none."""
    breakdown_field: ElectricField | None = None
    """Dielectric strength of the unstretched sheet, for example "80 V/um"; default: no breakdown margin."""
    breakdown_stretch_exponent: Number = 0.0
    """Exponent of the in-plane stretch of the sheet in its strength."""
    breakdown_thickness_exponent: Number = 0.0
    """Exponent of the present thickness of the sheet in its strength; usually negative."""
    breakdown_reference_thickness: Thickness | None = None
    """Thickness at which the strength was measured; required with a thickness exponent."""
    tearing_stretch: Number | None = None
    """Largest principal stretch at which it tears, relative to the stress-free state."""
    tensile_strength: Modulus | None = None
    """Largest principal stress at which it tears, for example "8 MPa"."""
    tensile_strength_is: Literal["true", "nominal"] | None = None
    """Whether the strength is per deformed ("true") or stress-free area ("nominal", as of tensile tests)."""
    density: Density | None = None
    """Mass per stress-free volume, for example "1.1 g/cm3"; required if a stage has gravity."""


class NeoHookeanTable(MaterialConstants):
    """psi = mu/2 (I1 - 3)."""

    law: Literal["neo-hookean"]
    """One modulus; accurate up to stretches of about 1.5."""
    shear_modulus: Modulus
    """Shear modulus mu."""


class MooneyRivlinTable(MaterialConstants):
    """psi = c1 (I1 - 3) + c2 (I2 - 3)."""

    law: Literal["mooney-rivlin"]
    """Two moduli; the shear modulus is 2 (c1 + c2)."""
    c1: Modulus
    """Coefficient of the first invariant."""
    c2: Modulus
    """Coefficient of the second invariant."""


class YeohTable(MaterialConstants):
    """psi = sum of c_i (I1 - 3)^i."""

    law: Literal["yeoh"]
    """Three moduli; the shear modulus is 2 c1."""
    c1: Modulus
    """Coefficient of (I1 - 3)."""
    c2: Modulus
    """Coefficient of (I1 - 3)^2."""
    c3: Modulus
    """Coefficient of (I1 - 3)^3."""


class GentTable(MaterialConstants):
    """psi = -mu Jm/2 ln(1 - (I1 - 3)/Jm)."""

    law: Literal["gent"]
    """A modulus, and a limit at which the chains are fully extended."""
    shear_modulus: Modulus
    """Shear modulus mu."""
    stretch_limit: Number
    """Jm, the value of I1 - 3 at which the stress grows without bound."""


class OgdenTable(MaterialConstants):
    """psi = sum of mu_p/alpha_p (l1^alpha_p + l2^alpha_p + l3^alpha_p - 3)."""

    law: Literal["ogden"]
    """Any number of terms in the principal stretches."""
    moduli: Annotated[tuple[Modulus, ...], Field(min_length=1)]
    """Moduli mu_p, one for each term."""
    exponents: Annotated[tuple[Number, ...], Field(min_length=1)]
    """Exponents alpha_p, one for each term."""


class ArrudaBoyceTable(MaterialConstants):
    """Eight-chain model with N links and the inverse Langevin function."""

    law: Literal["arruda-boyce"]
    """A modulus, and the number of links of a chain."""
    shear_modulus: Modulus
    """Modulus of the Gaussian limit."""
    chain_links: Number
    """Links N of a chain; the chain locks at a stretch of sqrt(N)."""


class FungTable(MaterialConstants):
    """psi = C/2 (e^Q - 1), stiffer along the axis of the wall; for soft tissue."""

    law: Literal["fung"]
    """Exponential law of soft tissue."""
    stiffness: Modulus
    """Coefficient C."""
    fibre: Number
    """Coefficient of the strain along the axis."""
    cross: Number
    """Coefficient of the strains across the axis."""
    shear: Number
    """Coefficient of the shear along the axis."""


MaterialTable = Annotated[
    NeoHookeanTable | MooneyRivlinTable | YeohTable | GentTable | OgdenTable | ArrudaBoyceTable | FungTable,
    Field(discriminator="law"),
]


class SheetsTable(Table):
    """A layer made of equal dielectric sheets with electrodes between them."""

    count: Whole
    """Number of sheets in the layer."""
    thickness: Thickness | None = None
    """Thickness of one sheet as mounted; default: the layer thickness divided by count."""
    cast_thickness: Thickness | None = None
    """Thickness of one sheet as cast, before it is stretched; instead of thickness."""


class NaturalStretchTable(Table):
    """Ratios of the stress-free size to the drawn size; 0.8 means mounted with a stretch of 1.25."""

    hoop: Number = 1.0
    """Along the circumference."""
    axial: Number = 1.0
    """Along the axis."""
    swelling: Number = 1.0
    """Equal linear growth in all directions."""


class PrestretchTable(Table):
    """Ratios of the mounted size to the size as cast; 1.25 is a natural stretch of 0.8."""

    hoop: Number = 1.0
    """Along the circumference."""
    axial: Number = 1.0
    """Along the axis."""


class ElectrodeFilmTable(Table):
    """Stiffness of the electrodes, averaged with that of the layer by volume."""

    volume_fraction: Number
    """Ratio of the volume of all electrodes to the volume of the layer."""
    shear_modulus: Modulus
    """Shear modulus of the electrode film."""


class FibresTable(Table):
    """Wound or printed fibres in the wall, which carry only tension."""

    angle: Angle
    """Angle from the hoop direction."""
    stiffness: Modulus
    """k1 of the exponential fibre energy."""
    stiffening: Number = 1.0
    """k2 of the exponential fibre energy."""
    families: Whole = 2
    """1 family, or 2 for a balanced pair at plus and minus the angle."""


class PartTable(Table):
    """The material of a region."""

    region: Name
    """A layer, "core", "cap", "lattice" or "end ring"."""
    material: str
    """Name of one of the materials."""
    sheets: SheetsTable | None = None
    """Dielectric sheets of the layer; default: one sheet as thick as the layer."""
    natural_stretch: NaturalStretchTable = NaturalStretchTable()
    """Ratio of the stress-free size to the drawn size."""
    prestretch: PrestretchTable | None = None
    """Ratio of the mounted size to the size as cast; instead of natural_stretch."""
    electrode_film: ElectrodeFilmTable | None = None
    """Stiffness of the electrodes; default: none."""
    fibres: FibresTable | None = None
    """Fibre reinforcement; default: none."""
    compression: Literal["carried", "none"] = "carried"
    """"none" for a thin wall that goes slack where it would be compressed in its plane."""

    @property
    def sheet_count(self) -> int:
        """Number of dielectric sheets."""
        return 1 if self.sheets is None else self.sheets.count
