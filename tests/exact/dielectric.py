# SPDX-License-Identifier: MIT
"""Closed forms for ideal-dielectric neo-Hookean films, tubes and spheres, in scaled units.

Units: shear modulus μ = 1, permittivity ε = 1, drawn inner radius A = 1; B is the drawn outer radius, ``la``
the stretch of the inner radius (its present value a), ``lz`` the axial stretch. A voltage V is scaled as V
√(ε/μ) / A; ``v`` = V √(ε/μ) / (B - A) is the nominal field. Pressures are over μ, forces over μ A²,
capacitances over ε A.

"Radial" forms hold for the exact radial field E(r) between two electrodes. "Uniform" forms hold where the
nominal field is v everywhere in the wall, as in a stack of many sheets drawn with equal thickness.
"""

import math

import numpy as np

GAUSS_NODES, GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(40)


def film_field(stretch, stress=0.0):
    """Nominal field e of a free film with equal-biaxial stretch and nominal dead stress S/μ.

    e² = λ⁻² - λ⁻⁸ - (S/μ) λ⁻³, from the energy λ² + λ⁻⁴/2 - S 2λ - e² λ⁴/2 by own derivation; without stress
    it is the relation of Zhao & Suo, Appl. Phys. Lett. 91, 061921 (2007) (from memory).
    """
    return np.sqrt(stretch**-2.0 - stretch**-8.0 - stress * stretch**-3.0)


def film_field_uniaxial(stretch, stress):
    """Nominal field and cross stretch of a film under a nominal dead stress S/μ along ``stretch``.

    λ2² = λ1² - S λ1 and e² = λ1⁻² - λ1⁻⁶ / (λ1 - S)²: own derivation from the same energy.
    """
    across = np.sqrt(stretch**2 - stress * stretch)
    return np.sqrt(stretch**-2 - stretch**-6 / (stretch - stress) ** 2), across


def outer_radius(B, lz, la):
    """Present outer radius b of an incompressible tube: b² = a² + (B² - A²)/λz."""
    return np.sqrt(la**2 + (B**2 - 1) / lz)


def tube_pressure(B, lz, la):
    """Inner over outer pressure of the purely mechanical tube.

    P/μ = [λz ln(λa/λb) + 1/(2 λb²) - 1/(2 λa²)] / λz². Rivlin, Phil. Trans. A 242, 173 (1949) (from memory).
    """
    lb = outer_radius(B, lz, la) / B
    return (lz * np.log(la / lb) + 1 / (2 * lb**2) - 1 / (2 * la**2)) / lz**2


def _mean_square_hoop(B, lz, la):
    """∫ λ² R dR = ∫ r²/R dR over the wall."""
    return (la**2 - 1 / lz) * np.log(B) + (B**2 - 1) / (2 * lz)


def tube_force(B, lz, la):
    """Reduced axial force F = N - P π a² of the mechanical tube, N the axial force in the wall.

    F = π ∫ (2 λz W_λz - λ W_λ) R/λz dR (Haughton & Ogden, J. Mech. Phys. Solids 27, 179 (1979), from memory);
    for W = (λ² + λz² + λ⁻²λz⁻² - 3)/2 the integrand is 2λz² - λ² - λ⁻²λz⁻², integrated here in closed form.
    """
    b = outer_radius(B, lz, la)
    inverse_square = lz * ((1 - lz * la**2) * np.log(b / la) + lz * (b**2 - la**2) / 2)
    return math.pi / lz * (lz**2 * (B**2 - 1) - _mean_square_hoop(B, lz, la) - inverse_square / lz**2)


def tube_radial_voltage(B, lz, la, pressure=0.0):
    """Nominal field v at which a tube with a radial field is in equilibrium at (λa, λz).

    P = Pmech - V² (1/a² - 1/b²) / (2 ln²(b/a)): own derivation from the stress of an ideal dielectric in the
    field E = V / (r ln(b/a)); the same structure as Melnikov & Ogden, ZAMP 67, 140 (2016).
    """
    b = outer_radius(B, lz, la)
    excess = tube_pressure(B, lz, la) - pressure
    return np.sqrt(2 * np.log(b / la) ** 2 * excess / (la**-2 - b**-2)) / (B - 1)


def tube_radial_force(B, lz, la, v):
    """Reduced axial force with a radial field: F = Fmech - π V² / ln(b/a); own derivation."""
    return tube_force(B, lz, la) - math.pi * (v * (B - 1)) ** 2 / np.log(outer_radius(B, lz, la) / la)


def tube_radial_capacitance(B, lz, la):
    """C = 2π λz / ln(b/a) per drawn length; cylindrical capacitor of length λz L (any textbook)."""
    return 2 * math.pi * lz / np.log(outer_radius(B, lz, la) / la)


