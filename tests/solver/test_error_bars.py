# SPDX-License-Identifier: MIT
"""Error bars of the solver against true errors: tubes, spheres and dielectric tubes in closed form.

Sources as in test_tubes.py, test_membranes.py and test_dielectric_tube.py; energies by quadrature. The case
has one element through the wall; it is halved twice.
"""

import numpy as np
import pytest
from bar_coverage import check
from dielectric_cases import EPS, MU, RUBBER, sheet, volts
from exact import dielectric, sphere, tube
from models import SLIDING, neo_hookean, reached, tube_body, tube_model, value
from scipy.integrate import quad
from walls import half_sphere

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage

MESHES = (1, 2, 4)
SIZES = (1.0, 0.5, 0.25)


def strain_energy_of_tube(ratio, la, lz, length):
    """∫ μ/2 (I1 - 3) dV of a neo-Hookean tube of inner radius 1, μ = 1."""

    def density(R):
        hoop = float(tube.radius(R, 1.0, la, lz)) / R
        return 0.5 * (hoop**2 + lz**2 + 1 / (hoop * lz) ** 2 - 3) * 2 * np.pi * R

    return length * quad(density, 1.0, ratio, epsabs=1e-13)[0]


def of_tubes():
    """Uniform thick tubes: pressure, axial force, strain energy and the smallest wall thickness."""
    for ratio in (1.5, 2.0, 3.0):
        for la, lz in ((1.2, 1.0), (1.5, 1.2)):
            found = []
            for n in MESHES:
                model = tube_model(tube_body(ratio, 1.0, along=1.0 / n, through=n), neo_hookean())
                stages = (
                    Stage("stretch", displacements={"end_high": lz - 1}, steps=2),
                    Stage("open", pressure=0.1, opening=("mid", la), control="opening", steps=3),
                )
                last = reached(model, stages)[-1]
                names = "lumen pressure", "axial reaction end_high", "strain energy", "minimum wall thickness"
                found.append([value(last, name) for name in names])
            P, F = tube.pressure_and_force(tube.mooney_rivlin(0.5), 1.0, ratio, la, lz)
            wall = float(tube.radius(ratio, 1.0, la, lz)) - la
            exact = P, F + P * np.pi * la**2, strain_energy_of_tube(ratio, la, lz, 1.0), wall
            for number, value_of in enumerate(exact):
                yield f"tube {ratio} {la} {lz} {number}", SIZES, [f[number] for f in found], value_of


def of_spheres():
    """Thick half spheres filled to a volume: pressure and strain energy."""
    for ratio in (1.5, 2.0):
        for la in (1.2, 1.5):
            found = []
            for n in MESHES:
                model = half_sphere(ratio - 1, neo_hookean(), through=n, along=0.5 / n)
                stage = Stage("fill", volume=2 / 3 * np.pi * la**3, control="volume", steps=3)
                last = reached(model, (stage,))[-1]
                found.append([value(last, "lumen pressure"), value(last, "strain energy")])

            def density(R, la=la):
                stretch = (R**3 + la**3 - 1) ** (1 / 3) / R
                return 0.5 * (2 * stretch**2 + stretch**-4 - 3) * 2 * np.pi * R**2

            energy = quad(density, 1.0, ratio, epsabs=1e-13)[0]
            exact = sphere.neo_hookean_pressure(1.0, la, 1.0, ratio), energy
            for number, value_of in enumerate(exact):
                yield f"sphere {ratio} {la} {number}", SIZES, [f[number] for f in found], value_of


def of_dielectric_tubes():
    """Thick tubes with a solved potential, opened by voltage: field, axial force and capacitance."""
    for ratio in (1.5, 2.0):
        for la in (1.05, 1.2):
            found, thickness = [], ratio - 1
            v = dielectric.tube_radial_voltage(ratio, 1.0, la)
            for n in MESHES:
                body = build(
                    Tube(1.0, 1.0, (Layer("wall", thickness),)),
                    MeshSize(along=1.0 / n, through=n),
                    [Band("film", "wall", 0.0, 1.0)],
                )
                part = sheet("wall", thickness, material=RUBBER)
                model = Model(body, (part,), SLIDING, electrodes=(Electrode("film"),), electrics="solved")
                last = reached(model, (Stage("energise", voltages={"film": volts(v, thickness)}, steps=4),))[
                    -1
                ]
                force = value(last, "axial reaction end_high") / MU
                found.append([value(last, "mean radial expansion"), force, value(last, "capacitance")])
            exact = (
                la - 1,
                dielectric.tube_radial_force(ratio, 1.0, la, v),
                dielectric.tube_radial_capacitance(ratio, 1.0, la) * EPS,
            )
            for number, value_of in enumerate(exact):
                yield f"dielectric {ratio} {la} {number}", SIZES, [f[number] for f in found], value_of


@pytest.mark.long
@pytest.mark.exact
def test_bars_of_the_solver_cover_their_errors():
    check([*of_tubes(), *of_spheres(), *of_dielectric_tubes()])
