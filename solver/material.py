# SPDX-License-Identifier: MIT
"""Stored energies of rubber and soft tissue, per unit stress-free volume.

Every law is a function ψ(strain, parameters) of the isochoric right Cauchy-Green tensor C = J^(-2/3) F^T F
(``strain.C``), so that the pressure unknown is the whole mean stress. Sources are beside each law.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import ufl
from ufl.core.expr import Expr

from geometry.errors import InputError
from solver.kinematics import Strain
from solver.principal import principal_squares


@dataclass(frozen=True)
class Breakdown:
    """Dielectric strength E_b = field * λ^stretch_exponent * (h / reference_thickness)^thickness_exponent.

    λ is the in-plane stretch λn^(-1/2) of a sheet with thickness stretch λn, h its present thickness. Such
    power laws were measured by Huang, Shian, Diebold, Suo, Clarke, Appl. Phys. Lett. 101, 122905 (2012).

    Attributes:
        field: Strength of the unstretched sheet, kV/mm (= V/um).
        stretch_exponent: Dimensionless.
        thickness_exponent: Dimensionless, usually negative (thin films are stronger).
        reference_thickness: Thickness at which ``field`` was measured, mm; needed with a thickness exponent.
    """

    field: float
    stretch_exponent: float = 0.0
    thickness_exponent: float = 0.0
    reference_thickness: float | None = None

    def __post_init__(self) -> None:
        _positive("breakdown.field", self.field)
        if self.thickness_exponent and self.reference_thickness is None:
            raise InputError(
                "breakdown.thickness_exponent needs breakdown.reference_thickness", key="breakdown"
            )


@dataclass(frozen=True)
class Material:
    """A material: a law with its parameters and dielectric constants.

    Attributes:
        name: For messages.
        law: Key of ``LAWS``.
        parameters: By the names in ``LAWS[law]``; moduli in MPa. ``ogden`` takes sequences.
        bulk_modulus: MPa; ``None`` means exactly incompressible.
        permittivity: Relative permittivity; 0 where the material never carries a field.
        breakdown: Dielectric strength, if known.

    Raises:
        InputError: Unknown law, missing or unknown parameter, or a value out of range.
    """

    name: str
    law: str
    parameters: Mapping[str, float | tuple[float, ...]]
    bulk_modulus: float | None = None
    permittivity: float = 0.0
    breakdown: Breakdown | None = field(default=None)

    def __post_init__(self) -> None:
        if self.law not in LAWS:
            raise InputError(
                f"material '{self.name}': law '{self.law}' is not one of: {', '.join(LAWS)}", key="law"
            )
        wanted = LAWS[self.law].parameters
        if set(self.parameters) != set(wanted):
            raise InputError(
                f"material '{self.name}': law {self.law} takes {', '.join(wanted)}; "
                f"got {', '.join(sorted(self.parameters)) or 'nothing'}",
                key="parameters",
            )
        if self.bulk_modulus is not None:
            _positive(f"{self.name}.bulk_modulus", self.bulk_modulus)
        self._check_law()
        if not self.initial_shear_modulus() > 0:
            raise InputError(
                f"material '{self.name}': the initial shear modulus is "
                f"{self.initial_shear_modulus():.4g} MPa; it must be positive",
                key="parameters",
            )

    def _check_law(self) -> None:
        """Refuse parameters at which a law has no meaning even at rest."""
        if self.law == "gent":
            _positive(f"{self.name}.stretch_limit", self.scalar("stretch_limit"))
        if self.law == "arruda-boyce" and not self.scalar("chain_links") > 1:
            raise InputError(
                f"material '{self.name}': chain_links is {self.scalar('chain_links'):.4g}; it must be above "
                f"1 (a chain of one link cannot stretch)",
                key="chain_links",
            )
        if self.law == "ogden":
            moduli, exponents = self.terms("moduli"), self.terms("exponents")
            if len(moduli) != len(exponents) or 0 in exponents:
                raise InputError(
                    f"material '{self.name}': moduli {moduli} and exponents {exponents} must be of equal "
                    f"number, and no exponent zero",
                    key="exponents",
                )

    def scalar(self, name: str) -> float:
        """A scalar parameter."""
        value = self.parameters[name]
        assert not isinstance(value, tuple)
        return float(value)

    def terms(self, name: str) -> tuple[float, ...]:
        """A parameter as a tuple of terms."""
        value = self.parameters[name]
        return tuple(value) if isinstance(value, tuple | list) else (float(value),)

    def initial_shear_modulus(self) -> float:
        """Small-strain shear modulus, MPa."""
        return LAWS[self.law].shear_modulus(self)


@dataclass(frozen=True)
class Law:
    """One stored energy.

    Attributes:
        parameters: Parameter names in the case file.
        energy: ψ(strain, *parameters).
        shear_modulus: Small-strain shear modulus of a material of this law, MPa.
    """

    parameters: tuple[str, ...]
    energy: Callable[..., Expr]
    shear_modulus: Callable[[Material], float]


def neo_hookean(strain: Strain, mu: Expr) -> Expr:
    """ψ = μ/2 (I1 - 3). Treloar, Trans. Faraday Soc. 39, 241 (1943)."""
    return mu / 2 * (ufl.tr(strain.C) - 3)


def mooney_rivlin(strain: Strain, c1: Expr, c2: Expr) -> Expr:
    """ψ = c1 (I1 - 3) + c2 (I2 - 3); μ = 2 (c1 + c2). Rivlin, Phil. Trans. A 241, 379 (1948)."""
    I1 = ufl.tr(strain.C)
    I2 = (I1**2 - ufl.tr(strain.C * strain.C)) / 2
    return c1 * (I1 - 3) + c2 * (I2 - 3)


def yeoh(strain: Strain, c1: Expr, c2: Expr, c3: Expr) -> Expr:
    """ψ = Σ c_i (I1 - 3)^i; μ = 2 c1. Yeoh, Rubber Chem. Technol. 66, 754 (1993)."""
    e = ufl.tr(strain.C) - 3
    return c1 * e + c2 * e**2 + c3 * e**3


def gent(strain: Strain, mu: Expr, Jm: Expr) -> Expr:
    """ψ = -μ Jm/2 ln(1 - (I1 - 3)/Jm). Gent, Rubber Chem. Technol. 69, 59 (1996)."""
    return -mu * Jm / 2 * ufl.ln(1 - (ufl.tr(strain.C) - 3) / Jm)


def ogden(strain: Strain, mu: Expr, alpha: Expr) -> Expr:
    """ψ = Σ μp/αp (λ1^αp + λ2^αp + λ3^αp - 3); μ = Σ μp αp / 2. Ogden, Proc. R. Soc. A 326, 565 (1972)."""
    squares = principal_squares(strain.C, strain.axisymmetric)
    return sum(
        mu[p] / alpha[p] * (sum(s ** (alpha[p] / 2) for s in squares) - 3) for p in range(mu.ufl_shape[0])
    )


def arruda_boyce(strain: Strain, mu: Expr, N: Expr) -> Expr:
    """ψ = μ N (β y + ln(β / sinh β)), y = √(I1/(3N)), β = L⁻¹(y). Arruda, Boyce, JMPS 41, 389 (1993).

    β starts from Kröger's rational approximation (J. Non-Newton. Fluid Mech. 223, 77, 2015) and takes one
    Newton step on L(β) = coth β - 1/β = y; ψ is stationary in β, so the energy errs by less than 1e-10.
    """
    y = ufl.sqrt(ufl.tr(strain.C) / (3 * N))
    b = (3 * y - y / 5 * (6 * y**2 + y**4 - 2 * y**6)) / (1 - y**2)
    coth = 1 / ufl.tanh(b)
    beta = b - (coth - 1 / b - y) / (1 - coth**2 + 1 / b**2)
    return mu * N * (beta * y + ufl.ln(beta / ufl.sinh(beta)))


def fung(strain: Strain, c: Expr, bf: Expr, bt: Expr, bfs: Expr) -> Expr:
    """ψ = c/2 (e^Q - 1), Q = bf Eff² + bt (Ess² + Enn² + 2 Esn²) + 2 bfs (Efs² + Efn²).

    Transversely isotropic about f, the wall's axial direction; E = (C - 1)/2. Guccione, McCulloch, Waldman,
    J. Biomech. Eng. 113, 42 (1991), as used by Land et al., Proc. R. Soc. A 471, 20150641 (2015).
    """
    n, s, f = strain.frame
    E = (strain.C - ufl.Identity(3)) / 2

    def along(a: Expr, b: Expr) -> Expr:
        return ufl.dot(a, E * b)

    Q = (
        bf * along(f, f) ** 2
        + bt * (along(s, s) ** 2 + along(n, n) ** 2 + 2 * along(s, n) ** 2)
        + 2 * bfs * (along(f, s) ** 2 + along(f, n) ** 2)
    )
    return c / 2 * (ufl.exp(Q) - 1)


def fibre_family(strain: Strain, k1: Expr, k2: Expr, direction: Expr) -> Expr:
    """ψ = k1/(2 k2) (exp(k2 (I4 - 1)²) - 1) where I4 > 1, else 0; I4 = a0 · C̄ a0.

    Holzapfel, Gasser, Ogden, J. Elasticity 61, 1 (2000). Fibres carry tension only.
    """
    e = ufl.max_value(ufl.dot(direction, strain.C * direction) - 1, 0.0)
    return k1 / (2 * k2) * (ufl.exp(k2 * e**2) - 1)


def _chain_modulus(mu: float, N: float) -> float:
    """Shear modulus μ β √N / 3 at rest, where L(β) = 1/√N; β as in ``arruda_boyce``."""
    y = N**-0.5
    b = (3 * y - y / 5 * (6 * y**2 + y**4 - 2 * y**6)) / (1 - y**2)
    coth = 1 / math.tanh(b)
    return mu * (b - (coth - 1 / b - y) / (1 - coth**2 + 1 / b**2)) / (3 * y)


def _positive(key: str, value: float) -> None:
    if not value > 0:
        raise InputError(f"{key} is {value:.4g}; it must be positive", key=key, value=value)


LAWS: dict[str, Law] = {
    "neo-hookean": Law(("shear_modulus",), neo_hookean, lambda m: m.scalar("shear_modulus")),
    "mooney-rivlin": Law(("c1", "c2"), mooney_rivlin, lambda m: 2 * (m.scalar("c1") + m.scalar("c2"))),
    "yeoh": Law(("c1", "c2", "c3"), yeoh, lambda m: 2 * m.scalar("c1")),
    "gent": Law(("shear_modulus", "stretch_limit"), gent, lambda m: m.scalar("shear_modulus")),
    "ogden": Law(
        ("moduli", "exponents"),
        ogden,
        lambda m: sum(a * b for a, b in zip(m.terms("moduli"), m.terms("exponents"), strict=True)) / 2,
    ),
    "arruda-boyce": Law(
        ("shear_modulus", "chain_links"),
        arruda_boyce,
        lambda m: _chain_modulus(m.scalar("shear_modulus"), m.scalar("chain_links")),
    ),
    "fung": Law(
        ("stiffness", "fibre", "cross", "shear"),
        fung,
        lambda m: m.scalar("stiffness") * m.scalar("cross") / 2,
    ),
}