def tube_uniform_voltage(B, lz, la, pressure=0.0):
    """Nominal field v at which a tube with a uniform nominal field is in equilibrium at (λa, λz).

    Own derivation: the field adds -v² λ²λz²/2 to W, and P = ∫ W_λ / (λz r) dR, so P = Pmech - v² λz ln(B/A).
    """
    return np.sqrt((tube_pressure(B, lz, la) - pressure) / (lz * np.log(B)))


def tube_uniform_force(B, lz, la, v):
    """Reduced axial force with a uniform nominal field: F = Fmech - π v² λz ∫ λ² R dR; own derivation."""
    return tube_force(B, lz, la) - math.pi * v**2 * lz * _mean_square_hoop(B, lz, la)


def tube_uniform_capacitance(B, lz, la):
    """C = ∫ λ²λz² / (B - A)² 2πR dR per drawn length of one sheet that fills the wall; own derivation."""
    return 2 * math.pi * lz**2 * _mean_square_hoop(B, lz, la) / (B - 1) ** 2


def axial_stretch_without_force(B, la, *, radial):
    """Axial stretch at which a tube under voltage alone (P = 0, F = 0) has the inner stretch λa.

    By bisection.
    """
    voltage, force = (
        (tube_radial_voltage, tube_radial_force) if radial else (tube_uniform_voltage, tube_uniform_force)
    )
    low, high = 1.0 + 1e-12, la**2.0
    for _ in range(80):
        lz = (low + high) / 2
        if force(B, lz, la, voltage(B, lz, la)) < 0:
            low = lz
        else:
            high = lz
    return (low + high) / 2


def sphere_outer_radius(B, la):
    """Present outer radius of an incompressible sphere: b³ = a³ + B³ - A³."""
    return (la**3 + B**3 - 1) ** (1 / 3)


def sphere_pressure(B, la):
    """P/μ = 2/λb + 1/(2 λb⁴) - 2/λa - 1/(2 λa⁴).

    Green & Zerna, Theoretical Elasticity, ch. 3 (from memory).
    """
    lb = sphere_outer_radius(B, la) / B
    return 2 / lb + 1 / (2 * lb**4) - 2 / la - 1 / (2 * la**4)


def sphere_radial_voltage(B, la, pressure=0.0):
    """Nominal field of a sphere with a radial field.

    P = Pmech - V² (1/a⁴ - 1/b⁴) / (2 (1/a - 1/b)²), from E = V / (r² (1/a - 1/b)); own derivation.
    """
    b = sphere_outer_radius(B, la)
    excess = sphere_pressure(B, la) - pressure
    return np.sqrt(2 * (1 / la - 1 / b) ** 2 * excess / (la**-4 - b**-4)) / (B - 1)


def sphere_radial_capacitance(B, la):
    """C = 4π / (1/a - 1/b); spherical capacitor (any textbook)."""
    return 4 * math.pi / (1 / la - 1 / sphere_outer_radius(B, la))


def _over_wall(B, integrand):
    half = (B - 1) / 2
    R = 1 + half * (1 + GAUSS_NODES)
    return half * np.sum(GAUSS_WEIGHTS * integrand(R))


def sphere_uniform_voltage(B, la, pressure=0.0):
    """Nominal field of a sphere with a uniform nominal field.

    Own derivation: the field adds -v² λ⁴/2 to W, and P = ∫ W_λ R/r² dR, so P = Pmech - 2 v² ∫ r/R² dR (by
    Gauss quadrature), r³ = a³ + R³ - A³.
    """
    load = _over_wall(B, lambda R: 2 * (la**3 + R**3 - 1) ** (1 / 3) / R**2)
    return np.sqrt((sphere_pressure(B, la) - pressure) / load)


def sphere_uniform_capacitance(B, la):
    """C = ∫ λ⁴ / (B - A)² 4πR² dR of one sheet that fills the wall (by Gauss quadrature); own derivation."""
    return _over_wall(B, lambda R: 4 * math.pi * (la**3 + R**3 - 1) ** (4 / 3) / R**2) / (B - 1) ** 2


def tube_inner_stresses(B, lz, la, pressure):
    """Cauchy stresses (radial, hoop, axial)/μ at the inner face of the mechanical tube.

    σ_r = -P there; σ_θ - σ_r = λ² - λ_r² and σ_z - σ_r = λz² - λ_r² with λ_r = 1/(λ λz): neo-Hookean,
    incompressible.
    """
    radial = 1 / (la * lz) ** 2
    return np.array([-pressure, la**2 - radial - pressure, lz**2 - radial - pressure])


def sphere_inner_stress(la, pressure):
    """Largest Cauchy stress/μ at the inner face of the mechanical sphere: σ_θ = -P + λ² - λ⁻⁴."""
    return la**2 - la**-4 - pressure
