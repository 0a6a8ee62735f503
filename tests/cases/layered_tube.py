# SPDX-License-Identifier: MIT
"""Long layered tubes solved by quadrature over the radius: an independent solution of the library cases.

Own derivation from the textbook balance of a long incompressible tube (Rivlin, Phil. Trans. A 242, 173, 1949;
from memory): with r² = a² + (R² - A²)/λz and the energy W(λθ, λz) of each layer, σθ - σr = λθ ∂W/∂λθ and
σz - σr = λz ∂W/∂λz, hence the pressure P(a, λz) and the axial force N - P π a², which is the same in all
zones.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import root

Energy = Callable[[np.ndarray, float], np.ndarray]
EPS0 = 8.8541878128e-6  # N/kV², CODATA 2018


@dataclass(frozen=True)
class Ring:
    """One layer of a zone: radii in mm and W(λθ, λz) in MPa."""

    inner: float
    outer: float
    energy: Energy


@dataclass(frozen=True)
class Zone:
    """A part of the tube: drawn length in mm, layers, stiffness of the foundation outside in MPa/mm."""

    length: float
    rings: Sequence[Ring]
    foundation: float = 0.0

    def balance(self, a: float, lz: float) -> tuple[float, float]:
        """Return the inner pressure (MPa) and the axial force N - P π a² (N) of a state."""
        A, B = self.rings[0].inner, self.rings[-1].outer
        pressure, force = 0.0, 0.0
        nodes, weights = np.polynomial.legendre.leggauss(12)
        for ring in self.rings:
            half = (ring.outer - ring.inner) / 2
            R = ring.inner + half * (1 + nodes)
            r = np.sqrt(a**2 + (R**2 - A**2) / lz)
            lt, h = r / R, 1e-20
            W_t = ring.energy(lt + 1j * h, lz).imag / h  # exact up to rounding, as the root search needs
            W_z = ring.energy(lt, lz + 1j * h).imag / h
            pressure += half * weights @ (lt * W_t * R / (lz * r**2))
            force += np.pi * half * weights @ ((2 * lz * W_z - lt * W_t) * R / lz)
        b = np.sqrt(a**2 + (B**2 - A**2) / lz)
        outside = self.foundation * (b - B) * B / (b * lz)
        return pressure + outside, force - np.pi * outside * b**2


def inner_radii(zones: Sequence[Zone], pressure: float) -> list[float]:
    """Return the inner radius of every zone of a tube with fixed ends."""
    length = sum(zone.length for zone in zones)
    count = len(zones)

    def defect(x):
        radii, stretches = x[:count] * zones[0].rings[0].inner, x[count:]
        states = [zone.balance(a, lz) for zone, a, lz in zip(zones, radii, stretches, strict=True)]
        forces = [force for _, force in states]
        total = sum(zone.length * lz for zone, lz in zip(zones, stretches, strict=True))
        return [p - pressure for p, _ in states] + [f - forces[0] for f in forces[1:]] + [total / length - 1]

    solution = root(defect, np.ones(2 * count), tol=1e-12)
    assert solution.success, solution.message
    return list(solution.x[:count] * zones[0].rings[0].inner)


def elastic(psi: Callable[..., np.ndarray], *, hoop: float = 1.0, axial: float = 1.0) -> Energy:
    """Return W of a layer with natural stretches; psi is a function of the elastic stretches (h, z, n)."""

    def energy(lt, lz):
        return psi(lt / hoop, lz / axial, hoop * axial / (lt * lz))

    return energy


def charged(energy: Energy, *, permittivity: float, field: float) -> Energy:
    """Return W of a layer under voltage: minus ½ ε E² with the true field E = E0/λn and λn = 1/(λθ λz)."""

    def total(lt, lz):
        return energy(lt, lz) - permittivity * EPS0 / 2 * (field * lt * lz) ** 2

    return total


def neo_hookean(mu):
    return lambda h, z, n: mu / 2 * (h**2 + z**2 + n**2 - 3)


def mooney_rivlin(c1, c2):
    return lambda h, z, n: c1 * (h**2 + z**2 + n**2 - 3) + c2 * (h**-2 + z**-2 + n**-2 - 3)


def yeoh(c1, c2, c3):
    def psi(h, z, n):
        e = h**2 + z**2 + n**2 - 3
        return c1 * e + c2 * e**2 + c3 * e**3

    return psi


def gent(mu, limit):
    return lambda h, z, n: -mu * limit / 2 * np.log(1 - (h**2 + z**2 + n**2 - 3) / limit)


def ogden(moduli, exponents):
    def psi(h, z, n):
        return sum(m / a * (h**a + z**a + n**a - 3) for m, a in zip(moduli, exponents, strict=True))

    return psi


def fibres(k1, k2, degrees):
    """Return psi of two fibre families, each with half of the stiffness, which carry only tension."""
    c, s = np.cos(np.radians(degrees)) ** 2, np.sin(np.radians(degrees)) ** 2

    def psi(h, z, n):
        stretch = np.maximum(c * h**2 + s * z**2 - 1, 0.0)
        return k1 / (2 * k2) * (np.exp(k2 * stretch**2) - 1)

    return psi
