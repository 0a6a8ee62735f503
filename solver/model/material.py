# SPDX-License-Identifier: MIT
"""Materials: a law with its parameters, dielectric constants and limits. Energies: ``energy/laws.py``."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import InvalidValue, checking

EPS0 = 8.8541878128e-6
"""Vacuum permittivity, N/kV² = nF/mm; CODATA 2018."""

STRESSES = ("true", "nominal")
_NO_TENSION = 1e-6  # of the strength: a smaller stress is rounding


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
        within("breakdown_field", self.field, above=0.0, unit="kV/mm")
        if self.thickness_exponent and self.reference_thickness is None:
            raise InvalidValue(
                "missing: breakdown_thickness_exponent needs it", key="breakdown_reference_thickness"
            )
        if self.reference_thickness is not None:
            within("breakdown_reference_thickness", self.reference_thickness, above=0.0, unit="mm")

    def strength(self, in_plane: FloatArray, thickness: FloatArray | float) -> FloatArray:
        """E_b of a sheet, kV/mm, at its in-plane stretch λ and its present thickness h, mm."""
        limit = self.field * in_plane**self.stretch_exponent
        if self.reference_thickness is None:
            return limit
        return limit * (thickness / self.reference_thickness) ** self.thickness_exponent


@dataclass(frozen=True)
class Tearing:
    """When a material tears: at a stretch, at a stress, or at whichever it reaches first.

    Attributes:
        stretch: Largest principal stretch relative to the stress-free state; ``None`` if unknown.
        strength: Largest principal stress, MPa; ``None`` if unknown.
        strength_is: Whether ``strength`` is a ``"true"`` stress, per deformed area, or a ``"nominal"`` one,
            per stress-free area, as of a tensile test; required with a strength.
    """

    stretch: float | None = None
    strength: float | None = None
    strength_is: str | None = None

    def __post_init__(self) -> None:
        if self.stretch is not None:
            within("tearing_stretch", self.stretch, above=1.0)
        if self.strength is not None:
            within("tensile_strength", self.strength, above=0.0, unit="MPa")
        if self.strength_is is not None:
            one_of("tensile_strength_is", self.strength_is, STRESSES)
            if self.strength is None:
                raise InvalidValue("missing: tensile_strength_is needs it", key="tensile_strength")
        elif self.strength is not None:
            raise InvalidValue(
                f"missing: tensile_strength needs it: write {' or '.join(map(repr, STRESSES))}",
                key="tensile_strength_is",
            )

    def margin(self, stretch: FloatArray, stress: FloatArray | None) -> FloatArray:
        """The smaller of limit over value; inf where a strength alone is known and there is no tension.

        Args:
            stretch: Largest principal stretch.
            stress: Largest principal stress of the kind of the strength, MPa; ``None`` without a strength.
        """
        load = np.zeros_like(stretch) if self.stretch is None else stretch / self.stretch
        if self.strength is not None and stress is not None:
            load = np.maximum(load, stress / self.strength)
        return np.divide(1.0, load, out=np.full_like(load, np.inf), where=load > _NO_TENSION)


@dataclass(frozen=True)
class Material:
    """A material: a law with its parameters, dielectric constants, and limits.

    Attributes:
        name: For messages.
        law: Key of ``LAWS``.
        parameters: By the names in ``LAWS[law]``; moduli in MPa. ``ogden`` takes sequences.
        bulk_modulus: MPa; ``None`` means exactly incompressible.
        permittivity: Relative permittivity; 0 where the material never carries a field.
        breakdown: Dielectric strength, if known.
        density: Mass per stress-free volume, t/mm³; 0 if unknown.
        tearing: Stretch and stress at which it tears, if known.

    Raises:
        InvalidValue: Unknown law, missing or unknown parameter, or a value out of range.
    """

    name: str
    law: str
    parameters: Mapping[str, float | tuple[float, ...]]
    bulk_modulus: float | None = None
    permittivity: float = 0.0
    breakdown: Breakdown | None = None
    density: float = 0.0
    tearing: Tearing | None = None

    def __post_init__(self) -> None:
        with checking(f"material '{self.name}'"):
            self._check()

    def _check(self) -> None:
        one_of("law", self.law, tuple(LAWS))
        known = LAWS[self.law].parameters
        if set(self.parameters) != set(known):
            given = ", ".join(sorted(self.parameters)) or "nothing"
            raise InvalidValue(f"law {self.law} takes {', '.join(known)}; got {given}", key="parameters")
        if self.bulk_modulus is not None:
            within("bulk_modulus", self.bulk_modulus, above=0.0, unit="MPa")
        if self.permittivity:
            within("permittivity", self.permittivity, least=1.0)
        within("density", self.density, least=0.0, unit="t/mm3")
        self._check_law()
        modulus = self.initial_shear_modulus()
        if not modulus > 0:
            raise InvalidValue(
                f"the shear modulus at rest is {modulus:.4g} MPa; it must be above 0 MPa", modulus=modulus
            )

    def _check_law(self) -> None:
        """Refuse parameters at which a law has no meaning even at rest."""
        if self.law == "gent":
            within("stretch_limit", self.scalar("stretch_limit"), above=0.0)
        if self.law == "fung":
            for name in ("fibre", "cross", "shear"):
                within(name, self.scalar(name), above=0.0)
        if self.law == "arruda-boyce":
            why = "a chain of one link cannot stretch"
            within("chain_links", self.scalar("chain_links"), above=1.0, why=why)
        if self.law == "ogden":
            moduli, exponents = self.terms("moduli"), self.terms("exponents")
            if len(moduli) != len(exponents):
                raise InvalidValue(
                    f"has {len(exponents)} entries, moduli has {len(moduli)}: give one for each term",
                    key="exponents",
                )
            if 0 in exponents:
                raise InvalidValue("no exponent may be 0: its term would be infinite", key="exponents")

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
