# SPDX-License-Identifier: MIT
"""Materials: a law with its parameters, and dielectric constants. The energies are in ``energy/laws.py``."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from annelid.geometry.errors import InputError


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
    """What a stored energy takes.

    Attributes:
        parameters: Parameter names in the case file, in the order in which the energy takes them.
        shear_modulus: Small-strain shear modulus of a material of this law, MPa.
    """

    parameters: tuple[str, ...]
    shear_modulus: Callable[[Material], float]


def _chain_modulus(mu: float, N: float) -> float:
    """Shear modulus μ β √N / 3 at rest, where L(β) = 1/√N; β as in its energy."""
    y = N**-0.5
    b = (3 * y - y / 5 * (6 * y**2 + y**4 - 2 * y**6)) / (1 - y**2)
    coth = 1 / math.tanh(b)
    return mu * (b - (coth - 1 / b - y) / (1 - coth**2 + 1 / b**2)) / (3 * y)


def _positive(key: str, value: float) -> None:
    if not value > 0:
        raise InputError(f"{key} is {value:.4g}; it must be positive", key=key, value=value)


LAWS: dict[str, Law] = {
    "neo-hookean": Law(("shear_modulus",), lambda m: m.scalar("shear_modulus")),
    "mooney-rivlin": Law(("c1", "c2"), lambda m: 2 * (m.scalar("c1") + m.scalar("c2"))),
    "yeoh": Law(("c1", "c2", "c3"), lambda m: 2 * m.scalar("c1")),
    "gent": Law(("shear_modulus", "stretch_limit"), lambda m: m.scalar("shear_modulus")),
    "ogden": Law(
        ("moduli", "exponents"),
        lambda m: sum(a * b for a, b in zip(m.terms("moduli"), m.terms("exponents"), strict=True)) / 2,
    ),
    "arruda-boyce": Law(
        ("shear_modulus", "chain_links"),
        lambda m: _chain_modulus(m.scalar("shear_modulus"), m.scalar("chain_links")),
    ),
    "fung": Law(
        ("stiffness", "fibre", "cross", "shear"),
        lambda m: m.scalar("stiffness") * m.scalar("cross") / 2,
    ),
}
