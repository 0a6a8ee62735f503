# SPDX-License-Identifier: MIT
"""Every material law against closed forms and Treloar's data, and in whole runs."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import dolfinx
import numpy as np
import pytest
import ufl
from dolfinx import fem
from exact import homogeneous, treloar
from models import cylinder_body, last_of, neo_hookean, reached, value
from mpi4py import MPI

from annelid.solver.energy import forms
from annelid.solver.energy.kinematics import strain_of
from annelid.solver.energy.laws import ENERGIES
from annelid.solver.model.boundary import Support
from annelid.solver.model.material import LAWS, Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

MPA = 0.0980665  # 1 kgf/cm²
# Ogden, Proc. R. Soc. A 326, 565 (1972), from memory: μp = 6.3, 0.012, -0.1 kgf/cm², αp = 1.3, 5, -2.
OGDEN_1972 = {"moduli": (6.3 * MPA, 0.012 * MPA, -0.1 * MPA), "exponents": (1.3, 5.0, -2.0)}
EXAMPLES = {
    "neo-hookean": {"shear_modulus": 0.4},
    "mooney-rivlin": {"c1": 0.2, "c2": 0.05},
    "yeoh": {"c1": 0.1786, "c2": -0.00197, "c3": 4.72e-5},
    "gent": {"shear_modulus": 0.3, "stretch_limit": 97.2},
    "ogden": OGDEN_1972,
    "arruda-boyce": {"shear_modulus": 0.27, "chain_links": 26.5},
    "fung": {"stiffness": 0.01, "fibre": 1.0, "cross": 2.0, "shear": 4.0},
}
CLOSED_FORM = 1e-7  # relative; Ogden's law rounds off equal stretches at 1e-5, which costs 1e-9


class Compiled:
    """A law's energy as the solver compiles it, with first and second derivative, at a uniform F."""

    def __init__(self, law: str, axisymmetric: bool) -> None:
        mesh = dolfinx.mesh.create_interval(MPI.COMM_SELF, 1, (0.0, 1.0))
        example = list(EXAMPLES[law].values())
        self._F = fem.Constant(mesh, np.eye(3))
        self._H = fem.Constant(mesh, np.zeros((3, 3)))
        self._parameters = [fem.Constant(mesh, np.asarray(p, dtype=float)) for p in example]
        frame = tuple(ufl.as_vector([float(i == j) for j in range(3)]) for i in range(3))
        F = ufl.variable(self._F)
        energy = ENERGIES[law](strain_of(F, axisymmetric, frame), *self._parameters)
        P = ufl.diff(energy, F)
        curvature = ufl.inner(ufl.diff(ufl.inner(P, self._H), F), self._H)
        every = ufl.as_vector([energy, *(P[i, j] for i in range(3) for j in range(3)), curvature])
        # As a form: the form compiler finds its forms again in the cache, but not all of its expressions.
        test = ufl.TestFunction(fem.functionspace(mesh, ("DG", 0, (11,))))
        form = ufl.inner(every, test) * ufl.dx(metadata={"quadrature_degree": 0})
        self._form = forms.compile_forms(form, flags=STRAIGHT)

    def __call__(self, F: np.ndarray, H: np.ndarray | None = None, parameters: dict | None = None) -> tuple:
        """Energy, nominal stress ∂ψ/∂F and the second derivative along H."""
        self._F.value = F
        self._H.value = np.zeros((3, 3)) if H is None else H
        for constant, number in zip(self._parameters, (parameters or {}).values(), strict=False):
            constant.value = number
        v = fem.assemble_vector(self._form).array
        return v[0], v[1:10].reshape(3, 3), v[10]


# Without loops, code is as fast without optimisation, which takes 13 s for Ogden's law in 3-D.
STRAIGHT = ("-O0", "-ffast-math", "-fno-finite-math-only")
BOTH = pytest.mark.parametrize("axisymmetric", [True, False], ids=["axisymmetric", "solid"])


@pytest.fixture(scope="module")
def compiled():
    kept = {}

    def get(law: str, axisymmetric: bool) -> Compiled:
        if (law, axisymmetric) not in kept:
            kept[law, axisymmetric] = Compiled(law, axisymmetric)
        return kept[law, axisymmetric]

    return get


def stress(law: Compiled, mode: str, λ: float, parameters: dict, axes: tuple[int, int, int]) -> float:
    """Nominal stress along the first principal direction, the last one free (p from S_free = 0)."""
    stretches = np.ones(3)
    stretches[list(axes)] = homogeneous.STRETCHES[mode](λ)
    P = law(np.diag(stretches), parameters=parameters)[1]
    first, free = axes[0], axes[2]
    return P[first, first] - P[free, free] * stretches[free] / stretches[first]


