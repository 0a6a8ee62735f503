# SPDX-License-Identifier: MIT
"""Energies of the cells of a part per reference volume."""

import ufl
from ufl.core.expr import Expr

from annelid.solver.energy import kinematics
from annelid.solver.energy.discretisation import Discretisation
from annelid.solver.energy.laws import ENERGIES, fibre_family
from annelid.solver.energy.properties import CellGroup

# Below 3 in quadrilaterals and hexahedra, and without it in tetrahedra, a thick tube under suction has
# spurious modes; larger values make coarse meshes too stiff (tests/solver/test_compression.py).
STABILISATION = {"quad9": 5.0, "hexahedron27": 5.0, "tetra10": 2.0}
"""Factor c of the stabilisation by cell type."""


class CellEnergies(Discretisation):
    """The energies of cells, each of a group with one law, at a deformation gradient F."""

    def unfolded(self, F: Expr) -> Expr:
        """Deformation tensor Cw = FᵀF + D of the material of walls that fold."""
        assert self.folds is not None
        return F.T * F + self.folds.tensor(self.frame)

    def elastic(self, group: CellGroup, F: Expr) -> kinematics.Strain:
        """Strain of the elastic deformation; where walls fold, of Ce = G⁻ᵀ Cw G⁻¹."""
        if not group.folds:
            return kinematics.strain_of(self.elastic_gradient(group, F), self.uncoupled, self.frame)
        C = self.unfolded(F)
        if self.fields.natural is not None:
            G = kinematics.natural_inverse(self.fields.natural, self.frame)
            C = G.T * C * G
        return kinematics.strain_of_tensor(C, self.frame)

    def elastic_gradient(self, group: CellGroup, F: Expr) -> Expr:
        """Fe = F F0⁻¹ G⁻¹ of the place of a wall; F0 is 1 where nothing was deposited."""
        if group.deposited:
            F = F * ufl.inv(self._deposition_gradient())
        if self.fields.natural is not None:
            F = F * kinematics.natural_inverse(self.fields.natural, self.frame)
        return F

    def _deposition_gradient(self) -> Expr:
        """F0 = 1 + Grad u0 of deposited parts."""
        assert self.deposition is not None
        return ufl.Identity(3) + self.gradient(self.deposition)

    def growth(self, *, deposited: bool) -> Expr:
        """Stress-free over reference volume."""
        return self.fields.det_G * ufl.det(self._deposition_gradient()) if deposited else self.fields.det_G

    def stored_energy(self, group: CellGroup, F: Expr) -> Expr:
        """ψ(Fe) of some cells with their electrode film and fibres, per stress-free volume."""
        strain = self.elastic(group, F)
        law = group.law
        ψ = ENERGIES[law](strain, *self.fields.law_arguments(law))
        if self.fields.film is not None:
            fraction, μ = self.fields.film
            ψ = (1 - fraction) * ψ + fraction * μ / 2 * (strain.I1 - 3)
        if self.fields.fibres is not None:
            ψ += self._fibre_energy(strain)
        return ψ

    def strain_energy(self, group: CellGroup, F: Expr) -> Expr:
        """Energy det G [ψ + β/2 (Je - 1)² + p²/(2(κ - β))] per reference volume; p = (κ - β)(1 - Je)."""
        ψ = self.stored_energy(group, F)
        if group.compressible:
            ψ += self.fields.bulk_modulus / 2 * (self.elastic(group, F).J - 1) ** 2
        ψ += self.fields.compliance / 2 * self.unknowns[1] ** 2
        return self.growth(deposited=group.deposited) * ψ

    def stabilisation(self, group: CellGroup, F: Expr) -> Expr:
        """Energy det G c ψ/2 (Je - 1)² per reference volume, zero in compressible parts.

        It is zero in the exact solution. The pressure unknown makes only the mean of Je - 1 in a cell zero;
        without this term, its fluctuation in a cell has spurious modes under large compression. In
        compressible parts β prevents them.
        """
        if group.compressible:
            return ufl.as_ufl(0)
        c = STABILISATION[self.model.body.cell_type]
        growth = self.growth(deposited=group.deposited)
        return growth * c / 2 * self.stored_energy(group, F) * (self.elastic(group, F).J - 1) ** 2

    def pressure(self, group: CellGroup, F: Expr) -> Expr:
        """Pressure p - β (Je - 1), MPa; p itself in incompressible parts."""
        p = self.unknowns[1]
        if not group.compressible:
            return p
        return p - self.fields.bulk_modulus * (self.elastic(group, F).J - 1)

    def nominal_field(self) -> Expr | None:
        """E0 in the reference configuration, kV/mm; ``None`` without electrodes."""
        if not self.model.electrodes:
            return None
        if self.model.solved_potential:
            return -kinematics.scalar_gradient(self.unknowns[2], self.model.axisymmetric)
        return self.fields.sheet_field * self.frame[0]

    def field_energy(self, group: CellGroup, F: Expr) -> Expr | None:
        """½ ε J |F⁻ᵀ E0|² per reference volume, mJ/mm³; ``None`` without electrodes."""
        E0 = self.nominal_field()
        if E0 is None:
            return None
        return self.fields.permittivity / 2 * self._field_measure(F, E0, group.folds, group.deposited)

    def sheet_capacity(self, *, deposited: bool = False) -> Expr:
        """ε J |F⁻ᵀ n|² per reference volume, N/kV²: twice the energy at a unit nominal field along n."""
        folds = self.folds is not None
        return self.fields.permittivity * self._field_measure(self.F, self.frame[0], folds, deposited)

    def _field_measure(self, F: Expr, E0: Expr, folds: bool, deposited: bool) -> Expr:
        growth = self.growth(deposited=deposited)
        if folds:
            return kinematics.field_measure_of_tensor(self.unfolded(F), E0, growth)
        return kinematics.field_measure(F, E0, growth)

    def density(self, group: CellGroup, F: Expr) -> Expr:
        """Potential det G [ψ + β/2 (Je - 1)² - p (Je - 1) - p²/(2(κ - β))] - ½ ε J |F⁻ᵀ E0|² of cells."""
        growth, p = self.growth(deposited=group.deposited), self.unknowns[1]
        Je = self.elastic(group, F).J
        W = self.strain_energy(group, F) - growth * p * (Je - 1 + self.fields.compliance * p)
        U = self.field_energy(group, F)
        return W if U is None else W - U

    def potential_density(self, group: CellGroup, F: Expr) -> Expr:
        """``density`` with the stabilisation and the residual stiffness η μ |D|²/8 of folds."""
        W = self.density(group, F) + self.stabilisation(group, F)
        if group.folds:
            assert self.folds is not None
            D = self.folds.D
            W += self.growth(deposited=group.deposited) * self.fields.fold_stiffness / 8 * ufl.inner(D, D)
        return W

    def weight_work(self, group: CellGroup, g: Expr, u: Expr) -> Expr:
        """Work det G ρ g·u of the weight of some cells, less the buoyancy, per reference volume."""
        return self.growth(deposited=group.deposited) * self.fields.density * ufl.inner(g, self.in_plane(u))

    def _fibre_energy(self, strain: kinematics.Strain) -> Expr:
        assert self.fields.fibres is not None
        assert self.fields.fibre_fraction is not None
        along, across, k1, k2 = self.fields.fibres
        _, hoop, axial = self.frame
        pair = [fibre_family(strain, k1, k2, along * hoop + sign * across * axial) for sign in (1, -1)]
        fraction = self.fields.fibre_fraction
        return fraction * pair[0] + (1 - fraction) * pair[1]
