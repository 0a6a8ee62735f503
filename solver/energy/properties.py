# SPDX-License-Identifier: MIT
"""Cell-wise parameter fields of a model: values enter the forms as data, never as code."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import ufl
from dolfinx import fem
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray
from annelid.solver.energy.kinematics import gradient_matrix, natural_matrix
from annelid.solver.energy.mesh import MeshedBody
from annelid.solver.energy.stretch_fields import components, natural_stretch, unstretched
from annelid.solver.model.material import EPS0, LAWS
from annelid.solver.model.parts import RESIDUAL_STIFFNESS, Part

if TYPE_CHECKING:
    from annelid.solver.model.model import Model

# Without it, or below 1, a compressible thick tube under suction has spurious modes; much larger values make
# coarse meshes too stiff (tests/solver/test_compression.py).
DIRECT_BULK_MODULUS = 3.0
"""Largest bulk modulus that acts without the pressure unknown, over the shear modulus."""


class CellGroup(NamedTuple):
    """Cells of one law, which one form serves.

    Attributes:
        law: Name of the material law.
        cells: Local numbers of the cells this rank owns.
        deposited: Whether they were deposited on the rest of the part, stress-free in its balance as drawn.
        compressible: Whether they have a bulk modulus.
        folds: Whether they carry no compression in the plane of the wall.
    """

    law: str
    cells: NDArray[np.int32]
    deposited: bool
    compressible: bool
    folds: bool


@dataclass
class Properties:
    """Parameter fields (piecewise constant) and the cells of each law.

    Attributes:
        groups: The local cells of each law in use, those of deposited and of compressible parts separately.
        law_parameters: Parameters of the laws in order, shared by all laws.
        terms: Largest number of Ogden terms.
        bulk_modulus: β, MPa; 0 where incompressible.
        compliance: 1/(κ - β), 1/MPa; 0 where incompressible.
        det_G: Stress-free over reference volume.
        natural: Natural stretch (normal, hoop, axial, and the shears where it varies), or ``None`` when no
            part has any.
        film: Electrode film (volume fraction, shear modulus), or ``None``.
        fibres: (cos, sin of the angle from hoop, k1, k2), or ``None``.
        fibre_fraction: Fraction of the +angle family: ½ for a balanced pair, 1 for one family.
        permittivity: ε, N/kV²; 0 in parts without sheets, which carry no field.
        sheet_field: Nominal field V/t of the layered model, kV/mm.
        foundation_stiffness: One constant for each foundation, MPa/mm.
        obstacles: Position of each obstacle, mm, one constant for each contact as a cell-wise field.
        fold_stiffness: Stiffness η μ of the folds of parts that fold, MPa; ``None`` where there are none.
        density: Density less that of the fluid around, t/mm³; ``None`` where no part has a known mass.
        full_natural: Natural stretch at full value, laid out like ``natural``, which ramps to it, one row a
            component.
    """

    groups: list[CellGroup]
    law_parameters: list[fem.Function]
    terms: int
    bulk_modulus: fem.Function
    compliance: fem.Function
    det_G: Any
    natural: tuple[fem.Function, ...] | None
    film: tuple[fem.Function, fem.Function] | None
    fibres: tuple[fem.Function, ...] | None
    fibre_fraction: fem.Function | None
    permittivity: fem.Function
    sheet_field: fem.Function
    foundation_stiffness: list[fem.Constant]
    obstacles: list[fem.Function]
    fold_stiffness: fem.Function | None
    density: fem.Function | None
    full_natural: FloatArray

    def law_arguments(self, law: str) -> tuple[Any, ...]:
        """Arguments of a law's energy after the strain."""
        if law == "ogden":
            n = self.terms
            return ufl.as_vector(self.law_parameters[:n]), ufl.as_vector(self.law_parameters[n : 2 * n])
        return tuple(self.law_parameters[: len(LAWS[law].parameters)])

    def set_natural(self, fraction: float) -> None:
        """Ramp the natural stretch: G = 1 + fraction (G_full - 1)."""
        for f, none, change in self.natural_changes():
            f.x.array[:] = none + fraction * change

    def natural_changes(self) -> Iterator[tuple[fem.Function, float, FloatArray]]:
        """Each component of the natural stretch with its value where there is none, and G_full - 1."""
        for f, full, none in zip(
            self.natural or (), self.full_natural, unstretched(len(self.full_natural)), strict=False
        ):
            yield f, none, full - none


