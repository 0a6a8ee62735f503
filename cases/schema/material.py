# SPDX-License-Identifier: MIT
"""Materials and parts as a case file writes them."""

from typing import Annotated, Literal

from pydantic import Field

from annelid.cases.schema.base import (
    Angle,
    Count,
    Field_,
    Fraction,
    Length,
    Modulus,
    ModulusOrZero,
    Name,
    Number,
    Permittivity,
    Positive,
    SignedModulus,
    Stretch,
    Table,
)


class Dielectric(Table):
    """Constants every material may have beside its law."""

    bulk_modulus: Modulus | None = None
    """Bulk modulus; left out: incompressible."""
    permittivity: Permittivity | None = None
    """Relative permittivity; needed where an electrode lies."""
    breakdown_field: Field_ | None = None
    """Dielectric strength of the unstretched sheet, for example "80 V/um"; left out: no margin."""
    breakdown_stretch_exponent: Number = 0.0
    """Strength grows with the sheet's in-plane stretch to this power."""
    breakdown_thickness_exponent: Number = 0.0
    """Strength changes with the present sheet thickness to this power (usually negative)."""
    breakdown_reference_thickness: Length | None = None
    """Thickness at which the strength was measured; needed with a thickness exponent."""


class NeoHookean(Dielectric):
    """psi = mu/2 (I1 - 3)."""

    law: Literal["neo-hookean"]
    """One modulus; good up to stretches of about 1.5."""
    shear_modulus: Modulus
    """Shear modulus mu."""


class MooneyRivlin(Dielectric):
    """psi = c1 (I1 - 3) + c2 (I2 - 3)."""

    law: Literal["mooney-rivlin"]
    """Two moduli; the shear modulus is 2 (c1 + c2)."""
    c1: SignedModulus
    """Coefficient of the first invariant."""
    c2: SignedModulus
    """Coefficient of the second invariant."""


class Yeoh(Dielectric):
    """psi = sum of c_i (I1 - 3)^i."""

    law: Literal["yeoh"]
    """Three moduli; the shear modulus is 2 c1."""
    c1: SignedModulus
    """Coefficient of (I1 - 3)."""
    c2: SignedModulus
    """Coefficient of (I1 - 3)^2."""
    c3: SignedModulus
    """Coefficient of (I1 - 3)^3."""


class Gent(Dielectric):
    """psi = -mu Jm/2 ln(1 - (I1 - 3)/Jm)."""

    law: Literal["gent"]
    """A modulus and a limit at which the chains are stretched out."""
    shear_modulus: Modulus
    """Shear modulus mu."""
    stretch_limit: Positive
    """Jm, the value of I1 - 3 at which the stress grows without bound."""


class Ogden(Dielectric):
    """psi = sum of mu_p/alpha_p (l1^alpha_p + l2^alpha_p + l3^alpha_p - 3)."""

    law: Literal["ogden"]
    """Any number of terms in the principal stretches."""
    moduli: Annotated[tuple[SignedModulus, ...], Field(min_length=1)]
    """Moduli mu_p, one a term."""
    exponents: Annotated[tuple[Number, ...], Field(min_length=1)]
    """Exponents alpha_p, one a term."""


class ArrudaBoyce(Dielectric):
    """Eight chains of N links with the inverse Langevin function."""

    law: Literal["arruda-boyce"]
    """A modulus and the number of links of a chain."""
    shear_modulus: Modulus
    """Modulus of the Gaussian limit."""
    chain_links: Positive
    """Links N of a chain; the chain locks at a stretch of sqrt(N)."""


class Fung(Dielectric):
    """psi = C/2 (e^Q - 1), stiffer along the wall's axis: soft tissue."""

    law: Literal["fung"]
    """Exponential law of soft tissue."""
    stiffness: Modulus
    """C."""
    fibre: Positive
    """Coefficient of the strain along the axis."""
    cross: Positive
    """Coefficient of the strains across."""
    shear: Positive
    """Coefficient of the shear along the axis."""


Material = Annotated[
    NeoHookean | MooneyRivlin | Yeoh | Gent | Ogden | ArrudaBoyce | Fung, Field(discriminator="law")
]


class Sheets(Table):
    """A layer made of equal dielectric sheets with electrodes between them."""

    count: Count
    """Number of sheets in the layer."""
    thickness: Length | None = None
    """Drawn thickness of one sheet; left out: layer thickness over count. Checked against the layer."""


class NaturalStretch(Table):
    """Stress-free size over drawn size: 0.8 means mounted with a stretch of 1.25."""

    hoop: Stretch = 1.0
    """Along the circumference."""
    axial: Stretch = 1.0
    """Along the axis."""
    swelling: Stretch = 1.0
    """The same linear growth in all directions."""


class ElectrodeFilm(Table):
    """Electrodes that carry load, mixed into the layer by volume."""

    volume_fraction: Fraction
    """Volume of all electrodes over the volume of the layer."""
    shear_modulus: ModulusOrZero
    """Shear modulus of the electrode film."""


class Fibres(Table):
    """Wound or printed fibres in the wall; they carry tension only."""

    angle: Angle
    """Angle from the hoop direction."""
    stiffness: ModulusOrZero
    """k1 of the exponential fibre energy."""
    stiffening: Positive = 1.0
    """k2 of the exponential fibre energy."""
    families: Literal[1, 2] = 2
    """2 for a balanced pair at plus and minus the angle."""


class Part(Table):
    """What a region is made of."""

    region: Name
    """A layer, "core" or "cap"."""
    material: str
    """Name of one of the materials."""
    sheets: Sheets | None = None
    """Dielectric sheets the layer is made of; left out: one sheet as thick as the layer."""
    natural_stretch: NaturalStretch = NaturalStretch()
    """Stress-free size over drawn size."""
    electrode_film: ElectrodeFilm | None = None
    """Stiffness of the electrodes; left out: none."""
    fibres: Fibres | None = None
    """Fibre reinforcement; left out: none."""