@pytest.mark.exact
@BOTH
@pytest.mark.parametrize("law", [name for name in LAWS if name != "fung"])
@pytest.mark.parametrize("mode", homogeneous.MODES)
def test_stress_is_the_closed_form(compiled, law, mode, axisymmetric):
    energy = compiled(law, axisymmetric)
    for λ in (0.8, 1.0001, 1.1, 1.5, 2.5, 4.0):
        exact = homogeneous.nominal_stress(law, EXAMPLES[law], mode, λ)
        for axes in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
            found = stress(energy, mode, λ, EXAMPLES[law], axes)
            assert found == pytest.approx(exact, rel=CLOSED_FORM, abs=1e-9), (λ, axes)


@pytest.mark.exact
@BOTH
def test_fung_stress_is_the_closed_form(compiled, axisymmetric):
    p = EXAMPLES["fung"]
    energy = compiled("fung", axisymmetric)
    axes = {"uniaxial": (2, 0, 1), "biaxial": (0, 1, 2), "shear": (2, 1, 0)}  # the fibre lies along axis 2
    for mode, order in axes.items():
        for λ in (0.85, 1.1, 1.3):
            exact = homogeneous.nominal_stress("fung", p, mode, λ)
            assert stress(energy, mode, λ, p, order) == pytest.approx(exact, rel=1e-10)


@pytest.mark.exact
def test_fung_shear_terms(compiled):
    """Simple shears γ from f to s: Efs = γ/2, and E along the sheared direction γ²/2; own derivation."""
    p = EXAMPLES["fung"]
    γ = 0.3
    F = np.eye(3)
    F[0, 2] = γ  # e_Z (the fibre) leans towards e_R
    E = (F.T @ F - np.eye(3)) / 2
    Q = p["fibre"] * E[2, 2] ** 2 + 2 * p["shear"] * E[0, 2] ** 2
    assert E[0, 2] == pytest.approx(γ / 2)
    assert compiled("fung", False)(F, parameters=p)[0] == pytest.approx(
        p["stiffness"] / 2 * np.expm1(Q), rel=1e-12
    )
    F = np.eye(3)
    F[0, 1] = γ  # across the fibre
    E = (F.T @ F - np.eye(3)) / 2
    Q = p["cross"] * (E[1, 1] ** 2 + 2 * E[0, 1] ** 2)
    assert compiled("fung", False)(F, parameters=p)[0] == pytest.approx(
        p["stiffness"] / 2 * np.expm1(Q), rel=1e-12
    )


CORNERS = {
    "at rest": (1.0, 1.0, 1.0),
    "two equal": (1.3, 1.3, 0.6),
    "other two equal": (1.5, 0.8, 0.8),
    "nearly equal": (1.3, 1.3 + 1e-6, 0.6),
    "within the rounding": (1.3, 1.3 + 3e-5, 0.6),
    "three nearly equal": (1.0, 1.0 + 1e-6, 1.0 - 1e-6),
    "all apart": (1.7, 1.1, 0.5),
}
DIRECTIONS = {
    True: np.array([[0.3, 0, -0.5], [0, 0.7, 0], [0.4, 0, -0.6]]),
    False: np.array([[0.3, 0.2, -0.5], [0.1, 0.7, 0.25], [0.4, -0.35, -0.6]]),
}


def turned(stretches: tuple[float, float, float], axisymmetric: bool) -> np.ndarray:
    """F with given stretches, principal directions turned out of the axes (in the meridian, or anywhere)."""
    c, s = np.cos(0.4), np.sin(0.4)
    Q = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
    if not axisymmetric:
        Q = Q @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])
    return Q @ np.diag(stretches) @ Q.T


@BOTH
@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("law", ["ogden", "arruda-boyce"])
def test_second_derivative_where_stretches_meet(compiled, law, corner, axisymmetric):
    """The tangent against central differences of the stress, and the stress against those of the energy."""
    energy, p = compiled(law, axisymmetric), EXAMPLES[law]
    F, H = turned(CORNERS[corner], axisymmetric), DIRECTIONS[axisymmetric]
    _, P, curvature = energy(F, H, p)
    h = 3e-4  # well above the rounding of equal stretches
    up, down = (energy(F + sign * h * H, H, p) for sign in (1, -1))
    assert np.sum(P * H) == pytest.approx((up[0] - down[0]) / (2 * h), abs=2e-6)
    slope = np.sum((up[1] - down[1]) * H) / (2 * h)
    assert abs(slope) > 0.05
    assert curvature == pytest.approx(slope, rel=2e-4)