class _Cells:
    """Makes cell-wise functions of a model."""

    def __init__(self, model: "Model", mesh: MeshedBody) -> None:
        self._model = model
        self._mesh = mesh
        self.space = fem.functionspace(mesh.domain, ("DG", 0))

    def spread(self, value: Callable[[Part], float]) -> FloatArray:
        """A value by part in every body cell."""
        values = np.zeros(len(self._model.body.cells))
        for part in self._model.parts:
            values[self._model.body.regions[part.region]] = value(part)
        return values

    def function(self, values: FloatArray | float) -> fem.Function:
        """A function of values in every body cell, or of one for all."""
        f = fem.Function(self.space)
        f.x.array[:] = np.broadcast_to(values, len(self._model.body.cells))[self._mesh.original_cells]
        return f

    def of_parts(self, value: Callable[[Part], float]) -> fem.Function:
        """A function of a value by part."""
        return self.function(self.spread(value))


def properties_of(model: "Model", mesh: MeshedBody) -> Properties:
    """Fill the parameter fields of a model on its mesh."""
    cells = _Cells(model, mesh)
    groups = _groups(model, mesh)
    terms = max(
        (len(p.material.terms("moduli")) for p in model.parts if p.material.law == "ogden"), default=0
    )
    numbers = range(_parameter_count({group.law for group in groups}, terms))
    count = components(model)
    natural_space = fem.functionspace(mesh.domain, ("DG", 1)) if count > 3 else cells.space
    full = _full_natural(model, mesh, natural_space, count)
    natural = _natural(natural_space, count) if np.any(unstretched(count) != full.T) else None
    return Properties(
        groups=groups,
        law_parameters=[cells.of_parts(partial(_law_parameter, i=i, terms=terms)) for i in numbers],
        terms=terms,
        bulk_modulus=cells.of_parts(lambda p: _bulk_moduli(p)[0]),
        compliance=cells.of_parts(lambda p: 1 / _bulk_moduli(p)[1]),
        det_G=_volume(natural) if natural else 1,
        natural=natural,
        film=_film(model, cells),
        fibres=_fibres(model, cells),
        fibre_fraction=cells.of_parts(lambda p: 0.5 if p.fibres and p.fibres.families == 2 else 1.0)
        if any(p.fibres for p in model.parts)
        else None,
        permittivity=cells.of_parts(lambda p: EPS0 * p.material.permittivity if p.sheets else 0.0),
        sheet_field=cells.function(0.0),
        foundation_stiffness=[fem.Constant(mesh.domain, f.stiffness) for f in model.foundations],
        obstacles=[cells.function(contact.position) for contact in model.contacts],
        fold_stiffness=cells.of_parts(_fold_stiffness) if any(p.folds for p in model.parts) else None,
        density=cells.of_parts(lambda p: _relative_density(p, model)) if model.has_weight else None,
        full_natural=full,
    )


def _groups(model: "Model", mesh: MeshedBody) -> list[CellGroup]:
    """The cells of each law, those of deposited, compressible and folding parts separately."""
    regions: dict[tuple[str, bool, bool, bool], list[IntArray]] = {}
    for part in model.parts:
        compressible = part.material.bulk_modulus is not None
        kind = part.material.law, part.region in model.deposited, compressible, part.folds
        regions.setdefault(kind, []).append(model.body.regions[part.region])
    laws = list(LAWS)
    return [
        CellGroup(kind[0], mesh.cells_of(np.concatenate(regions[kind])), *kind[1:])
        for kind in sorted(regions, key=lambda kind: (laws.index(kind[0]), *kind[1:]))
    ]


