# SPDX-License-Identifier: MIT
"""The fields that are written, from raw values: principal values, true field, margins of the material."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.wall_directions import wall_frames
from annelid.solver.display import ROUNDING
from annelid.solver.energy.stretch_fields import growth_through, sheet_thickness
from annelid.solver.model.fold_checks import NO_WALL
from annelid.solver.model.material import EPS0
from annelid.solver.model.model import Model
from annelid.solver.model.parts import RESIDUAL_STIFFNESS, Part
from annelid.solver.model.quantities import BREAKDOWN_MARGIN, FOLDED_LENGTHS, TEARING_MARGIN
from annelid.solver.readout.in_plane_stress import least_in_plane_stress

_HOOP, _MERIDIAN = 1, ((0, 0), (2, 2), (0, 2))  # places in an axisymmetric tensor, frame (R, hoop, Z)


@dataclass(frozen=True)
class CellValues:
    """Raw values at the nodes of some cells.

    Attributes:
        cells: Numbers of the m cells in the body.
        stress: Cauchy stress with its Maxwell part, shape (m, k, 3, 3), MPa.
        F: Deformation gradient of the drawn body, shape (m, k, 3, 3).
        elastic: Elastic part Fe of F, shape (m, k, 3, 3).
        field: True electric field F⁻ᵀ E0, shape (m, k, 3), kV/mm.
        pressure: p - β (Je - 1), shape (m, k), MPa.
        folds: Excess lengths (b_h, b_a) in folds around and along the axis, and the compression over η μ that
            the residual stiffness leaves, shape (m, k, 3).
    """

    cells: IntArray
    stress: FloatArray
    F: FloatArray
    elastic: FloatArray
    field: FloatArray
    pressure: FloatArray
    folds: FloatArray


def fields_of(model: Model, values: CellValues, natural: float) -> dict[str, FloatArray]:
    """The fields of ``Equilibrium.fields`` at the nodes of some cells.

    Args:
        model: What was solved.
        values: Raw values there.
        natural: Fraction of the natural stretch in force.

    Returns:
        By name, shape (m, k, ...).
    """
    σ = (values.stress + np.swapaxes(values.stress, -1, -2)) / 2
    frame = wall_frames(model.body, values.cells)
    least = least_in_plane_stress(frame, σ, values.F)
    for part in model.folding:
        cells = np.isin(values.cells, model.body.regions[part.region])
        least[cells] = np.maximum(least[cells], _stress_of_folds(part, values.folds[cells][..., 2]))
    for region in NO_WALL:
        if region in model.body.regions:
            least[np.isin(values.cells, model.body.regions[region])] = np.inf
    fields = {
        "Cauchy stress": σ,
        "largest principal stress": _principal_values(model, σ)[..., 0],
        "least in-plane stress": least,
        "principal stretches": _elastic_stretches(model, values.elastic),
        "pressure": values.pressure,
        "true field": np.linalg.norm(values.field, axis=-1),
        BREAKDOWN_MARGIN.name: _breakdown_margin(model, values, natural, frame),
    }
    if model.scope.has_tearing_limit:
        fields[TEARING_MARGIN.name] = _tearing_margin(model, values, σ, fields["principal stretches"])
    if model.folding:
        folded = values.folds[..., :2] / (1 + values.folds[..., :2])
        fields |= {quantity.name: folded[..., i] for i, quantity in enumerate(FOLDED_LENGTHS)}
    return fields


def _stress_of_folds(part: Part, compression: FloatArray) -> FloatArray:
    """Stress that the residual stiffness leaves along the direction that folds most, MPa.

    Values carried from the integration points to the nodes would go beyond it where slackness ends.
    """
    return -RESIDUAL_STIFFNESS * part.material.initial_shear_modulus() * compression


def _principal_values(model: Model, T: FloatArray) -> FloatArray:
    """Eigenvalues of symmetric tensors, descending, shape (m, k, 3)."""
    if not model.axisymmetric or model.solved_twist:
        return np.linalg.eigvalsh(T)[..., ::-1]
    a, b, c = (T[..., i, j] for i, j in _MERIDIAN)  # a fifth of the time of the general routine
    middle, radius = (a + b) / 2, np.hypot((a - b) / 2, c)
    return -np.sort(-np.stack([middle + radius, T[..., _HOOP, _HOOP], middle - radius], axis=-1), axis=-1)


def _elastic_stretches(model: Model, F: FloatArray) -> FloatArray:
    """Principal stretches of an elastic deformation, descending, shape (m, k, 3)."""
    # Eigenvalues of the square are five times as fast as singular values.
    return np.sqrt(np.maximum(_principal_values(model, np.swapaxes(F, -1, -2) @ F), 0.0))


def _breakdown_margin(model: Model, values: CellValues, natural: float, frame: FloatArray) -> FloatArray:
    """E_b / E at the nodes of the cells; inf where there is no field or no known strength."""
    field = np.linalg.norm(values.field, axis=-1)
    margin = np.full(field.shape, np.inf)
    for part in model.parts:
        if part.material.breakdown is None or part.sheets is None:
            continue
        cells = np.isin(values.cells, model.body.regions[part.region])
        normal = frame[cells][:, :, 0]
        thinning = 1 / np.linalg.norm(
            np.linalg.solve(np.swapaxes(values.F[cells], -1, -2), normal[..., None])[..., 0], axis=-1
        )
        nodes = model.body.cells[values.cells[cells]]
        in_plane = (thinning / (1 + natural * (growth_through(part, nodes) - 1))) ** -0.5
        thickness = thinning * sheet_thickness(model.body, part, nodes)
        limit = part.material.breakdown.strength(in_plane, thickness)
        with np.errstate(divide="ignore"):
            margin[cells] = np.where(field[cells] > ROUNDING, limit / field[cells], np.inf)
    return margin


def _tearing_margin(model: Model, values: CellValues, σ: FloatArray, stretches: FloatArray) -> FloatArray:
    """Margin of tearing at the nodes of the cells; nan where the material gives no limit."""
    margin = np.full(σ.shape[:2], np.nan)
    for part in model.parts:
        tearing = part.material.tearing
        if tearing is None:
            continue
        cells = np.isin(values.cells, model.body.regions[part.region])
        stress = None
        if tearing.strength is not None:
            tensor = _stress_of_rubber(σ[cells], values.field[cells], EPS0 * part.material.permittivity)
            if tearing.strength_is == "nominal":
                tensor = _nominal_stress(tensor, values.elastic[cells])
            stress = np.linalg.eigvalsh(tensor)[..., -1]
        margin[cells] = tearing.margin(stretches[cells][..., 0], stress)
    return margin


def _stress_of_rubber(σ: FloatArray, E: FloatArray, ε: float) -> FloatArray:
    """σ without the Maxwell stress ε (E ⊗ E - E² 1), which has no component along the field.

    A sheet at the same stretch has this stress in a test without voltage: its mean stress adapts to that
    across the sheet, which the field does not change. Own derivation for incompressible materials.
    """
    square = np.einsum("mki,mki->mk", E, E)[..., None, None]
    return σ + ε * (square * np.eye(3) - E[..., :, None] * E[..., None, :])


def _nominal_stress(σ: FloatArray, Fe: FloatArray) -> FloatArray:
    """Biot stress, per stress-free area, along the principal axes of the stretch.

    It is the symmetric part of Rᵀ P with Fe = R U and P = Je σ Fe⁻ᵀ. Its eigenvalues are the singular values
    of P with their signs where σ has the axes of the stretch; unlike them it is negative in compression.
    """
    squares, axes = np.linalg.eigh(np.swapaxes(Fe, -1, -2) @ Fe)
    λ = np.sqrt(np.maximum(squares, np.finfo(float).tiny))
    n = Fe @ axes / λ[..., None, :]
    inverse = 1 / λ
    mean = (inverse[..., :, None] + inverse[..., None, :]) / 2
    return λ.prod(axis=-1)[..., None, None] * mean * (np.swapaxes(n, -1, -2) @ σ @ n)