@BOTH
def test_ogden_contains_neo_hookean_and_mooney_rivlin(compiled, axisymmetric):
    """α = 2 is neo-Hookean with μ1, α = -2 adds c2 = -μ2/2; also where stretches are equal."""
    ogden = compiled("ogden", axisymmetric)
    mooney = compiled("mooney-rivlin", axisymmetric)
    for corner in CORNERS.values():
        F, H = turned(corner, axisymmetric), DIRECTIONS[axisymmetric]
        a = ogden(F, H, {"moduli": (0.4, 0.0, -0.1), "exponents": (2.0, 5.0, -2.0)})
        b = mooney(F, H, {"c1": 0.2, "c2": 0.05})
        assert a[0] == pytest.approx(b[0], abs=1e-9)
        assert np.allclose(a[1], b[1], rtol=0, atol=1e-8)
        assert a[2] == pytest.approx(b[2], rel=2e-5)


# Least-squares fits of relative residuals to the data below, recomputed for these tests by an independent
# program: law, parameters, rms of the nominal stress in MPa over (uniaxial, biaxial, shear).
FITS = {
    "gent to uniaxial": (
        "gent",
        {"shear_modulus": 0.298436, "stretch_limit": 94.3934},
        (0.2378, 0.1573, 0.0848),
    ),
    "gent to all": ("gent", {"shear_modulus": 0.33021, "stretch_limit": 108.97}, (0.3646, 0.1077, 0.1500)),
    "yeoh to uniaxial": (
        "yeoh",
        {"c1": 0.178583, "c2": -0.00197112, "c3": 4.71881e-05},
        (0.1052, 0.2725, 0.0824),
    ),
    "yeoh to all": (
        "yeoh",
        {"c1": 0.185154, "c2": -0.00144856, "c3": 3.97319e-05},
        (0.1504, 0.1883, 0.0344),
    ),
    "arruda-boyce to uniaxial": (
        "arruda-boyce",
        {"shear_modulus": 0.298828, "chain_links": 26.9129},
        (0.1249, 0.1842, 0.0645),
    ),
    "arruda-boyce to all": (
        "arruda-boyce",
        {"shear_modulus": 0.326441, "chain_links": 28.8626},
        (0.2298, 0.1237, 0.1319),
    ),
    "mooney-rivlin to uniaxial": (
        "mooney-rivlin",
        {"c1": 0.211811, "c2": -0.0551706},
        (1.1358, 4.3864, 0.0899),
    ),
    "mooney-rivlin to all": ("mooney-rivlin", {"c1": 0.182828, "c2": 0.00352606}, (1.3004, 0.0675, 0.1089)),
    "ogden to all": (
        "ogden",
        {"moduli": (0.51183, 0.000473052, -0.0164934), "exponents": (1.45267, 5.49256, -1.87435)},
        (0.1732, 0.0222, 0.0359),
    ),
    "ogden 1972": ("ogden", OGDEN_1972, (0.331, 0.056, 0.035)),
}


@pytest.mark.reference
@pytest.mark.parametrize("fit", FITS)
def test_distance_to_treloars_data(compiled, fit):
    law, parameters, expected = FITS[fit]
    energy = compiled(law, True)
    for mode, rms in zip(("uniaxial", "biaxial", "shear"), expected, strict=True):
        stretches, measured = treloar.DATA[mode].T
        found = [stress(energy, mode, λ, parameters, (2, 1, 0)) for λ in stretches]
        assert np.sqrt(np.mean((found - measured) ** 2)) == pytest.approx(rms, rel=0.01), mode


# Stress of Ogden's 1972 parameters in MPa: stretch, uniaxial, biaxial, shear; recomputed from
# the closed form.
OGDEN_TABLE = (
    (1.1, 0.111144, 0.204358, 0.144016),
    (1.5, 0.393852, 0.590341, 0.472253),
    (2.0, 0.591068, 0.805729, 0.672366),
    (3.0, 0.862913, 1.20691, 0.934012),
    (4.0, 1.18461, 1.86097, 1.2513),
)


@pytest.mark.exact
@pytest.mark.parametrize("row", OGDEN_TABLE, ids=lambda row: str(row[0]))
def test_ogdens_own_parameters(compiled, row):
    energy = compiled("ogden", True)
    for mode, expected in zip(homogeneous.MODES, row[1:], strict=True):
        assert stress(energy, mode, row[0], OGDEN_1972, (2, 1, 0)) == pytest.approx(expected, rel=1e-5)