def _relative_density(part: Part, model: "Model") -> float:
    return part.material.density - model.fluid_density if part.material.density else 0.0


def _bulk_moduli(part: Part) -> tuple[float, float]:
    """β = d μ κ/(κ + d μ), which acts at each point, and κ - β, which acts through p, MPa."""
    κ, limit = part.material.bulk_modulus, DIRECT_BULK_MODULUS * part.material.initial_shear_modulus()
    return (0.0, math.inf) if κ is None else (limit * κ / (κ + limit), κ**2 / (κ + limit))


def _fold_stiffness(part: Part) -> float:
    return RESIDUAL_STIFFNESS * part.material.initial_shear_modulus() if part.folds else 0.0


def _natural(space: fem.FunctionSpace, components: int) -> tuple[fem.Function, ...]:
    """No natural stretch: what a path begins with."""
    natural = tuple(fem.Function(space) for _ in range(components))
    for f, none in zip(natural, unstretched(components), strict=True):
        f.x.array[:] = none
    return natural


def _volume(natural: tuple[fem.Function, ...]) -> Any:
    """Stress-free over reference volume, det G."""
    normal, hoop, axial, *shears = natural
    if not shears:
        return normal * hoop * axial
    if len(natural) == 9:
        return ufl.det(gradient_matrix(natural))
    if len(shears) == 1:
        return hoop * (normal * axial - shears[0] ** 2)
    return ufl.det(natural_matrix(natural))


def _parameter_count(laws: set[str], terms: int) -> int:
    return max(2 * terms if law == "ogden" else len(LAWS[law].parameters) for law in laws)


def _full_natural(model: "Model", mesh: MeshedBody, space: fem.FunctionSpace, count: int) -> FloatArray:
    """Natural stretch at full value, laid out like its space, (count, k): one a cell or corner of it."""
    dofs = space.dofmap.list
    index_map = space.dofmap.index_map
    full = np.tile(unstretched(count)[:, None], (1, index_map.size_local + index_map.num_ghosts))
    values = natural_stretch(model, mesh.original_cells, mesh.order[: dofs.shape[1]], count)
    full[:, dofs] = np.moveaxis(values, -1, 0)
    return full


def _law_parameter(part: Part, i: int, terms: int) -> float:
    """Law parameter i of a part: in order; Ogden moduli, then exponents, padded by zero terms."""
    if part.material.law != "ogden":
        names = LAWS[part.material.law].parameters
        return part.material.scalar(names[i]) if i < len(names) else 0.0
    name, p = ("moduli", i) if i < terms else ("exponents", i - terms)
    values = part.material.terms(name)
    return values[p] if p < len(values) else (0.0 if name == "moduli" else 2.0)


def _film(model: "Model", cells: _Cells) -> tuple[fem.Function, fem.Function] | None:
    if not any(p.electrode_film for p in model.parts):
        return None
    in_bands = np.zeros(len(model.body.cells))
    for band in model.body.bands.values():
        in_bands[band] = 1.0
    fraction = cells.spread(lambda p: p.electrode_film.volume_fraction if p.electrode_film else 0.0)
    modulus = cells.of_parts(lambda p: p.electrode_film.shear_modulus if p.electrode_film else 0.0)
    return cells.function(fraction * in_bands), modulus


def _fibres(model: "Model", cells: _Cells) -> tuple[fem.Function, ...] | None:
    if not any(p.fibres for p in model.parts):
        return None
    angle = np.deg2rad(cells.spread(lambda p: p.fibres.angle if p.fibres else 0.0))
    k1 = cells.of_parts(lambda p: p.fibres.stiffness if p.fibres else 0.0)
    k2 = cells.of_parts(lambda p: p.fibres.stiffening if p.fibres else 1.0)
    return cells.function(np.cos(angle)), cells.function(np.sin(angle)), k1, k2
