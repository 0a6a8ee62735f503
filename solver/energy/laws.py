# SPDX-License-Identifier: MIT
"""Stored energies of rubber and soft tissue, per unit stress-free volume.

Every law is a function ψ(strain, parameters) of the isochoric right Cauchy-Green tensor C = J^(-2/3) F^T F
(``strain.C``), so that the pressure unknown is the whole mean stress. Sources are beside each law.
"""

from collections.abc import Callable

import ufl
from ufl.core.expr import Expr

from annelid.solver.energy.kinematics import Strain
from annelid.solver.energy.principal import principal_squares


def neo_hookean(strain: Strain, mu: Expr) -> Expr:
    """ψ = μ/2 (I1 - 3). Treloar, Trans. Faraday Soc. 39, 241 (1943)."""
    return mu / 2 * (strain.I1 - 3)


def mooney_rivlin(strain: Strain, c1: Expr, c2: Expr) -> Expr:
    """ψ = c1 (I1 - 3) + c2 (I2 - 3); μ = 2 (c1 + c2). Rivlin, Phil. Trans. A 241, 379 (1948)."""
    I1 = strain.I1
    I2 = (I1**2 - ufl.tr(strain.C * strain.C)) / 2
    return c1 * (I1 - 3) + c2 * (I2 - 3)


def yeoh(strain: Strain, c1: Expr, c2: Expr, c3: Expr) -> Expr:
    """ψ = Σ c_i (I1 - 3)^i; μ = 2 c1. Yeoh, Rubber Chem. Technol. 66, 754 (1993)."""
    e = strain.I1 - 3
    return c1 * e + c2 * e**2 + c3 * e**3


def gent(strain: Strain, mu: Expr, Jm: Expr) -> Expr:
    """ψ = -μ Jm/2 ln(1 - (I1 - 3)/Jm). Gent, Rubber Chem. Technol. 69, 59 (1996)."""
    return -mu * Jm / 2 * ufl.ln(1 - (strain.I1 - 3) / Jm)


def ogden(strain: Strain, mu: Expr, alpha: Expr) -> Expr:
    """ψ = Σ μp/αp (λ1^αp + λ2^αp + λ3^αp - 3); μ = Σ μp αp / 2. Ogden, Proc. R. Soc. A 326, 565 (1972)."""
    squares = principal_squares(strain.C, strain.axisymmetric)
    logs = [ufl.ln(s) for s in squares]
    return sum(
        mu[p] / alpha[p] * (sum(ufl.exp(alpha[p] / 2 * ln) for ln in logs) - 3)
        for p in range(mu.ufl_shape[0])
    )


def arruda_boyce(strain: Strain, mu: Expr, N: Expr) -> Expr:
    """ψ = μ N (β y + ln(β / sinh β)), y = √(I1/(3N)), β = L⁻¹(y). Arruda, Boyce, JMPS 41, 389 (1993).

    β starts from Kröger's rational approximation (J. Non-Newton. Fluid Mech. 223, 77, 2015) and takes one
    Newton step on L(β) = coth β - 1/β = y; ψ is stationary in β, so the energy errs by less than 1e-10.
    """
    y = ufl.sqrt(strain.I1 / (3 * N))
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


ENERGIES: dict[str, Callable[..., Expr]] = {
    "neo-hookean": neo_hookean,
    "mooney-rivlin": mooney_rivlin,
    "yeoh": yeoh,
    "gent": gent,
    "ogden": ogden,
    "arruda-boyce": arruda_boyce,
    "fung": fung,
}
"""By the name of the law in ``LAWS``; called with the strain and the law's parameters."""