SLIDING_ENDS = (Support("end_low", "axial"), Support("end_high", "axial"))


def solid(material: Material) -> Model:
    return Model(cylinder_body(2.0, 3.0), (Part("core", material),), SLIDING_ENDS)


@pytest.mark.long
@pytest.mark.exact
@pytest.mark.parametrize("law", LAWS)
def test_cylinder_pulled_and_squeezed(law):
    """A solid cylinder pulled along its axis is in uniaxial tension; flattened, in equal-biaxial tension.

    Flattened to lz = λ⁻² it takes the nominal axial stress (dW/dl) / (dlz/dl) = 2 S_biaxial / (-2 λ⁻³).
    """
    pull, spread = 1.4, 1.2
    model = solid(Material("rubber", law, EXAMPLES[law]))
    states = reached(
        model,
        [
            Stage("pull", displacements={"end_high": 3.0 * (pull - 1)}, steps=2),
            Stage("squeeze", displacements={"end_high": 3.0 * (spread**-2 - 1)}, steps=4),
        ],
    )
    area = np.pi * 2.0**2
    pulled = last_of(states, "pull")
    S = homogeneous.nominal_stress(law, EXAMPLES[law], "uniaxial", pull)
    assert value(pulled, "axial reaction end_high") == pytest.approx(S * area, rel=1e-6)
    assert value(pulled, "axial reaction end_low") == pytest.approx(-S * area, rel=1e-6)
    assert value(pulled, "peak stress") == pytest.approx(S * pull, rel=1e-6)
    assert value(pulled, "mean radial expansion") == pytest.approx(pull**-0.5 - 1, rel=1e-7)
    assert value(pulled, "largest stretch") == pytest.approx(pull, rel=1e-7)
    squeezed = last_of(states, "squeeze")
    S = homogeneous.nominal_stress(law, EXAMPLES[law], "biaxial", spread)
    assert value(squeezed, "axial reaction end_high") == pytest.approx(-S * spread**3 * area, rel=1e-6)
    assert value(squeezed, "mean radial expansion") == pytest.approx(spread - 1, rel=1e-7)
    assert all(s.unstable_modes == 0 for s in states)


@pytest.mark.exact
def test_energy_is_the_work_done():
    """Neo-Hookean cylinder at λ = 1.4: strain energy μ/2 (I1 - 3) times the volume."""
    λ = 1.4
    states = reached(
        solid(neo_hookean(0.7)), [Stage("pull", displacements={"end_high": 3.0 * (λ - 1)}, steps=2)]
    )
    assert value(states[-1], "strain energy") == pytest.approx(
        0.35 * (λ**2 + 2 / λ - 3) * np.pi * 4 * 3, rel=1e-8
    )


@pytest.mark.exact
@pytest.mark.parametrize("kappa", [0.5, 5.0, 500.0])
def test_bulk_modulus(kappa):
    """Compressible uniaxial tension, lateral stretch and stress from the closed form (own derivation)."""
    λ = 1.3
    states = reached(
        solid(neo_hookean(0.8, bulk_modulus=kappa)),
        [Stage("pull", displacements={"end_high": 3.0 * (λ - 1)}, steps=2)],
    )
    t, S = homogeneous.compressible_uniaxial(0.8, kappa, λ)
    assert abs(λ * t**2 - 1) > 1e-4  # the volume does change
    assert value(states[-1], "mean radial expansion") == pytest.approx(t - 1, rel=1e-7)
    assert value(states[-1], "axial reaction end_high") == pytest.approx(S * np.pi * 4, rel=1e-7)


@pytest.mark.parametrize("law", LAWS)
def test_small_strain_modulus(compiled, law):
    """The initial shear modulus is the slope of the law: S' = 3 μ at rest in uniaxial tension."""
    h = 1e-4
    material = Material("rubber", law, EXAMPLES[law])
    order = (0, 1, 2) if law == "fung" else (2, 0, 1)  # Fung: shear across the fibre gives C bt / 2
    energy = compiled(law, True)
    if law == "fung":
        F = np.eye(3)
        F[0, 1] = h
        found = compiled(law, False)(F, parameters=EXAMPLES[law])[0] * 2 / h**2
    else:
        found = stress(energy, "uniaxial", 1 + h, EXAMPLES[law], order) / (3 * h)
    assert material.initial_shear_modulus() == pytest.approx(found, rel=3e-4)
