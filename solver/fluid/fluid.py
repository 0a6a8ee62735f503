# SPDX-License-Identifier: MIT
"""The fluid in the lumen and its flow through a section."""

from dataclasses import dataclass

from annelid.geometry.checks import within
from annelid.solver.fluid.annulus import annular_width
from annelid.solver.fluid.flow_system import Array


@dataclass(frozen=True)
class Fluid:
    """Newtonian fluid, or one of a power law: wall stress τ = K γ^n at the rate of shear γ.

    Below ``slowest`` the power law is replaced by a Newtonian fluid, because its viscosity would be zero or
    infinite at rest.

    Attributes:
        viscosity: η in MPa s, or the consistency K in MPa sⁿ.
        index: Flow index n; 1 is a Newtonian fluid.
        slowest: Rate of shear in 1/s down to which the power law holds.
        density: ρ in t/mm³.
    """

    viscosity: float
    index: float = 1.0
    slowest: float = 1e-3
    density: float = 1e-9

    def __post_init__(self) -> None:
        within("viscosity", self.viscosity, above=0, unit="MPa s")
        within("index", self.index, above=0)
        within("slowest", self.slowest, above=0, unit="1/s")
        within("density", self.density, above=0, unit="t/mm3")

    def flow(self, radii: Array, gradients: Array, core: float = 0.0) -> tuple[Array, Array, Array]:
        """Flow q relative to the wall through round sections under gradients of pressure G = -dp/dz.

        q = B K^(-1/n) τ (τ² + τ0²)^((1/n - 1)/2) with the mean stress τ = (r - c) G/2 on the walls and
        τ0 = K slowestⁿ. In a round tube B is π r³ n/(3n + 1); for n = 1 its flow is π r⁴ G/(8 η).

        Args:
            radii: In mm, shape (m,).
            gradients: In MPa/mm, shape (m,).
            core: Radius c < r of a cylinder on the axis at rest, in mm; 0 without one.

        Returns:
            q in mm³/s, and its derivatives by the gradient and by the radius, each of shape (m,).
        """
        n, K, power = self.index, self.viscosity, 1 / self.index - 1
        width, by_radius = annular_width(radii, core, n)
        τ = (radii - core) * gradients / 2
        s = τ**2 + (K * self.slowest**n) ** 2
        by_width = K ** (-1 / n) * s ** (power / 2) * τ
        by_stress = width * K ** (-1 / n) * s ** (power / 2) * (1 + power * τ**2 / s)
        slope = by_radius * by_width + by_stress * gradients / 2
        return width * by_width, by_stress * (radii - core) / 2, slope
